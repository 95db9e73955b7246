"""What an operation adds: stoma, bag, tubes, and bowel that carries urine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.sheets.pictures.diversions.board import Board, Point, curve

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["bag", "bowel", "mended_bowel", "reservoir", "resting_bowel", "stoma", "tube"]

CONDUIT_WIDTH = 17.0


def bowel(
    board: Board,
    points: Sequence[Point],
    *,
    width: float = CONDUIT_WIDTH,
    colon: bool = False,
    part: str = "bowel",
) -> None:
    """Draw bowel that carries urine, striped; colon also shows its rings."""
    path, theme = curve(points), board.theme
    board.line(part, path, theme.bowel_line, width + 3.2)
    board.line(part, path, "url(#bowel)", width)
    if colon:
        board.line(
            part,
            path,
            theme.bowel_line,
            width,
            stroke_dasharray="1.4 9",
            stroke_linecap="butt",
        )


def resting_bowel(board: Board, points: Sequence[Point], *, width: float = 13.0) -> None:
    """Draw bowel that does its old work, as an outline that lets what lies behind show through."""
    path, theme = curve(points), board.theme
    for colour, wide in ((theme.rest, width + 2.0), (theme.skin, width)):
        board.line("bowel-rest", path, colour, wide, stroke_linecap="butt")


def mended_bowel(
    board: Board, points: Sequence[Point], seam: Point, *, width: float = 12.0
) -> None:
    """Draw bowel out of which a piece was taken, with the seam where its ends were joined."""
    resting_bowel(board, points, width=width)
    x, y = seam
    half = width / 2 + 1
    for shift in (-1.6, 1.6):
        board.line("seam", f"M{x + shift:g} {y - half:g}V{y + half:g}", board.theme.rest, 1.2)
    board.name("bowel-mended", (x, y))


def reservoir(board: Board, middle: Point, half: Point, *, part: str = "reservoir") -> None:
    """Draw a pouch of opened and refolded bowel, with its seams."""
    (x, y), (wide, high), theme = middle, half, board.theme
    board.add(
        "ellipse",
        part,
        cx=x,
        cy=y,
        rx=wide,
        ry=high,
        fill="url(#bowel)",
        stroke=theme.bowel_line,
        stroke_width=2.0,
    )
    for share in (-0.4, 0.4):
        reach = high * (1 - share**2) ** 0.5 - 1
        seam = [
            (x + share * wide * 1.05, y - reach),
            (x + share * wide * 0.35, y),
            (x + share * wide * 1.05, y + reach),
        ]
        board.line("seam", curve(seam), theme.bowel_line, 1.6, stroke_dasharray="4 3")


def stoma(board: Board, at: Point, *, openings: int = 1, small: bool = False) -> None:
    """Draw an opening on the skin; ureters make small ones, and one or two channels show."""
    (x, y), theme = at, board.theme
    radius = 6.5 if small else 10.0
    board.add(
        "ellipse",
        "stoma",
        cx=x,
        cy=y,
        rx=radius + (2.5 if openings == 2 else 0),
        ry=radius,
        fill=theme.stoma,
        stroke=theme.stoma_line,
        stroke_width=1.8,
    )
    for place in (0.0,) if openings == 1 else (-3.6, 3.6):
        board.add(
            "circle",
            "stoma-hole",
            cx=x + place,
            cy=y,
            r=2.0 if small else 3.0,
            fill=theme.stoma_line,
        )


def bag(board: Board, at: Point, *, length: float = 56.0, half: float = 17.0) -> None:
    """Draw a bag worn over a stoma, seen through."""
    (x, y), theme = at, board.theme
    outline = [
        (x, y - half), (x + half * 0.8, y - half * 0.6), (x + half, y + 4),
        (x + half * 1.05, y + length * 0.62), (x + half * 0.6, y + length - 4), (x, y + length),
        (x - half * 0.6, y + length - 4), (x - half * 1.05, y + length * 0.62), (x - half, y + 4),
        (x - half * 0.8, y - half * 0.6),
    ]  # fmt: skip
    path = curve(outline, closed=True)
    board.add("path", "bag", d=path, fill="url(#bag)", fill_opacity=0.55, stroke="none")
    board.line("bag", path, theme.bag_line, 1.8)


def tube(
    board: Board, points: Sequence[Point], *, inside: bool = False, fine: bool = False
) -> None:
    """Draw a tube: a full line with a light core, broken where it lies inside the body.

    A `fine` one is a stent within a ureter.
    """
    path, theme = curve(points), board.theme
    if fine:
        board.line("stent", path, theme.tube, 1.5, stroke_dasharray="4 2.2")
    elif inside:
        board.line(
            "tube-inside", path, theme.tube, 4.4, stroke_dasharray="5 4", stroke_linecap="butt"
        )
    else:
        board.line("tube", path, theme.tube, 4.8)
        board.line("tube", path, theme.tube_core, 1.6)
