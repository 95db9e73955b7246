"""The marks of a case file: ureters, stoma sites, obstacles and landmarks, as facts."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.second import SECOND_KEYS, SECONDS, second_mark
from thalweg.exchange.casefile.strict import (
    Table,
    check_keys,
    closest,
    direction_in,
    number_in,
    point_in,
    points_in,
    subtable,
    text_in,
)
from thalweg.exchange.reading import Reading, quantity_fact
from thalweg.record.concept import concepts
from thalweg.record.fact import Fact, Mark, Origin

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.record.fact import Moment

__all__ = ["COURSES", "MARK_SECTIONS", "URETERS", "landmark_keys", "take_marks"]

MARK_SECTIONS: Final = ("ureter", "site", "obstacle", "landmarks_mm")
URETERS: Final = {"left": "ureter-left", "right": "ureter-right"}
COURSES: Final = {side: f"ureter-course-{side}" for side in URETERS}
"""Ureters whose whole course was placed by hand, instead of being traced."""
SITE: Final = "stoma-site"
LEAST_POINTS: Final = 2
SITE_LENGTHS: Final = {"wall_mm": "site-wall", "height_mm": "site-height"}


def landmark_keys() -> tuple[str, ...]:
    """Return the concepts that stand under ``[landmarks_mm]``: single points without a section."""
    own = {*URETERS.values(), *COURSES.values(), *SECONDS.values(), SITE}
    return tuple(key for key, row in concepts().items() if row.kind == "points" and key not in own)


def take_marks(table: Table, at: Moment, file: str, reading: Reading) -> None:
    """Put every mark of the case file into the reading.

    Parameters
    ----------
    table : Table
        The whole file.
    at : date or aware datetime
        When the images were taken.
    file : str
        Its name, for the facts' origin.
    reading : Reading
        Takes facts and problems.
    """
    with reading.part("[ureter]"):
        sides = subtable(table, "ureter")
        check_keys(sides, (), tuple(URETERS))
        for side in sides:
            with reading.part(f"[ureter.{side}]"):
                course = subtable(sides, side)
                mark, by_hand = _ureter(course)
                key = COURSES[side] if by_hand else URETERS[side]
                origin = Origin("case file", f"{file} [ureter.{side}]")
                reading.facts.append(Fact(key, mark, "mm", at, origin))
                second = second_mark(course, mark, by_hand=by_hand)
                if second is not None:
                    origin = Origin("case file", f"{file} [ureter.{side}] second")
                    reading.facts.append(Fact(SECONDS[side], second, "mm", at, origin))
    for number, name, row in _rows(table, "site", reading):
        with reading.part(f"[[site]] {number}"):
            origin = Origin("case file", f"{file} [[site]] {number}")
            reading.facts.extend(_site(row, name, at, origin))
    for number, name, row in _rows(table, "obstacle", reading):
        with reading.part(f"[[obstacle]] {number}"):
            origin = Origin("case file", f"{file} [[obstacle]] {number}")
            reading.facts.append(Fact("obstacle", _obstacle(row), "mm", at, origin, name))
    with reading.part("[landmarks_mm]"):
        places = subtable(table, "landmarks_mm")
        check_keys(places, (), landmark_keys())
        for key, value in places.items():
            with reading.part("[landmarks_mm]"):
                mark = Mark((point_in(value, key),))
                origin = Origin("case file", f"{file} [landmarks_mm] {key}")
                reading.facts.append(Fact(key, mark, "mm", at, origin))


def _rows(table: Table, section: str, reading: Reading) -> Iterator[tuple[int, str, Table]]:
    """Yield number, name and content of each ``[[section]]``, noting the unusable ones."""
    rows = table.get(section, [])
    seen: set[str] = set()
    if not isinstance(rows, list):
        with reading.part(f"[[{section}]]"):
            raise InputError("is not a list of sections", mend=f"write it as [[{section}]]")
        return
    for number, row in enumerate(rows, start=1):
        with reading.part(f"[[{section}]] {number}"):
            if not isinstance(row, Mapping):
                raise InputError("is not a section", mend=f"write it as [[{section}]]")
            if "name" not in row:
                raise InputError("'name' is missing", mend='add name = "…"')
            name = text_in(row, "name")
            if name in seen:
                raise InputError(f"the name {name!r} is used twice", mend="give each its own")
            seen.add(name)
            yield number, name, row


def _ureter(course: Table) -> tuple[Mark, bool]:
    """Return a ureter's points, and whether they are its course, placed by hand."""
    by_hand = course.get("by_hand", "points_mm" in course)
    if not isinstance(by_hand, bool):
        raise InputError("'by_hand' is yes or no", mend="write true or false")
    if "points_mm" in course:
        check_keys(course, ("points_mm",), ("by_hand", *SECOND_KEYS))
        if not by_hand:
            raise InputError(
                "'points_mm' is a course placed by hand",
                mend="write by_hand = true, or give start_mm, via_mm and end_mm to have it traced",
            )
        points = points_in(course["points_mm"], "points_mm")
        if len(points) < LEAST_POINTS:
            raise InputError(
                f"'points_mm' has fewer than {LEAST_POINTS} points", mend="place more along it"
            )
    else:
        check_keys(course, ("start_mm", "end_mm"), ("via_mm", "by_hand", *SECOND_KEYS))
        start, end = (point_in(course[key], key) for key in ("start_mm", "end_mm"))
        points = (start, *points_in(course.get("via_mm", []), "via_mm"), end)
    if any(first == second for first, second in pairwise(points)):
        raise InputError("two successive points are the same", mend="place them apart")
    return Mark(points), by_hand


def _site(row: Table, name: str, at: Moment, origin: Origin) -> Iterator[Fact]:
    check_keys(row, ("name", "point_mm"), ("normal", *SITE_LENGTHS))
    normal = direction_in(row["normal"], "normal") if "normal" in row else None
    mark = Mark((point_in(row["point_mm"], "point_mm"),), normal=normal)
    yield Fact(SITE, mark, "mm", at, origin, name)
    for key, concept_key in SITE_LENGTHS.items():
        if key in row:
            length = number_in(row, key)
            yield quantity_fact(concept_key, length, "mm", at, origin, label=name)


def _obstacle(row: Table) -> Mark:
    kinds = {"capsule": ("from_mm", "to_mm"), "sphere": ("at_mm",)}
    if "kind" not in row:
        raise InputError("'kind' is missing", mend=f"add kind = {' or '.join(map(repr, kinds))}")
    kind = text_in(row, "kind")
    if kind not in kinds:
        raise InputError(f"unknown kind {kind!r}", mend=closest(kind, tuple(kinds)))
    check_keys(row, ("name", "kind", *kinds[kind], "radius_mm"))
    radius = float(number_in(row, "radius_mm"))
    if radius <= 0:
        raise InputError("'radius_mm' is not above 0", mend="give the radius in millimetres")
    return Mark(tuple(point_in(row[key], key) for key in kinds[kind]), radius_mm=radius)
