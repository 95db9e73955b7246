"""A diagram of a diversion, for the person: what is joined to what, and where urine comes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

from thalweg.errors import InputError
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.diversions import on_bowel, on_ureters
from thalweg.sheets.pictures.diversions.anatomy import NAVEL, across
from thalweg.sheets.pictures.diversions.board import Board
from thalweg.sheets.pictures.diversions.look import THEMES
from thalweg.sheets.pictures.diversions.pen import FRAMES, Pen
from thalweg.sheets.pictures.diversions.wording import english

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from thalweg.sheets.pictures.diversions.board import Point

    Words = Callable[[str], str]

__all__ = ["DIAGRAMS", "Diagram", "Size", "diversion_picture"]

_T = TypeVar("_T")
Size = Literal["page", "phone", "small"]

ACROSS, UP = 0.75, 0.6
"""Units of the diagrams to a millimetre of an adult: a marked stoma is drawn about in its place."""
EDGES = (40.0, 82.0, 130.0, 262.0)
"""Least and greatest distance from the midline, and least and greatest y, of a drawn stoma."""


@dataclass(frozen=True, slots=True)
class Diagram:
    """How one diversion is drawn.

    Parameters
    ----------
    draw : callable
        Puts it on a board, for a side and a place of the stoma.
    sides : tuple of str
        Sides it can be drawn on, the usual one first.
    stoma : tuple of float, or None
        Usual distance of the stoma from the midline, and its y; None where there is none.
    by_site : bool
        Whether a marked site moves the stoma.
    """

    draw: Callable[[Board, str, Point], None]
    sides: tuple[str, ...]
    stoma: tuple[float, float] | None
    by_site: bool = True


_EITHER = ("right", "left")
DIAGRAMS: dict[str, Diagram] = {
    "cutaneous-single": Diagram(on_ureters.cutaneous_single, _EITHER, (52.0, 208.0)),
    "cutaneous-bilateral": Diagram(
        on_ureters.cutaneous_bilateral, ("both",), (52.0, 208.0), by_site=False
    ),
    "cutaneous-double-barrel": Diagram(on_ureters.cutaneous_double_barrel, _EITHER, (48.0, 212.0)),
    "cutaneous-loop": Diagram(
        on_ureters.cutaneous_loop, ("both", "right", "left"), (64.0, 152.0), by_site=False
    ),
    "transuretero-cutaneous": Diagram(on_ureters.transuretero_cutaneous, _EITHER, (52.0, 212.0)),
    "ileal-conduit": Diagram(on_bowel.ileal_conduit, _EITHER, (50.0, 212.0)),
    "colon-conduit": Diagram(on_bowel.colon_conduit, _EITHER, (52.0, 182.0)),
    "jejunal-conduit": Diagram(on_bowel.jejunal_conduit, ("left", "right"), (52.0, 176.0)),
    "continent-pouch": Diagram(on_bowel.continent_pouch, _EITHER, (58.0, 196.0)),
    "neobladder": Diagram(on_bowel.neobladder, ("none",), None),
    "ureterosigmoidostomy": Diagram(on_bowel.ureterosigmoidostomy, ("none",), None),
    "suprapubic-cystostomy": Diagram(
        on_ureters.suprapubic_cystostomy, ("left", "right"), (0.0, 252.0), by_site=False
    ),
    "nephrostomy": Diagram(
        on_ureters.nephrostomy, ("both", "right", "left"), (84.0, 110.0), by_site=False
    ),
}
"""Every diversion that has a diagram, by the catalogue's key."""


def diversion_picture(
    key: str,
    *,
    side: str | None = None,
    site_mm: tuple[float, float] | None = None,
    words: Words = english,
    right_to_left: bool = False,
    theme: str = "light",
    size: Size = "page",
    share: float = 1.0,
) -> Picture:
    """Return a diagram of a diversion as SVG.

    Parameters
    ----------
    key : str
        The catalogue's.
    side : str, optional
        Of the person, where the stoma or tube is: ``"right"``, ``"left"`` or ``"both"``, as the
        diversion allows; its usual one if not given.
    site_mm : tuple of float, optional
        Where the stoma is marked, mm from the navel towards the person's left and head. It settles
        the side where the diversion leaves it open, and moves the drawn stoma.
    words : callable
        Gives the words of a key of `thalweg.sheets.pictures.diversions.wording`.
    right_to_left : bool
        Whether the words' script runs so. Names keep their side of the picture, since a body has
        its own left and right.
    theme : "light" or "dark"
    size : "page", "phone" or "small"
        Names beside the picture, for half a page of A4; numbers with a key below, for a phone
        360 pixels wide; numbers whose key stands in the caption, for a corner of a page.
    share : float
        Part of the page's width, 0 to 1.

    Raises
    ------
    InputError
        If there is no such diagram, side or theme.
    """
    diagram = _known(key, DIAGRAMS, "diagram of a diversion")
    colours = _known(theme, THEMES, "theme")
    frame = _known(size, FRAMES, "size of a diagram")
    marked = site_mm if diagram.by_site and diagram.stoma is not None else None
    side = _side(key, diagram, side, marked)
    board = Board(colours)
    diagram.draw(board, side, _place(diagram, side, marked))
    title = words(f"diagram.title.{key}")
    says = f"{words(f'diagram.says.{key}')} {words(f'diagram.side.{side}')}"
    pen = Pen(frame, colours, words, right_to_left=right_to_left)
    data = pen.draw(board, f"diagram-{key}", title, says)
    said = [words("diagram.site")] if marked else []
    if frame.numbered and not frame.keyed:
        numbers = (f"{number} {text}" for number, text in enumerate(pen.key, 1))
        said = [f"{'; '.join(numbers)}.", *said, words("diagram.note")]
    return Picture(data, "svg", " ".join(said), f"{title}. {says} {words('diagram.note')}", share)


def _known(key: str, among: Mapping[str, _T], what: str) -> _T:
    if key not in among:
        raise InputError(f"{key!r} is no {what}", mend=f"choose {', '.join(among)}")
    return among[key]


def _side(key: str, diagram: Diagram, side: str | None, site: tuple[float, float] | None) -> str:
    """Return the side to draw: the one asked for, the marked site's, or the usual one."""
    if side is not None and side not in diagram.sides:
        raise InputError(
            f"{key} is not drawn on side {side!r}", mend=f"choose {', '.join(diagram.sides)}"
        )
    if site is None:
        return side or diagram.sides[0]
    lies = "left" if site[0] > 0 else "right"
    if side not in (None, lies):
        raise InputError(
            f"the marked stoma lies on the person's {lies}, not on side {side!r}",
            mend="leave the side out, or give the site of that side",
        )
    return lies


def _place(diagram: Diagram, side: str, site: tuple[float, float] | None) -> Point:
    """Return where the stoma is drawn, on the right where it stands on both sides or on none."""
    where = "right" if side in {"both", "none"} else side
    if diagram.stoma is None:
        return NAVEL
    if site is None:
        return across(where, *diagram.stoma)
    near, far, high, low = EDGES
    out = min(max(abs(site[0]) * ACROSS, near), far)
    return across(where, out, min(max(NAVEL[1] - site[1] * UP, high), low))
