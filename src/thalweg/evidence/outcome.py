"""What publications count after a diversion, and by which definitions.

Two series that count different things under one word must not be pooled: a stoma "narrowed" on
looking and one that had to be dilated are two definitions of one outcome.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final, Literal, get_args

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["UNITS", "CountingUnit", "Definition", "Outcome", "Timing", "definitions", "outcomes"]

CountingUnit = Literal["patient", "renal unit", "ureter", "procedure"]
Timing = Literal["early", "late", "fixed"]
UNITS: Final[tuple[str, ...]] = get_args(CountingUnit)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Something that may happen after a diversion.

    Parameters
    ----------
    key : str
        Lower-case words joined by hyphens.
    name : str
        For professionals.
    plain : str
        A sentence for the person.
    unit : str
        What it is usually counted by: ``"patient"``, ``"renal unit"`` (a kidney with its
        ureter), ``"ureter"`` (a join) or ``"procedure"``.
    timing : str
        ``"early"`` (within about 90 days), ``"late"`` (the longer one looks, the more there is:
        no figure without its follow-up) or ``"fixed"`` (a state at a stated time).
    """

    key: str
    name: str
    plain: str
    unit: CountingUnit
    timing: Timing


@dataclass(frozen=True, slots=True)
class Definition:
    """One way of counting an outcome; only series of one definition are pooled.

    Parameters
    ----------
    key : str
        Unique over all outcomes.
    outcome : str
        Key of the outcome.
    says : str
        What was counted, in our own words.
    at_months : tuple of float, optional
        For a state at a stated time: the first and last month after the operation at which
        figures still belong to this definition.
    """

    key: str
    outcome: str
    says: str
    at_months: tuple[float, float] | None = None


@cache
def _table() -> Mapping[str, Any]:
    text = files("thalweg.evidence").joinpath("data/outcomes.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def outcomes() -> Mapping[str, Outcome]:
    """Return every outcome by its key.

    Raises
    ------
    ValueError
        If a row's unit or timing is not one of ours: a fault of the packaged data.
    """
    found = {key: Outcome(key, **row) for key, row in _table()["outcome"].items()}
    for one in found.values():
        if one.unit not in UNITS or one.timing not in get_args(Timing):
            msg = f"outcome {one.key!r}: unit {one.unit!r} or timing {one.timing!r} is not ours"
            raise ValueError(msg)
    return found


@cache
def definitions() -> Mapping[str, Definition]:
    """Return every definition by its key.

    Raises
    ------
    ValueError
        If a row speaks of an outcome that is not there: a fault of the packaged data.
    """
    found = {}
    for key, row in _table()["definition"].items():
        span = row.get("at_months")
        found[key] = Definition(
            key, row["outcome"], row["says"], (float(span[0]), float(span[1])) if span else None
        )
        if row["outcome"] not in outcomes():
            msg = f"definition {key!r} speaks of the unknown outcome {row['outcome']!r}"
            raise ValueError(msg)
    return found
