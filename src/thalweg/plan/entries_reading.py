"""Read the entries of the catalogue from their tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.reading import parse
from thalweg.plan.burdens import read_burdens
from thalweg.plan.criteria.reaches import FORMS
from thalweg.plan.entries import Ages, Criterion, Diversion, People, Standing, Strength
from thalweg.plan.requirements import DOMAINS, Exemption, unknown_domains

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "read_criterion",
    "read_diversion",
    "read_exemption",
    "read_number",
    "read_sources",
]

UNIT_PROTOCOL = "unit-protocol"
"""Bibliography key that stands for a source named in a unit's own protocol."""

Entry = TypeVar("Entry", Criterion, Exemption)


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


def _choice(row: Mapping[str, Any], name: str, words: tuple[str, ...], where: str) -> str:
    """Return one of some words, the first where the row does not say."""
    value = row.get(name, words[0])
    if value not in words:
        said = " or ".join(f'"{word}"' for word in words)
        raise InputError(f"{name} = {value!r}", where=where, mend=f"write {said}")
    return str(value)


def _domains(row: Mapping[str, Any], where: str) -> tuple[str, ...]:
    domains = _texts(row, "domains", where)
    strange = unknown_domains(domains)
    if strange:
        raise InputError(
            f"{', '.join(strange)} is not a domain",
            where=where,
            mend=f"choose from {', '.join(DOMAINS)}",
        )
    return domains


def read_exemption(key: str, row: Mapping[str, Any], *, own: bool) -> Exemption:
    """Return why nothing is asked of a domain, as a table writes it down.

    Raises
    ------
    InputError
        If the table is not of its form.
    """
    where = _where("exemption", key)
    domains = _domains(row, where)
    if not domains:
        raise InputError("'domains' is missing", where=where, mend='add domains = ["liver"]')
    sources, local = read_sources(row, own=own)
    return Exemption(key, domains, _text(row, "sentence", where), sources, local)


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
        _domains(row, where),
        cast("Ages", _choice(row, "ages", get_args(Ages), where)),
    )


def _named(
    row: Mapping[str, Any], part: str, held: Mapping[str, Entry], where: str
) -> tuple[Entry, ...]:
    names = _texts(row, part, where)
    unknown = [name for name in names if name not in held]
    if unknown:
        raise InputError(
            f"{part} {', '.join(unknown)}",
            where=where,
            mend=f"name {part} that the catalogue holds",
        )
    return tuple(held[name] for name in names)


def _standing(row: Mapping[str, Any], where: str) -> tuple[Standing, str]:
    standing = _choice(row, "standing", get_args(Standing), where)
    note = _text(row, "standing_note", where, needed=standing != "usual")
    return cast("Standing", standing), note


def read_diversion(
    key: str,
    row: Mapping[str, Any],
    criteria: Mapping[str, Criterion],
    exemptions: Mapping[str, Exemption] | None = None,
    *,
    own: bool,
) -> Diversion:
    """Return the diversion that a table writes down, with the criteria it names.

    Parameters
    ----------
    key, row, own
        As for a criterion.
    criteria : mapping
        Every criterion by key.
    exemptions : mapping, optional
        Every exemption by key.

    Raises
    ------
    InputError
        If the table is not of its form; the sentence says where and the mend.
    """
    where = _where("diversion", key)
    mine = _named(row, "criteria", criteria, where)
    if not mine:
        raise InputError(
            "criteria are missing", where=where, mend="name criteria that the catalogue holds"
        )
    length = row.get("bowel_length_cm")
    if length is not None and (not isinstance(length, list) or len(length) != 2):
        raise InputError(
            "bowel_length_cm is not a pair", where=where, mend="write bowel_length_cm = [15, 20]"
        )
    sources, local = read_sources(row, own=own)
    standing, why = _standing(row, where)
    return Diversion(
        key=key,
        name=_text(row, "name", where),
        description=_text(row, "description", where),
        bowel=_text(row, "bowel", where, needed=False),
        bowel_length_cm=None if length is None else (float(length[0]), float(length[1])),
        tubes=_text(row, "tubes", where, needed=False),
        daily=read_burdens(row.get("burdens", []), where, own=own),
        metabolic=_text(row, "metabolic", where),
        follow_up=_texts(row, "follow_up", where),
        criteria=mine,
        sources=sources,
        local_source=local,
        standing=standing,
        standing_note=why,
        published_for=cast("People", _choice(row, "published_for", get_args(People), where)),
        exemptions=_named(row, "exemptions", exemptions or {}, where),
        reach_as=_text(row, "reach_as", where, needed=False),
    )
