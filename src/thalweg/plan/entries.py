"""The entries of the catalogue: criteria and diversions, and how each is read from its table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.reading import parse
from thalweg.plan.criteria.reaches import FORMS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.evidence.conditions.form import Condition

__all__ = [
    "Criterion",
    "Diversion",
    "Strength",
    "read_criterion",
    "read_diversion",
    "read_number",
    "read_sources",
]

Strength = Literal["required", "caution"]

UNIT_PROTOCOL = "unit-protocol"
"""Bibliography key that stands for a source named in a unit's own protocol."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing that must hold for a diversion.

    Parameters
    ----------
    key : str
        Lower-case words joined by hyphens.
    sentence : str
        What must hold, as a person reads it.
    strength : "required" or "caution"
        Not met closes the option, or leaves it open with caution.
    holds : Condition
        The same in the form that is judged.
    sources : tuple of str
        Bibliography keys.
    note : str
        Where the published sources differ or need reading with care; may be empty.
    opens : str
        What would change it, where that is more than the fact itself; may be empty.
    local_source : str
        The unit's own source where its protocol replaced ours, else empty.
    """

    key: str
    sentence: str
    strength: Strength
    holds: Condition
    sources: tuple[str, ...]
    note: str
    opens: str
    local_source: str


@dataclass(frozen=True, slots=True)
class Diversion:
    """One way to divert urine.

    Parameters
    ----------
    key, name, description : str
        For programs, for headings, and one plain paragraph.
    bowel : str
        The segment it uses, or empty.
    bowel_length_cm : tuple of float or None
        Usual length of that segment, cm, least and most.
    tubes : str
        Stents or catheters that it relies on, or empty.
    burdens : tuple of str
        What daily life with it asks of the person.
    metabolic : str
        What the segment does to blood chemistry.
    follow_up : tuple of str
        What it commits the service to.
    criteria : tuple of Criterion
        In the order in which they are shown.
    sources : tuple of str
        Bibliography keys of the description.
    local_source : str
        As for a criterion.
    """

    key: str
    name: str
    description: str
    bowel: str
    bowel_length_cm: tuple[float, float] | None
    tubes: str
    burdens: tuple[str, ...]
    metabolic: str
    follow_up: tuple[str, ...]
    criteria: tuple[Criterion, ...]
    sources: tuple[str, ...]
    local_source: str


def _where(part: str, key: str) -> str:
    return f"catalogue.toml, [{part}.{key}]"


def read_number(key: str, name: str, rows: Mapping[str, Mapping[str, Any]]) -> float:
    """Return a number of a setting.

    Raises
    ------
    InputError
        If it is missing or not a number.
    """
    value = rows[key].get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(
            f"{name} is {value!r}, not a number",
            where=_where("setting", key),
            mend=f"write {name} = 0",
        )
    return float(value)


def _text(row: Mapping[str, Any], name: str, where: str, *, needed: bool = True) -> str:
    value = row.get(name, "")
    if not isinstance(value, str) or (needed and not value.strip()):
        raise InputError(f"{name!r} is missing", where=where, mend=f'add {name} = "…"')
    return value.strip()


def _texts(row: Mapping[str, Any], name: str, where: str) -> tuple[str, ...]:
    value = row.get(name, [])
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise InputError(f"{name!r} is not a list of words", where=where, mend=f'{name} = ["…"]')
    return tuple(value)


def read_sources(row: Mapping[str, Any], *, own: bool) -> tuple[tuple[str, ...], str]:
    """Return bibliography keys, and the words in which a unit names its own source."""
    named = row["source"]
    keys = tuple(map(str, named)) if isinstance(named, list) else (str(named),)
    if not own:
        return keys, ""
    known = tuple(key for key in keys if key in bibliography())
    local = "; ".join(key for key in keys if key not in bibliography())
    return (*known, *((UNIT_PROTOCOL,) if local else ())), local


def read_criterion(key: str, row: Mapping[str, Any], *, own: bool) -> Criterion:
    """Return the criterion that a table writes down.

    Parameters
    ----------
    key : str
        Its name in the catalogue.
    row : mapping
        Its table.
    own : bool
        Whether it comes from the unit's own protocol.

    Raises
    ------
    InputError
        If the table is not of its form; the sentence says where and the mend.
    """
    where = _where("criterion", key)
    strength = row.get("strength")
    if strength not in get_args(Strength):
        raise InputError(
            f"strength = {strength!r}", where=where, mend='write "required" or "caution"'
        )
    try:
        holds = parse(row.get("holds"), FORMS)
    except InputError as error:
        raise error.at(where) from None
    sources, local = read_sources(row, own=own)
    return Criterion(
        key,
        _text(row, "sentence", where),
        cast("Strength", strength),
        holds,
        sources,
        _text(row, "note", where, needed=False),
        _text(row, "opens", where, needed=False),
        local,
    )


def read_diversion(
    key: str, row: Mapping[str, Any], criteria: Mapping[str, Criterion], *, own: bool
) -> Diversion:
    """Return the diversion that a table writes down, with the criteria it names.

    Parameters
    ----------
    key, row, own
        As for a criterion.
    criteria : mapping
        Every criterion by key.

    Raises
    ------
    InputError
        If the table is not of its form; the sentence says where and the mend.
    """
    where = _where("diversion", key)
    names = _texts(row, "criteria", where)
    unknown = [name for name in names if name not in criteria]
    if unknown or not names:
        raise InputError(
            f"criteria {', '.join(unknown) or 'are missing'}",
            where=where,
            mend="name criteria that the catalogue holds",
        )
    length = row.get("bowel_length_cm")
    if length is not None and (not isinstance(length, list) or len(length) != 2):
        raise InputError(
            "bowel_length_cm is not a pair", where=where, mend="write bowel_length_cm = [15, 20]"
        )
    sources, local = read_sources(row, own=own)
    return Diversion(
        key=key,
        name=_text(row, "name", where),
        description=_text(row, "description", where),
        bowel=_text(row, "bowel", where, needed=False),
        bowel_length_cm=None if length is None else (float(length[0]), float(length[1])),
        tubes=_text(row, "tubes", where, needed=False),
        burdens=_texts(row, "burdens", where),
        metabolic=_text(row, "metabolic", where),
        follow_up=_texts(row, "follow_up", where),
        criteria=tuple(criteria[name] for name in names),
        sources=sources,
        local_source=local,
    )
