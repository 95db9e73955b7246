"""Values out of a TOML table: each of the right kind, or one sentence saying what is wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError

if TYPE_CHECKING:
    from thalweg.record.fact import Moment, Point

__all__ = [
    "Table",
    "check_keys",
    "closest",
    "direction_in",
    "moment_in",
    "number_in",
    "places_in",
    "places_text",
    "point_in",
    "points_in",
    "subtable",
    "text_in",
]

Table = Mapping[str, object]
Pixel = tuple[float, float]

FARTHEST_MM: Final = 3000.0
"""Scanners count LPS millimetres from near the person; beyond 3 m it is another unit or a slip."""


def closest(word: str, known: Sequence[str]) -> str:
    """Return a clause that offers the nearest known word, or lists them when they are few."""
    near = get_close_matches(word, known, n=1, cutoff=0.5)
    if near:
        return f"perhaps {near[0]!r} is meant"
    return (
        f"known are {', '.join(known)}" if len(known) <= 12 else "see docs/record.md for the list"
    )


def check_keys(table: Table, needed: Sequence[str], optional: Sequence[str] = ()) -> None:
    """Refuse a table with an unknown key or without a needed one."""
    for key in table:
        if key not in needed and key not in optional:
            raise InputError(f"unknown key {key!r}", mend=closest(key, [*needed, *optional]))
    for key in needed:
        if key not in table:
            raise InputError(f"{key!r} is missing", mend=f"add {key} = …")


def subtable(table: Table, key: str) -> Table:
    """Return the table called `key`; an empty one where there is none."""
    value = table.get(key, {})
    if not isinstance(value, Mapping):
        raise InputError(f"{key!r} is not a section", mend=f"write it as [{key}]")
    return value


def text_in(table: Table, key: str) -> str:
    """Return the words under `key`."""
    value = table[key]
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{key!r} is not a text", mend=f'write {key} = "…"')
    return value.strip()


def moment_in(table: Table, key: str) -> Moment:
    """Return the date, or the time with its offset, under `key`."""
    value = table[key]
    if isinstance(value, datetime) and value.tzinfo is None:
        raise InputError(
            f"{key!r} has a time but no time zone", mend="add its offset, such as +01:00"
        )
    if not isinstance(value, date):
        raise InputError(f"{key!r} is not a date", mend=f"write {key} = 2026-03-01, without quotes")
    return value


def number_in(table: Table, key: str) -> Decimal:
    """Return the number under `key`, with the digits that were written."""
    return _number(table[key], key)


def _number(value: object, key: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
        raise InputError(f"{key!r} is not a number", mend="write a plain number, without quotes")
    number = Decimal(value)
    if not number.is_finite() or abs(number) > FARTHEST_MM:
        raise InputError(f"{key!r} is no length within a room", mend="give it in millimetres")
    return number


def point_in(value: object, key: str) -> Point:
    """Return three coordinates."""
    if not isinstance(value, list) or len(value) != 3:
        raise InputError(f"{key!r} is not a point", mend="write three numbers, [x, y, z]")
    x, y, z = (float(_number(item, key)) for item in value)
    return x, y, z


def points_in(value: object, key: str) -> tuple[Point, ...]:
    """Return a list of points."""
    if not isinstance(value, list):
        raise InputError(f"{key!r} is not a list of points", mend="write [[x, y, z], …]")
    return tuple(point_in(item, key) for item in value)


def direction_in(value: object, key: str) -> Point:
    """Return three components that are not all zero."""
    direction = point_in(value, key)
    if math.hypot(*direction) < 1e-6:
        raise InputError(f"{key!r} points nowhere", mend="give an outward direction, [0, -1, 0]")
    return direction


def places_in(value: object, key: str) -> tuple[Pixel, ...]:
    """Return places in a picture, each ``[column, row]``."""
    if not isinstance(value, list):
        raise InputError(f"{key!r} is not a list of places", mend="write [[column, row], …]")
    return tuple(_place(item, key) for item in value)


def _place(item: object, key: str) -> Pixel:
    numbers = item if isinstance(item, list) else []
    sound = [
        float(number)
        for number in numbers
        if isinstance(number, (int, Decimal)) and not isinstance(number, bool)
    ]
    if len(sound) != 2 or len(numbers) != 2 or not all(map(math.isfinite, sound)):
        raise InputError(f"{key!r} holds something that is no place", mend="write [column, row]")
    return sound[0], sound[1]


def places_text(places: Sequence[Pixel]) -> str:
    """Return places as a case file writes them."""
    return "[" + ", ".join(f"[{column!r}, {row!r}]" for column, row in places) + "]"
