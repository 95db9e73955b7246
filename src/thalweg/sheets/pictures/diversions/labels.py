"""Where names stand beside a picture, so that their lines neither cross nor crowd."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import combinations
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL.ImageFont import FreeTypeFont

    from thalweg.sheets.pictures.diversions.board import Point

__all__ = ["Column", "Placed", "placed", "text_width", "wrapped"]

LINE = 1.22
"""Height of a line of text, of its size."""
GAP = 9.0
_MEASURED_AT = 100


@cache
def _font(*, bold: bool) -> FreeTypeFont:
    # The same font as in print, which the drawing library carries.
    import matplotlib as mpl  # noqa: PLC0415 - only when drawn
    from PIL import ImageFont  # noqa: PLC0415

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(f"{mpl.get_data_path()}/fonts/ttf/{name}", _MEASURED_AT)


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is in DejaVu Sans at a size, in the size's unit."""
    return _font(bold=bold).getlength(text) * size / _MEASURED_AT


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text in lines no wider than `width`, broken at spaces and of about one length.

    A word wider than that stands alone on its line.
    """
    lines = _broken(text, width, size, bold=bold)
    narrow, wide = 0.0, width
    while wide - narrow > size / 4:
        middle = (narrow + wide) / 2
        tried = _broken(text, middle, size, bold=bold)
        fits = max((text_width(line, size, bold=bold) for line in tried), default=0.0) <= width
        if len(tried) == len(lines) and fits:
            lines, wide = tried, middle
        else:
            narrow = middle
    return lines


def _broken(text: str, width: float, size: float, *, bold: bool) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size, bold=bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True, slots=True)
class Column:
    """A column of names: the edge nearest the picture, and the heights that it spans."""

    edge: float
    top: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Placed:
    """A name in its place: middle of its height, and the line's two ends."""

    number: int
    middle: float
    start: Point
    end: Point


def _heights(wanted: Sequence[float], high: Sequence[float], column: Column) -> list[float] | None:
    """Return middles in this order, without overlap and as near as they go to those wanted.

    Pools neighbours that would overlap and sets each pool at the mean of what its members want.
    """
    pools: list[list[float]] = []  # [sum of wanted tops, count, height]
    for want, tall in zip(wanted, high, strict=True):
        pools.append([want - tall / 2, 1.0, tall])
        while len(pools) > 1 and _top(pools[-2], column) + pools[-2][2] + GAP > _top(
            pools[-1], column
        ):
            total, count, depth = pools.pop()
            pools[-1][0] += total - count * (pools[-1][2] + GAP)
            pools[-1][1] += count
            pools[-1][2] += GAP + depth
    if sum(high) + GAP * (len(high) - 1) > column.bottom - column.top:
        return None
    middles, index = [], 0
    for pool in pools:
        top, last = _top(pool, column), index + int(pool[1])
        while index < last:
            middles.append(top + high[index] / 2)
            top += high[index] + GAP
            index += 1
    return middles


def _top(pool: list[float], column: Column) -> float:
    return min(max(pool[0] / pool[1], column.top), column.bottom - pool[2])


def _cross(one: Placed, other: Placed) -> bool:
    def turn(a: Point, b: Point, c: Point) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    return (
        turn(one.start, one.end, other.start) * turn(one.start, one.end, other.end) < 0
        and turn(other.start, other.end, one.start) * turn(other.start, other.end, one.end) < 0
    )


def _one_order(
    order: Sequence[int], targets: Sequence[Point], high: Sequence[float], column: Column
) -> list[Placed] | None:
    middles = _heights([targets[n][1] for n in order], [high[n] for n in order], column)
    if middles is None:
        return None
    return [
        Placed(n, middle, (column.edge, middle), targets[n])
        for n, middle in zip(order, middles, strict=True)
    ]


def _uncrossed(
    order: list[int], targets: Sequence[Point], high: Sequence[float], column: Column
) -> list[Placed] | None:
    """Return a column's names in an order in which no two of their lines cross.

    Two that cross change places: that shortens their lines, so that it comes to an end.
    """
    for _ in range(len(order) ** 3 + 1):
        lines = _one_order(order, targets, high, column)
        if lines is None:
            return None
        pairs = combinations(range(len(order)), 2)
        found = next(((i, j) for i, j in pairs if _cross(lines[i], lines[j])), None)
        if found is None:
            return lines
        first, second = found
        order[first], order[second] = order[second], order[first]
    return None


def placed(
    targets: Sequence[Point],
    high: Sequence[float],
    forced: Sequence[str],
    columns: tuple[Column, Column],
    middle: float,
    *,
    prefer: str = "right",
) -> list[Placed]:
    """Return every name in its place, level with its part or as near as it goes.

    Parameters
    ----------
    targets : sequence of (x, y)
        What each name's line leads to.
    high : sequence of float
        Height of each name.
    forced : sequence of str
        ``"left"``, ``"right"`` or empty for each.
    columns : tuple of Column
        On the left and on the right of the picture.
    middle : float
        x that parts names between the columns.
    prefer : str
        Column of a part in the midline.

    Raises
    ------
    ValueError
        If the names do not fit.
    """
    sides = [
        side or (prefer if abs(x - middle) < 1 else "left" if x < middle else "right")
        for (x, _), side in zip(targets, forced, strict=True)
    ]
    found: list[Placed] = []
    for side, column in zip(("left", "right"), columns, strict=True):
        order = [n for n, own in enumerate(sides) if own == side]
        order.sort(key=lambda n: targets[n][1])
        lines = _uncrossed(order, targets, high, column)
        if lines is None:
            msg = "the names do not fit beside the picture"
            raise ValueError(msg)
        found += lines
    return sorted(found, key=lambda one: one.number)
