"""Diversions that bring ureters themselves to the skin, or a tube into kidney or bladder."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from thalweg.sheets.pictures.diversions.anatomy import (
    HILUM,
    LEVEL,
    across,
    bladder,
    body,
    kidney,
    native,
    ureter,
)
from thalweg.sheets.pictures.diversions.board import MIDLINE
from thalweg.sheets.pictures.diversions.parts import bag, stoma, tube

if TYPE_CHECKING:
    from thalweg.sheets.pictures.diversions.board import Board, Point

__all__ = [
    "cutaneous_bilateral",
    "cutaneous_double_barrel",
    "cutaneous_loop",
    "cutaneous_single",
    "nephrostomy",
    "suprapubic_cystostomy",
    "transuretero_cutaneous",
]

OTHER = {"right": "left", "left": "right"}


def _to_skin(side: str, at: Point) -> list[Point]:
    """Return a ureter's way from its kidney down its bed and forward to the skin on its side."""
    bed = [place for place in native(side) if place[1] <= min(175.0, at[1] - 25)]
    before = (bed[-1][0] * 0.45 + at[0] * 0.55, at[1] - 8.0)
    return [*bed, before, at]


def _crossing(side: str, at: Point) -> list[Point]:
    """Return a ureter's way over the midline to a place on the other side."""
    bed = [place for place in native(side) if place[1] <= min(160.0, at[1] - 30)]
    return [*bed, (MIDLINE, (bed[-1][1] + at[1]) / 2 + 6.0), at]


def _along(way: list[Point], share: float) -> Point:
    """Return the place at a share of a way's length."""
    steps = [math.dist(one, other) for one, other in pairwise(way)]
    left = share * sum(steps)
    for step, (here, there) in zip(steps, pairwise(way), strict=True):
        if left <= step:
            part = left / step
            return (here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1]))
        left -= step
    return way[-1]


def _stented(board: Board, way: list[Point], at: Point) -> None:
    tube(board, [*way, (at[0], at[1] + 16)], fine=True)


def _skin_end(board: Board, at: Point, *, openings: int = 1) -> None:
    bag(board, at)
    stoma(board, at, openings=openings, small=True)


def cutaneous_single(board: Board, side: str, at: Point) -> None:
    """Draw one ureter to one stoma; the other kidney is missing or without work."""
    body(board)
    bladder(board, kept=False)
    kidney(board, side)
    kidney(board, OTHER[side], working=False)
    way = _to_skin(side, at)
    ureter(board, way)
    _skin_end(board, at)
    _stented(board, way, at)
    board.name("ureter", _along(way, 0.62))
    board.name("stoma-small", at)
    board.name("bag", (at[0], at[1] + 44))
    board.name("stent", _along(way, 0.3))
    board.name("bladder-out", across(OTHER[side], 20.0, 296.0))


def cutaneous_bilateral(board: Board, side: str, at: Point) -> None:
    """Draw each ureter to a stoma on its own side."""
    body(board)
    bladder(board, kept=False)
    del side
    out = abs(at[0] - MIDLINE)
    places = {each: across(each, out, at[1]) for each in OTHER}
    for each, place in places.items():
        kidney(board, each)
        way = _to_skin(each, place)
        ureter(board, way)
        _skin_end(board, place)
        _stented(board, way, place)
        board.name("stoma-small", place)
        board.name("bag", (place[0], place[1] + 44))
        board.name("stent", _along(way, 0.3))
        board.name("ureter", _along(way, 0.62))
    board.name("bladder-out", (MIDLINE + 20, 296.0))


def cutaneous_double_barrel(board: Board, side: str, at: Point) -> None:
    """Draw both ureters side by side to one stoma."""
    body(board)
    bladder(board, kept=False)
    other = OTHER[side]
    for each in (side, other):
        kidney(board, each)
    shift = 3.6 if side == "right" else -3.6
    ends = {side: (at[0] - shift, at[1]), other: (at[0] + shift, at[1])}
    ways = {side: _to_skin(side, ends[side]), other: _crossing(other, ends[other])}
    for way in ways.values():
        ureter(board, way)
    _skin_end(board, at, openings=2)
    for each, way in ways.items():
        _stented(board, way, ends[each])
    board.name("ureter-own", _along(ways[side], 0.5))
    board.name("ureter-crosses", _along(ways[other], 0.3))
    board.name("stoma-two", at)
    board.name("bag", (at[0], at[1] + 44))
    board.name("stent", ways[other][-2], "left" if side == "left" else "right")
    board.name("bladder-out", across(other, 20.0, 296.0))


def transuretero_cutaneous(board: Board, side: str, at: Point) -> None:
    """Draw one ureter into the side of the other, which alone goes to the skin."""
    body(board)
    bladder(board, kept=False)
    other = OTHER[side]
    for each in (side, other):
        kidney(board, each)
    way = _to_skin(side, at)
    join = _along(way, 0.55)
    first, *bed = native(other)
    donor = [first, *(place for place in bed if place[1] <= join[1] - 36.0)]
    donor += [(MIDLINE, join[1] - 14.0), join]
    ureter(board, donor)
    ureter(board, way)
    _skin_end(board, at)
    _stented(board, way, at)
    board.name("ureter-crosses", donor[-2], "left" if other == "right" else "right")
    board.name("ureter-join", join)
    board.name("stoma-small", at)
    board.name("bag", (at[0], at[1] + 44))
    board.name("stent", _along(way, 0.78))
    board.name("bladder-out", across(other, 20.0, 296.0))


def cutaneous_loop(board: Board, side: str, at: Point) -> None:
    """Draw a loop of an infant's ureter opened on the flank; the ureter goes on to the bladder."""
    body(board, child=True)
    bladder(board, kept=True)
    for each in ("right", "left"):
        kidney(board, each)
        if side not in (each, "both"):
            ureter(board, native(each))
            continue
        end = across(each, abs(at[0] - MIDLINE), at[1])
        top = LEVEL[each]
        down = [across(each, HILUM - 4, top + 6), across(each, 40, top + 24), (end[0], end[1] - 3)]
        below = [place for place in native(each) if place[1] > end[1] + 30]
        ureter(board, [(end[0], end[1] + 3), across(each, 38, end[1] + 24), *below])
        ureter(board, down)
        stoma(board, end, openings=2, small=True)
        board.name("stoma-loop", end)
        board.name("ureter-below", across(each, 31.0, 205.0))
    board.name("bladder-kept", (MIDLINE + 14, 290.0))


def suprapubic_cystostomy(board: Board, side: str, at: Point) -> None:
    """Draw a catheter through the lower abdominal wall into the bladder."""
    body(board)
    for each in ("right", "left"):
        kidney(board, each)
        ureter(board, native(each))
    bladder(board, kept=True)
    theme = board.theme
    balloon = (MIDLINE, 286.0)
    board.add(
        "circle",
        "balloon",
        cx=balloon[0],
        cy=balloon[1],
        r=6.0,
        fill=theme.tube_core,
        stroke=theme.tube,
        stroke_width=1.6,
    )
    tube(board, [at, (MIDLINE, 268.0), (MIDLINE, 281.0)], inside=True)
    leg = across(side, 70.0, 284.0)
    bag(board, leg, length=36.0, half=15.0)
    tube(board, [at, across(side, 24.0, 244.0), across(side, 54.0, 256.0), leg])
    board.name("ureter-usual", across("left", 31.0, 175.0))
    board.name("ureter-usual", across("right", 31.0, 175.0))
    board.name("skin-opening", at, "left" if side == "left" else "right")
    board.name("catheter-bladder", across(side, 46.0, 252.0))
    board.name("bag-leg", (leg[0], leg[1] + 20))
    board.name("bladder-kept", across(OTHER[side], 16.0, 290.0))


def nephrostomy(board: Board, side: str, at: Point) -> None:
    """Draw a tube through the back into the renal pelvis, on one side or both."""
    body(board)
    bladder(board, kept=True)
    for each in ("right", "left"):
        ureter(board, native(each))
        kidney(board, each)
        if side not in (each, "both"):
            continue
        top = LEVEL[each]
        out = abs(at[0] - MIDLINE)
        exit_at = across(each, out, top + 16.0)
        tube(board, [across(each, HILUM, top), across(each, 62, top + 4), exit_at], inside=True)
        worn = across(each, out + 6.0, 206.0)
        bag(board, worn, length=52.0, half=15.0)
        tube(board, [exit_at, across(each, out + 6, top + 36), across(each, out + 4, 180), worn])
        board.name("tube-kidney", exit_at)
        board.name("bag-tube", (worn[0], worn[1] + 30))
        board.name("ureter-blocked", across(each, 31.0, 166.0))
    # A kidney without a tube still drains to the bladder.
    board.name("bladder-little" if side == "both" else "bladder-kept", (MIDLINE + 14, 290.0))
