"""The radiographs of a case file: places on them, and what is stated of their scale, as facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.strict import (
    Table,
    check_keys,
    moment_in,
    places_in,
    places_text,
    text_in,
)
from thalweg.exchange.reading import Reading, placed, quantity_fact
from thalweg.record.fact import Fact, Origin, PixelMark
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.record.fact import FactValue, Moment

__all__ = ["FILMS", "RADIOGRAPHS", "is_of_radiograph", "radiograph_lines", "take_radiographs"]

RADIOGRAPHS: Final = "radiograph"
FILMS: Final = {"left": "radiograph-left", "right": "radiograph-right"}
LENGTHS: Final = {
    "source_detector": "radiograph-source-detector",
    "source_ureter": "radiograph-source-ureter",
    "ureter_detector": "radiograph-ureter-detector",
    "depth_spread": "radiograph-depth-spread",
    "scale": "radiograph-scale-length",
}
PIXELS: Final = {"scale_px": "radiograph-scale", "central_ray_px": "radiograph-central-ray"}
WORDS: Final = ("ureter", "detector")


def is_of_radiograph(fact: Fact) -> bool:
    """Say whether a fact belongs to a radiograph."""
    return fact.concept.startswith("radiograph-")


def take_radiographs(table: Table, file: str, reading: Reading) -> None:
    """Put every ``[[radiograph]]`` into the reading.

    Parameters
    ----------
    table : Table
        The whole file.
    file : str
        Its name, for the facts' origin.
    reading : Reading
        Takes facts and problems. A mark's image is the file's name until intake ties it.
    """
    rows = table.get(RADIOGRAPHS, [])
    seen: set[str] = set()
    if not isinstance(rows, list):
        with reading.part(f"[[{RADIOGRAPHS}]]"):
            raise InputError("is not a list of sections", mend=f"write it as [[{RADIOGRAPHS}]]")
        return
    for number, row in enumerate(rows, 1):
        place = f"[[{RADIOGRAPHS}]] {number}"
        with reading.part(place):
            if not isinstance(row, Mapping):
                raise InputError("is not a section", mend=f"write it as [[{RADIOGRAPHS}]]")
            facts = list(_facts(row, Origin("case file", f"{file} {place}")))
            if facts[0].label in seen:
                raise InputError(
                    "this side of this file was given before", mend="keep one of the two"
                )
            seen.add(facts[0].label)
            reading.facts += facts


def _facts(row: Table, origin: Origin) -> Iterator[Fact]:
    optional = ("frame", "scale_depth", *LENGTHS, *PIXELS)
    check_keys(row, ("file", "side", "at", "points_px"), optional)
    name, side, at = text_in(row, "file"), text_in(row, "side"), moment_in(row, "at")
    if side not in FILMS:
        raise InputError(f"unknown side {side!r}", mend="write 'left' or 'right'")
    if "/" in name or "\\" in name or name.startswith("."):
        raise InputError(
            "'file' is not a plain name", mend="put the file into the folder 'radiographs'"
        )
    frame = row.get("frame")
    if frame is not None and (isinstance(frame, bool) or not isinstance(frame, int) or frame < 1):
        raise InputError("'frame' is not a whole number from 1", mend="write frame = 3")
    label = f"{name}, {side}"
    points = places_in(row["points_px"], "points_px")
    if len(points) < 2:
        raise InputError("'points_px' has fewer than 2 points", mend="place more along the ureter")
    yield Fact(FILMS[side], PixelMark(points, name, frame), None, at, origin, label)
    for key, concept in PIXELS.items():
        if key in row:
            places = places_in([row[key]] if key == "central_ray_px" else row[key], key)
            if key == "scale_px" and len(places) != 2:
                raise InputError("'scale_px' is not two places", mend="write [[c, r], [c, r]]")
            yield Fact(concept, PixelMark(places, name, frame), None, at, origin, label)
    _require_pair(row, "scale", "scale_px")
    for key, concept in LENGTHS.items():
        if key in row:
            yield _length(row, key, concept, at, origin, label)
    if "scale_depth" in row:
        _require_pair(row, "scale_depth", "scale")
        words = text_in(row, "scale_depth")
        if words in WORDS:
            yield Fact("radiograph-scale-depth", words, None, at, origin, label)
        else:
            yield _length(row, "scale_depth", "radiograph-source-scale", at, origin, label)


def _require_pair(row: Table, key: str, other: str) -> None:
    missing = other if key in row and other not in row else ""
    if key == "scale" and other in row and key not in row:
        missing = key
    if missing:
        raise InputError(f"{missing!r} is missing", mend=f"add {missing} = …")


def _length(row: Table, key: str, concept: str, at: Moment, origin: Origin, label: str) -> Fact:
    value = row[key]
    if not isinstance(value, str):
        raise InputError(f"{key!r} has no unit", mend=f'write it like {key} = "1150 mm"')
    with placed(key):
        number, unit = parse_quantity(value)
        return quantity_fact(concept, number, unit, at, origin, label=label)


def radiograph_lines(facts: Iterable[Fact], names: Mapping[str, str]) -> Iterator[str]:
    """Yield the sections that read back as these facts.

    Parameters
    ----------
    facts : iterable of Fact
        Of radiographs only.
    names : mapping
        File name of each image by what the marks call it; a name stands for itself.
    """
    given = list(facts)
    for course in given:
        sides = [side for side, concept in FILMS.items() if concept == course.concept]
        mark = course.value
        if not sides or not isinstance(mark, PixelMark):
            continue
        own = {each.concept: each.value for each in given if each.label == course.label}
        units = {each.concept: each.unit for each in given if each.label == course.label}
        yield f'\n[[radiograph]]\nfile = "{names.get(mark.image, mark.image)}"'
        yield f'side = "{sides[0]}"\nat = {course.at.isoformat()}'
        yield f"points_px = {places_text(mark.points_px)}"
        if mark.frame is not None:
            yield f"frame = {mark.frame}"
        yield from _stated(own, units)


def _stated(own: Mapping[str, FactValue], units: Mapping[str, str | None]) -> Iterator[str]:
    scale, ray = own.get("radiograph-scale"), own.get("radiograph-central-ray")
    if isinstance(scale, PixelMark):
        yield f"scale_px = {places_text(scale.points_px)}"
    if isinstance(ray, PixelMark):
        yield f"central_ray_px = {places_text(ray.points_px)[1:-1]}"
    for key, concept in (*LENGTHS.items(), ("scale_depth", "radiograph-source-scale")):
        if concept in own:
            yield f'{key} = "{own[concept]} {units[concept]}"'
    if "radiograph-scale-depth" in own:
        yield f'scale_depth = "{own["radiograph-scale-depth"]}"'
