"""The parts that every diagram shares, drawn to usual adult anatomy (descriptive, from memory).

The left kidney lies higher than the right; the ureters come down on the psoas, cross the iliac
vessels at the pelvic brim and swing outwards before they enter the bladder.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from thalweg.sheets.pictures.diversions.board import MIDLINE, SIGN, Board, Point, curve

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "BOTTOM",
    "HALF_WIDTH",
    "HILUM",
    "LEVEL",
    "NAVEL",
    "TOP",
    "across",
    "bladder",
    "body",
    "kidney",
    "native",
    "ureter",
]

TOP, BOTTOM, HALF_WIDTH = 40.0, 326.0, 108.0
NAVEL: Point = (MIDLINE, 190.0)
LEVEL = {"right": 98.0, "left": 86.0}
"""Height of each kidney's middle."""
HILUM = 45.0
"""Distance of each renal pelvis from the midline."""
KIDNEY_OUT, KIDNEY_TILT = 54.0, math.radians(13)
BLADDER: Point = (MIDLINE, 281.0)

_ADULT = ((97, 40), (93, 75), (85, 115), (83, 140), (88, 172), (98, 208), (106, 245), (108, 280))
_CHILD = ((84, 40), (86, 80), (91, 120), (93, 160), (90, 200), (90, 240), (94, 280))
_BEAN = (
    (1, -29), (-11, -25), (-17, -12), (-18, 3), (-14, 19), (-3, 28), (8, 24), (11, 13), (6, 3),
    (6, -5), (11, -15), (9, -25),
)  # fmt: skip


def across(side: str, out: float, y: float) -> Point:
    """Return the point `out` units from the midline towards a side of the person."""
    return (MIDLINE + SIGN[side] * out, y)


def body(board: Board, *, child: bool = False) -> None:
    """Draw the outline of the trunk, its navel, the edge of the ribs and the great vessels."""
    theme = board.theme
    half = [(float(out), float(y)) for out, y in (_CHILD if child else _ADULT)]
    foot = half[-1][0] - 2
    flank = [*half, (foot, BOTTOM)]
    right = curve([across("right", *place) for place in flank])
    left = curve([across("left", *place) for place in reversed(flank)])
    # Right flank down, between the legs, left flank up: one closed shape for the skin.
    between = curve([across("right", 4, BOTTOM), (MIDLINE, 311), across("left", 4, BOTTOM)])
    whole = f"{right}L{between[1:]}L{left[1:]}Z"
    board.add("path", "body", d=whole, fill=theme.skin, stroke="none")
    for path in (right, between, left):
        board.line("body-outline", path, theme.skin_line, 1.8)
    ribs = [(88, 88), (72, 82), (44, 66), (16, 48), (6, 41)]
    for side in SIGN:
        board.line("ribs", curve([across(side, *place) for place in ribs]), theme.faint, 1.4)
        vessel = [(2.5, 60), (2.5, 196), (20, 216), (38, 248), (46, 282)]
        board.line("vessels", curve([across(side, *place) for place in vessel]), theme.faint, 5.0)
    board.line("navel", curve([(146, 190), (150, 193), (154, 190)]), theme.skin_line, 1.6)


def kidney(board: Board, side: str, *, working: bool = True, name: bool = True) -> None:
    """Draw a kidney, or the outline of one that is missing or without work."""
    sign, theme = SIGN[side], board.theme
    turn = KIDNEY_TILT
    points = []
    for x, y in _BEAN:
        # Hilum towards the midline, upper pole nearer to it than the lower.
        away, down = (
            x * math.cos(turn) - y * math.sin(turn),
            x * math.sin(turn) + y * math.cos(turn),
        )
        points.append((MIDLINE + sign * (KIDNEY_OUT - away), LEVEL[side] + down))
    path = curve(points, closed=True)
    if working:
        board.add(
            "path", "kidney", d=path, fill=theme.kidney, stroke=theme.kidney_line, stroke_width=1.8
        )
        pelvis = [(51, -7), (46, -3), (HILUM - 4, 6), (46, 6), (50, 8), (52, 1)]
        shape = curve([across(side, out, LEVEL[side] + down) for out, down in pelvis], closed=True)
        board.add(
            "path",
            "renal-pelvis",
            d=shape,
            fill=theme.urine,
            stroke=theme.urine_line,
            stroke_width=1.2,
        )
    else:
        board.line("kidney-gone", path, theme.rest, 1.5, stroke_dasharray="1 4")
    if name:
        key = f"kidney-{side}" if working else "kidney-gone"
        board.name(key, across(side, KIDNEY_OUT + 12, LEVEL[side]))


def native(side: str, *, down_to: float = 290.0) -> list[Point]:
    """Return the usual course of a ureter from the renal pelvis down to a height."""
    top = LEVEL[side]
    course = [
        (HILUM - 4.0, top + 6.0), (37.0, top + 18.0), (33.0, top + 38.0), (31.0, 160.0),
        (31.0, 190.0), (28.0, 215.0), (33.0, 236.0), (33.0, 252.0), (26.0, 267.0), (17.0, 276.0),
    ]  # fmt: skip
    return [across(side, *place) for place in course if place[1] <= down_to]


def ureter(board: Board, points: Sequence[Point], *, part: str = "ureter") -> None:
    """Draw a ureter along a course."""
    path = curve(points)
    board.line(part, path, board.theme.urine_line, 6.0)
    board.line(part, path, board.theme.urine, 3.4)


def bladder(board: Board, *, kept: bool) -> None:
    """Draw the bladder, or the dotted outline of one taken out or no longer in use."""
    x, y = BLADDER
    shape = [(0, -20), (20, -14), (26, 2), (14, 17), (0, 23), (-14, 17), (-26, 2), (-20, -14)]
    path = curve([(x + dx, y + dy) for dx, dy in shape], closed=True)
    theme = board.theme
    if kept:
        board.add(
            "path", "bladder", d=path, fill=theme.urine, stroke=theme.urine_line, stroke_width=1.8
        )
    else:
        board.line("bladder-gone", path, theme.rest, 1.6, stroke_dasharray="1 4.5")
