"""The renograms of a case file: which file, and what a person says of it, as facts."""

from __future__ import annotations

import json
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
from thalweg.exchange.regions import read_regions
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin, PixelMark
from thalweg.record.renogram import ROLES
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from thalweg.exchange.regions import Corners
    from thalweg.record.fact import Moment

__all__ = [
    "FOLDER",
    "REGIONS",
    "RENOGRAM",
    "is_of_renogram",
    "renogram_lines",
    "take_renograms",
]

RENOGRAM: Final = "renogram"
FOLDER: Final = "renograms"
"""Folder beside the case file for everything that sections of renograms name."""
REGIONS: Final = {role: f"renogram-region-{role}" for role in ROLES}
TIMES: Final = {
    "furosemide": "renogram-furosemide",
    "given": "renogram-given",
    "emptied": "renogram-emptied",
}
WORDS: Final = {"left_at": "renogram-left-at", "view": "renogram-view"}
NUMBERS: Final = {
    "detector": "renogram-detector",
    "energy_window": "renogram-energy-window",
}
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


def take_renograms(table: Table, file: Path, reading: Reading) -> None:
    """Put every ``[[renogram]]`` into the reading.

    Parameters
    ----------
    table : Table
        The whole file.
    file : Path
        Names the facts' origin; tables of regions lie in the folder ``renograms`` beside it.
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
            facts = list(_facts(row, file.parent, Origin("case file", f"{file.name} {place}")))
            if facts[0].label in seen:
                raise InputError("this file was given before", mend="keep one of the two")
            seen.add(facts[0].label)
            reading.facts += facts


def _facts(row: Table, folder: Path, origin: Origin) -> Iterator[Fact]:
    check_keys(row, ("file", "at"), ("regions", "regions_px", *TIMES, *WORDS, *NUMBERS, *ANSWERS))
    name, at = _plain_name(row, "file"), moment_in(row, "at")
    yield Fact(RENOGRAM, name, None, at, origin, name)
    yield from _regions(row, name, at, folder, origin)
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
    yield from _chosen(row, name, at, origin)


def _chosen(row: Table, name: str, at: Moment, origin: Origin) -> Iterator[Fact]:
    """Yield what is a number of a list, and what is yes or no."""
    for key, named in NUMBERS.items():
        if key in row:
            number_of, choices = str(row[key]), concept(named).choices
            if isinstance(row[key], bool) or number_of not in choices:
                raise InputError(f"{key!r} is not a number from 1", mend=f"write {key} = 2")
            yield Fact(named, number_of, None, at, origin, name)
    for key, named in ANSWERS.items():
        if key in row:
            answer = row[key]
            if not isinstance(answer, bool):
                raise InputError(f"{key!r} is yes or no", mend="write true or false")
            yield Fact(named, answer, None, at, origin, name)


def _plain_name(row: Table, key: str) -> str:
    name = text_in(row, key)
    if "/" in name or "\\" in name or name.startswith("."):
        raise InputError(
            f"{key!r} is not a plain name", mend=f"put the file into the folder {FOLDER!r}"
        )
    return name


def _regions(row: Table, name: str, at: Moment, folder: Path, origin: Origin) -> Iterator[Fact]:
    """Yield the regions, whether they stand in the case file or in a table beside the counts."""
    outlines: dict[str, Corners] = {}
    for role, corners in subtable(row, "regions_px").items():
        if role not in REGIONS:
            raise InputError(f"unknown region {role!r}", mend=closest(role, ROLES))
        outlines[role] = places_in(corners, role)
        if len(outlines[role]) < LEAST_CORNERS:
            raise InputError(
                f"region {role!r} has fewer than {LEAST_CORNERS} corners", mend="draw it whole"
            )
    if "regions" in row:
        if outlines:
            raise InputError("'regions' and 'regions_px' are both given", mend="keep one of them")
        table = _plain_name(row, "regions")
        outlines = read_regions(folder / FOLDER / table)
        origin = Origin("table", f"{FOLDER}/{table}")
    for role, corners in outlines.items():
        yield Fact(REGIONS[role], PixelMark(corners, name), None, at, origin, name)


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
        name = json.dumps(renogram.label, ensure_ascii=False)
        yield f"\n[[{RENOGRAM}]]\nfile = {name}\nat = {renogram.at.isoformat()}"
        stated = {each.concept: each for each in own}
        for key, named in (*TIMES.items(), *WORDS.items()):
            if named in stated:
                fact = stated[named]
                unit = f" {fact.unit}" if isinstance(fact.value, Decimal) else ""
                yield f'{key} = "{fact.value}{unit}"'
        for key, named in NUMBERS.items():
            if named in stated:
                yield f"{key} = {stated[named].value}"
        for key, named in ANSWERS.items():
            if named in stated:
                yield f"{key} = {str(stated[named].value).lower()}"
        yield from _regions_written(stated)


def _regions_written(stated: Mapping[str, Fact]) -> Iterator[str]:
    """Yield the table that the regions came from, or the regions themselves."""
    own = {role: stated[named] for role, named in REGIONS.items() if named in stated}
    tables = {fact.origin.place for fact in own.values()}
    if len(tables) == 1 and (table := tables.pop()).startswith(f"{FOLDER}/"):
        yield f"regions = {json.dumps(table.removeprefix(f'{FOLDER}/'), ensure_ascii=False)}"
        return
    marks = {role: fact.value for role, fact in own.items()}
    lines = [
        f"{role} = {places_text(mark.points_px)}"
        for role, mark in marks.items()
        if isinstance(mark, PixelMark)
    ]
    if lines:
        yield from ("[renogram.regions_px]", *lines)
