"""The renograms of a case file: which file, and what a person says of it, as facts."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.strict import (
    Table,
    check_keys,
    closest,
    moment_in,
    places_in,
    places_text,
    subtable,
    text_in,
)
from thalweg.exchange.reading import Reading, placed, quantity_fact
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin, PixelMark
from thalweg.record.renogram import ROLES
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.record.fact import FactValue, Moment

__all__ = [
    "REGIONS",
    "RENOGRAM",
    "is_of_renogram",
    "renogram_lines",
    "take_renograms",
]

RENOGRAM: Final = "renogram"
REGIONS: Final = {role: f"renogram-region-{role}" for role in ROLES}
TIMES: Final = {
    "furosemide": "renogram-furosemide",
    "given": "renogram-given",
    "emptied": "renogram-emptied",
}
WORDS: Final = {"left_at": "renogram-left-at", "view": "renogram-view"}
ANSWERS: Final = {
    "drained": "renogram-drained",
    "hydrated": "renogram-hydrated",
    "reflux": "renogram-reflux",
    "both_diseased": "renogram-both-diseased",
}
LEAST_CORNERS: Final = 3


def is_of_renogram(fact: Fact) -> bool:
    """Say whether a fact belongs to a renogram."""
    return fact.concept == RENOGRAM or fact.concept.startswith("renogram-")


def take_renograms(table: Table, file: str, reading: Reading) -> None:
    """Put every ``[[renogram]]`` into the reading.

    Parameters
    ----------
    table : Table
        The whole file.
    file : str
        Its name, for the facts' origin.
    reading : Reading
        Takes facts and problems. Until intake ties it, a renogram is the name of its file.
    """
    rows = table.get(RENOGRAM, [])
    if not isinstance(rows, list):
        with reading.part(f"[[{RENOGRAM}]]"):
            raise InputError("is not a list of sections", mend=f"write it as [[{RENOGRAM}]]")
        return
    seen: set[str] = set()
    for number, row in enumerate(rows, 1):
        place = f"[[{RENOGRAM}]] {number}"
        with reading.part(place):
            if not isinstance(row, Mapping):
                raise InputError("is not a section", mend=f"write it as [[{RENOGRAM}]]")
            facts = list(_facts(row, Origin("case file", f"{file} {place}")))
            if facts[0].label in seen:
                raise InputError("this file was given before", mend="keep one of the two")
            seen.add(facts[0].label)
            reading.facts += facts


def _facts(row: Table, origin: Origin) -> Iterator[Fact]:
    check_keys(row, ("file", "at"), ("regions_px", *TIMES, *WORDS, *ANSWERS))
    name, at = text_in(row, "file"), moment_in(row, "at")
    if "/" in name or "\\" in name or name.startswith("."):
        raise InputError(
            "'file' is not a plain name", mend="put the file into the folder 'renograms'"
        )
    yield Fact(RENOGRAM, name, None, at, origin, name)
    for role, corners in subtable(row, "regions_px").items():
        yield _region(role, corners, name, at, origin)
    for key, named in TIMES.items():
        if key in row:
            value = row[key]
            if not isinstance(value, str):
                raise InputError(f"{key!r} has no unit", mend=f'write it like {key} = "20 min"')
            with placed(key):
                number, unit = parse_quantity(value)
                yield quantity_fact(named, number, unit, at, origin, label=name)
    for key, named in WORDS.items():
        if key in row:
            words, choices = text_in(row, key), concept(named).choices
            if words not in choices:
                raise InputError(f"{key!r} cannot be {words!r}", mend=closest(words, choices))
            yield Fact(named, words, None, at, origin, name)
    for key, named in ANSWERS.items():
        if key in row:
            answer = row[key]
            if not isinstance(answer, bool):
                raise InputError(f"{key!r} is yes or no", mend="write true or false")
            yield Fact(named, answer, None, at, origin, name)


def _region(role: str, corners: object, name: str, at: Moment, origin: Origin) -> Fact:
    if role not in REGIONS:
        raise InputError(f"unknown region {role!r}", mend=closest(role, ROLES))
    places = places_in(corners, role)
    if len(places) < LEAST_CORNERS:
        raise InputError(
            f"region {role!r} has fewer than {LEAST_CORNERS} corners", mend="draw it whole"
        )
    return Fact(REGIONS[role], PixelMark(places, name), None, at, origin, name)


def renogram_lines(facts: Iterable[Fact]) -> Iterator[str]:
    """Yield the sections that read back as these facts.

    Parameters
    ----------
    facts : iterable of Fact
        Of renograms only. A label is the file's name, whatever the record ties the file to.
    """
    given = list(facts)
    for renogram in given:
        if renogram.concept != RENOGRAM:
            continue
        own = [each for each in given if each.label == renogram.label and each.at == renogram.at]
        yield f'\n[[{RENOGRAM}]]\nfile = "{renogram.label}"\nat = {renogram.at.isoformat()}'
        stated = {each.concept: each for each in own}
        for key, named in (*TIMES.items(), *WORDS.items()):
            if named in stated:
                fact = stated[named]
                unit = f" {fact.unit}" if isinstance(fact.value, Decimal) else ""
                yield f'{key} = "{fact.value}{unit}"'
        for key, named in ANSWERS.items():
            if named in stated:
                yield f"{key} = {str(stated[named].value).lower()}"
        yield from _regions_written({key: fact.value for key, fact in stated.items()})


def _regions_written(stated: Mapping[str, FactValue]) -> Iterator[str]:
    marks = {role: stated.get(named) for role, named in REGIONS.items()}
    lines = [
        f"{role} = {places_text(mark.points_px)}"
        for role, mark in marks.items()
        if isinstance(mark, PixelMark)
    ]
    if lines:
        yield from ("[renogram.regions_px]", *lines)
