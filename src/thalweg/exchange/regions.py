"""Regions drawn on a renogram's picture: their corners, as a table or as TOML.

A corner is a column and a row, counted from 0 at the centre of the first pixel, the column to the
right and the row downwards. As TOML::

    [regions_px]
    left = [[40, 52], [50, 50], [48, 70]]

or as a table, one corner in each row, with the columns ``region``, ``column_px`` and ``row_px``.
"""

from __future__ import annotations

import csv
import io
import tomllib
from difflib import get_close_matches
from math import isfinite
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.reading import placed, text_of
from thalweg.record.renogram import ROLES

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = ["Corners", "read_regions", "regions_toml"]

Corners = tuple[tuple[float, float], ...]
TABLE: Final = "regions_px"
COLUMNS: Final = ("region", "column_px", "row_px")
FEWEST: Final = 3


def read_regions(path: Path) -> dict[str, Corners]:
    """Read the corners of each region.

    Parameters
    ----------
    path : Path
        ``*.toml`` or ``*.csv``, UTF-8.

    Returns
    -------
    dict of str to tuple of (column, row)
        By role (`thalweg.record.renogram.ROLES`), in the order of the file.

    Raises
    ------
    InputError
        The file is neither, a region has no known role or fewer than three corners, or a corner
        is not two numbers.
    """
    with placed(path.name):
        text = text_of(path)
        suffix = path.suffix.lower()
        if suffix not in (".toml", ".csv"):
            raise InputError("is neither a table nor TOML", mend="name it *.csv or *.toml")
        regions = _of_toml(text) if suffix == ".toml" else _of_table(text)
        if not regions:
            raise InputError("holds no region", mend="draw one round each kidney")
        for role, corners in regions.items():
            if len(set(corners)) < FEWEST:
                raise InputError(
                    f"region {role!r} has fewer than {FEWEST} corners", mend="draw it whole"
                )
        return regions


def regions_toml(regions: Mapping[str, Corners]) -> str:
    """Return regions as the text that `read_regions` reads back."""
    lines = [f"[{TABLE}]"]
    for role, corners in regions.items():
        places = ", ".join(f"[{float(column)!r}, {float(row)!r}]" for column, row in corners)
        lines.append(f"{role} = [{places}]")
    return "\n".join(lines) + "\n"


def _require_role(role: str) -> str:
    if role not in ROLES:
        near = get_close_matches(role, ROLES, n=1)
        mend = f"did you mean {near[0]!r}" if near else f"write one of {', '.join(ROLES)}"
        raise InputError(f"unknown region {role!r}", mend=mend)
    return role


def _of_toml(text: str) -> dict[str, Corners]:
    try:
        whole = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML ({error})", mend="correct it there") from None
    table = whole.get(TABLE)
    if list(whole) != [TABLE] or not isinstance(table, dict):
        raise InputError(
            f"does not hold the section [{TABLE}] alone", mend=f"write the regions below [{TABLE}]"
        )
    return {_require_role(role): _corners(role, places) for role, places in table.items()}


def _corners(role: str, places: object) -> Corners:
    pairs = places if isinstance(places, list) else []
    sound = [
        (float(pair[0]), float(pair[1]))
        for pair in pairs
        if isinstance(pair, list) and len(pair) == 2 and all(map(_is_number, pair))
    ]
    if not pairs or len(sound) < len(pairs):
        raise InputError(
            f"region {role!r} holds something that is no place", mend="write [[column, row], …]"
        )
    return tuple(sound)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and isfinite(value)


def _of_table(text: str) -> dict[str, Corners]:
    heading = text.partition("\n")[0]
    delimiter = ";" if heading.count(";") > heading.count(",") else ","
    table = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    regions: dict[str, list[tuple[float, float]]] = {}
    try:
        header = [cell.strip().lower() for cell in next(table, [])]
        if sorted(filter(None, header)) != sorted(COLUMNS):
            raise InputError(
                f"does not name the columns {', '.join(COLUMNS)} once each",
                where="line 1",
                mend="begin with region,column_px,row_px",
            )
        places = [header.index(column) for column in COLUMNS]
        for row in table:
            if any(map(str.strip, row)):
                with placed(f"line {table.line_num}"):
                    role, corner = _row(row, places)
                    regions.setdefault(role, []).append(corner)
    except csv.Error as error:
        raise InputError(f"is not a readable table ({error})", mend="save it again") from None
    return {role: tuple(corners) for role, corners in regions.items()}


def _row(row: list[str], places: list[int]) -> tuple[str, tuple[float, float]]:
    cells = [row[place].strip() if place < len(row) else "" for place in places]
    role = _require_role(cells[0])
    try:
        column, line = float(cells[1]), float(cells[2])
    except ValueError:
        column = line = float("nan")
    if not (isfinite(column) and isfinite(line)):
        raise InputError(
            "is not two numbers", mend="write column and row with a decimal point, such as 40.5"
        )
    return role, (column, line)
