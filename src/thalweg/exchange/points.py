"""Points of a course from a table: one point a row, in order from kidney to bladder.

The header row names the columns ``x_mm``, ``y_mm`` and ``z_mm`` (LPS millimetres); other columns
are left alone. Commas or semicolons part the cells; decimals have a point.
"""

from __future__ import annotations

import csv
import io
from math import isfinite
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.reading import placed, text_of

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.fact import Point

__all__ = ["read_points"]

COLUMNS: Final = ("x_mm", "y_mm", "z_mm")


def read_points(path: Path) -> tuple[Point, ...]:
    """Read the points of a course.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.

    Returns
    -------
    tuple of (x, y, z)
        LPS millimetres, in the order of the rows; empty rows are passed over.

    Raises
    ------
    InputError
        If the columns are not named, or a row is not three numbers.
    """
    with placed(path.name):
        text = text_of(path)
    header_line = text.split("\n", 1)[0]
    rows = csv.reader(io.StringIO(text), delimiter=";" if ";" in header_line else ",")
    header = [cell.strip().lower() for cell in next(rows, [])]
    for column in COLUMNS:
        if header.count(column) != 1:
            raise InputError(
                f"its first row does not name the column {column!r} once",
                where=path.name,
                mend="begin with x_mm,y_mm,z_mm and give LPS millimetres below",
            )
    places = [header.index(column) for column in COLUMNS]
    return tuple(
        _point(row, places, f"{path.name} row {number}")
        for number, row in enumerate(rows, start=2)
        if any(cell.strip() for cell in row)
    )


def _point(row: list[str], places: list[int], where: str) -> Point:
    try:
        x, y, z = (float(row[place]) for place in places)
    except (ValueError, IndexError):
        x = y = z = float("nan")
    if not all(map(isfinite, (x, y, z))):
        raise InputError(
            "it is not three numbers", where=where, mend="write x, y and z with a decimal point"
        )
    return x, y, z
