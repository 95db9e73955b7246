"""Diversions in which bowel carries or stores urine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.sheets.pictures.diversions.anatomy import (
    across,
    bladder,
    body,
    kidney,
    native,
    ureter,
)
from thalweg.sheets.pictures.diversions.board import MIDLINE, SIGN, curve
from thalweg.sheets.pictures.diversions.parts import (
    bag,
    bowel,
    mended_bowel,
    reservoir,
    resting_bowel,
    stoma,
    tube,
)

if TYPE_CHECKING:
    from thalweg.sheets.pictures.diversions.board import Board, Point

__all__ = [
    "colon_conduit",
    "continent_pouch",
    "ileal_conduit",
    "jejunal_conduit",
    "neobladder",
    "ureterosigmoidostomy",
]

OTHER = {"right": "left", "left": "right"}
ILEUM_MENDED = [(126.0, 178.0), (138.0, 170.0), (150.0, 174.0), (162.0, 178.0), (174.0, 170.0)]
SIGMOID = [
    (224.0, 196.0), (220.0, 222.0), (204.0, 236.0), (190.0, 226.0), (179.0, 214.0), (170.0, 226.0),
    (170.0, 252.0),
]  # fmt: skip


def _kidneys(board: Board) -> None:
    for side in SIGN:
        kidney(board, side)


def _behind_sigmoid(down_to: float, end: Point) -> list[Point]:
    """Return the left ureter's way to the midline, under the mesentery of the sigmoid colon."""
    return [*native("left", down_to=down_to), (172.0, end[1] - 10), end]


def _spout(board: Board, at: Point, key: str) -> None:
    bag(board, at)
    stoma(board, at)
    board.name(key, at)
    board.name("bag", (at[0], at[1] + 44))


def ileal_conduit(board: Board, side: str, at: Point) -> None:
    """Draw a piece of ileum from near the midline to the skin."""
    body(board)
    bladder(board, kept=False)
    _kidneys(board)
    base = across(OTHER[side], 2.0, 240.0)
    for each, end in (("left", _base_end(base, 1)), ("right", _base_end(base, -1))):
        way = native(each, down_to=200.0)
        ureter(board, [*way, ((way[-1][0] + end[0]) / 2, end[1] - 14), end])
        board.name("ureter", across(each, 31.5, 150.0))
    if side == "right":
        resting_bowel(board, SIGMOID)
        board.name("ureter-behind", (202.0, 235.0))
    mended_bowel(board, ILEUM_MENDED, (150.0, 174.0))
    piece = [base, across(side, 14, 246), across(side, 32, 241), (at[0] * 0.7 + MIDLINE * 0.3, 232)]
    bowel(board, [*piece, at])
    _spout(board, at, "stoma")
    board.name("conduit-ileum", across(side, 18, 246), "left" if side == "right" else "right")
    board.name("bladder-out", across(OTHER[side], 20.0, 296.0))


def _base_end(base: Point, shift: int) -> Point:
    """Return where a ureter joins the base of a conduit."""
    return (base[0] + 4.0 * shift, base[1] - 7.0)


def _high_ureters(board: Board, base: Point, along: Point) -> None:
    """Draw two short ureters to a conduit that lies high."""
    ends = sorted((base, along))
    for side, end in (("right", ends[0]), ("left", ends[1])):
        way = native(side, down_to=118.0)
        ureter(board, [*way, ((way[-1][0] + end[0]) / 2, end[1] - 16), end])
        board.name("ureter-short", way[-1])


def colon_conduit(board: Board, side: str, at: Point) -> None:
    """Draw a piece of transverse colon, high in the abdomen, to the skin."""
    body(board)
    bladder(board, kept=False)
    _kidneys(board)
    base = across(OTHER[side], 30.0, 158.0)
    near = across(side, 10.0, 158.0)
    _high_ureters(board, base, near)
    frame = [(76.0, 226.0), (74.0, 180.0), (76.0, 142.0), (92.0, 130.0), (120.0, 136.0)]
    frame += [(150.0, 140.0), (182.0, 134.0), (208.0, 118.0), (224.0, 122.0), (226.0, 170.0)]
    frame += [(222.0, 222.0)]
    resting_bowel(board, frame)
    mended_seam = (150.0, 140.0)
    board.line("seam", "M148.4 132.5V147.5M151.6 132.5V147.5", board.theme.rest, 1.2)
    board.name("bowel-mended", mended_seam)
    bowel(board, [base, across(side, 0, 163), across(side, 26, 170), at], colon=True)
    _spout(board, at, "stoma")
    board.name("conduit-colon", across(side, 14, 166), "left" if side == "right" else "right")
    board.name("bladder-out", across(OTHER[side], 20.0, 296.0))


def jejunal_conduit(board: Board, side: str, at: Point) -> None:
    """Draw a piece of jejunum, high in the abdomen, to the skin."""
    body(board)
    bladder(board, kept=False)
    _kidneys(board)
    base = across(OTHER[side], 26.0, 152.0)
    _high_ureters(board, base, across(side, 14.0, 154.0))
    mended_bowel(
        board,
        [across(OTHER[side], out, y) for out, y in ((-34, 206), (-12, 214), (8, 206), (28, 214))],
        across(OTHER[side], 8.0, 206.0),
    )
    bowel(board, [base, across(side, 2, 160), across(side, 24, 166), at])
    _spout(board, at, "stoma")
    board.name("conduit-jejunum", across(side, 12, 162), "left" if side == "right" else "right")
    board.name("bladder-out", across(OTHER[side], 20.0, 296.0))


def continent_pouch(board: Board, side: str, at: Point) -> None:
    """Draw a reservoir with a narrow channel to the skin, emptied by catheter."""
    body(board)
    bladder(board, kept=False)
    _kidneys(board)
    middle = across(side, 22.0, 236.0)
    for each in (OTHER[side], side):
        way = native(each, down_to=190.0)
        end = (middle[0] + SIGN[each] * 10.0, middle[1] - 26)
        ureter(board, [*way, ((way[-1][0] + end[0]) / 2, end[1] - 6), end])
        board.name("ureter", across(each, 31.5, 160.0))
    reservoir(board, middle, (34.0, 30.0), part="pouch")
    channel = [across(side, 44.0, 220.0), (at[0] * 0.8 + MIDLINE * 0.2, at[1] + 12), at]
    bowel(board, channel, width=6.5, part="channel")
    tube(board, [at, *reversed(channel[:2]), across(side, 32, 232)], inside=True)
    stoma(board, at, small=True)
    tube(board, [at, (at[0] + SIGN[side] * 14, at[1] + 2), (at[0] + SIGN[side] * 26, at[1] + 26)])
    board.name("pouch", across(side, 16.0, 246.0), "right" if side == "left" else "left")
    board.name("channel", channel[1], "right" if side == "left" else "left")
    board.name("stoma-continent", at)
    board.name("catheter-pouch", (at[0] + SIGN[side] * 24, at[1] + 20))
    board.name("bladder-out", across(OTHER[side], 20.0, 296.0))


def neobladder(board: Board, side: str, at: Point) -> None:
    """Draw a reservoir in the bladder's place, joined to the urethra."""
    del side, at
    body(board)
    _kidneys(board)
    for each in SIGN:
        way = native(each, down_to=256.0)
        ureter(board, [*way, across(each, 22.0, 266.0)])
        board.name("ureter", across(each, 31.0, 160.0))
    mended_bowel(board, [(x, y + 34) for x, y in ILEUM_MENDED], (150.0, 208.0))
    theme = board.theme
    urethra = curve([(MIDLINE, 300.0), (MIDLINE, 321.0)])
    board.line("urethra", urethra, theme.urine_line, 7.0)
    board.line("urethra", urethra, theme.urine, 3.6)
    reservoir(board, (MIDLINE, 280.0), (32.0, 24.0), part="neobladder")
    board.name("neobladder", across("left", 18.0, 282.0))
    board.name("urethra", (MIDLINE, 314.0), "left")


def ureterosigmoidostomy(board: Board, side: str, at: Point) -> None:
    """Draw both ureters into the sigmoid colon: urine leaves with stool."""
    del side, at
    body(board)
    _kidneys(board)
    left_end, right_end = (190.0, 243.0), (158.0, 243.0)
    way = native("right", down_to=200.0)
    ureter(board, [*way, (136.0, 228.0), right_end])
    resting_bowel(board, [(226.0, 150.0), (224.0, 190.0), (220.0, 214.0)])
    piece = [(220.0, 214.0), (214.0, 238.0), (194.0, 250.0), (172.0, 242.0), (156.0, 252.0)]
    bowel(board, [*piece, (150.0, 276.0), (150.0, 312.0)], colon=True)
    ureter(board, [*native("left", down_to=200.0), (183.0, 226.0), left_end])
    for each in SIGN:
        board.name("ureter", across(each, 31.0, 160.0))
    bladder(board, kept=False)
    board.name("ureter-into-bowel", right_end, "left")
    board.name("ureter-into-bowel", left_end)
    board.name("sigmoid", (214.0, 236.0))
    board.name("bladder-out", across("right", 20.0, 296.0))
    board.name("anus", (MIDLINE, 314.0), "right")
