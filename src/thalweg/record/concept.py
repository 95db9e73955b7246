"""The concepts that can be recorded, and the codes and ranges each brings with it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal, get_args

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Concept", "Kind", "LaboratoryCode", "concept", "concept_of_code", "concepts"]

Kind = Literal["quantity", "yes-no", "choice", "text", "points", "capsule", "pixels"]


@dataclass(frozen=True, slots=True)
class LaboratoryCode:
    """A LOINC code that reports a concept.

    Parameters
    ----------
    code : str
        The LOINC code.
    units : tuple of str
        UCUM codes that results under it may carry; others are a mistake of the sender.
    specimen : str
        What the code's specimen must be, where mistaking it would harm; else empty.
    checked : str
        How the code was checked: ``"two"`` independent sources, ``"one"``, or ``"memory"``.
    """

    code: str
    units: tuple[str, ...]
    specimen: str
    checked: str


@dataclass(frozen=True, slots=True)
class Concept:
    """One row of ``data/concepts.toml``; ranges are in `unit`, `charge` is that of the ion."""

    key: str
    name: str
    kind: Kind
    unit: str | None
    units: tuple[str, ...]
    possible: tuple[float, float] | None
    expected: tuple[float, float] | None
    molar_mass: float | None
    choices: tuple[str, ...]
    codes: tuple[LaboratoryCode, ...]
    charge: int = 1


def _pair(row: Mapping[str, list[float]], key: str) -> tuple[float, float] | None:
    if key not in row:
        return None
    low, high = row[key]
    return float(low), float(high)


@cache
def concepts() -> Mapping[str, Concept]:
    """Return every concept by its key."""
    text = files("thalweg.record").joinpath("data/concepts.toml").read_text(encoding="utf-8")
    table = {}
    for key, row in tomllib.loads(text).items():
        if row["kind"] not in get_args(Kind):
            msg = f"concept {key!r} has the unknown kind {row['kind']!r}"
            raise ValueError(msg)
        table[key] = Concept(
            key=key,
            name=row["name"],
            kind=row["kind"],
            unit=row.get("unit"),
            units=tuple(row.get("units", ())),
            possible=_pair(row, "possible"),
            expected=_pair(row, "expected"),
            molar_mass=row.get("molar_mass"),
            choices=tuple(row.get("choices", ())),
            codes=tuple(
                LaboratoryCode(c["code"], tuple(c["units"]), c.get("specimen", ""), c["checked"])
                for c in row.get("loinc", ())
            ),
            charge=row.get("charge", 1),
        )
    return table


def concept(key: str) -> Concept:
    """Return the concept called `key`.

    Raises
    ------
    InputError
        If there is none; the sentence names the nearest ones.
    """
    found = concepts().get(key)
    if found is None:
        from difflib import get_close_matches  # noqa: PLC0415 - only on the way to an error

        near = get_close_matches(key, concepts(), n=2, cutoff=0.6)
        mend = f"perhaps {' or '.join(near)}" if near else "see docs/record.md for the list"
        raise InputError(f"{key!r} is not something Thalweg records", mend=mend)
    return found


@cache
def _by_code() -> Mapping[str, tuple[Concept, LaboratoryCode]]:
    return {code.code: (row, code) for row in concepts().values() for code in row.codes}


def concept_of_code(loinc: str) -> tuple[Concept, LaboratoryCode] | None:
    """Return the concept that a LOINC code reports and that code's own row, or None."""
    return _by_code().get(loinc)
