"""Put a diagram, its names and its key on paper as SVG."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, tostring

from thalweg.sheets.pictures.diversions.anatomy import BOTTOM, HALF_WIDTH, TOP
from thalweg.sheets.pictures.diversions.board import MIDLINE
from thalweg.sheets.pictures.diversions.labels import LINE, Column, placed, text_width, wrapped
from thalweg.sheets.pictures.diversions.look import textures

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from thalweg.sheets.pictures.diversions.board import Board, Named, Point
    from thalweg.sheets.pictures.diversions.labels import Placed
    from thalweg.sheets.pictures.diversions.look import Theme

__all__ = ["FRAMES", "Frame", "Pen", "root", "turned"]

EDGE, BADGE, NEAR = 4.0, 10.5, 4.0
"""Margin of the paper; radius of a number; distance of a line from its name; picture units."""
MARK = "\u200f"
"""Unicode's right-to-left mark: not every program follows the attribute `direction`."""
FONTS = "DejaVu Sans, Verdana, sans-serif"


@dataclass(frozen=True, slots=True)
class Frame:
    """Sizes of one kind of picture, in its own units: points on paper, pixels on a phone.

    Parameters
    ----------
    width, scale : float
        Of the picture; of the body in it.
    font, head : float
        Size of the words; height above the body.
    column : float
        Width of the names on each side.
    numbered, keyed : bool
        Numbers in place of names; a key below the picture.
    """

    width: float
    scale: float
    font: float
    head: float
    column: float
    numbered: bool = False
    keyed: bool = False

    @property
    def foot(self) -> float:
        """Where the body ends."""
        return self.head + (BOTTOM - TOP) * self.scale

    def at(self, point: Point) -> Point:
        """Return where a point of the body lies on the paper."""
        x = self.width / 2 + (point[0] - MIDLINE) * self.scale
        return (x, self.head + (point[1] - TOP) * self.scale)


FRAMES = {
    "page": Frame(504.0, 1.06, 12.0, 24.0, 132.0),
    "phone": Frame(360.0, 1.2, 16.0, 30.0, 2 * BADGE, numbered=True, keyed=True),
    "small": Frame(260.0, 0.9, 14.0, 22.0, 2 * BADGE, numbered=True),
}


def turned(line: str) -> str:
    """Return a line whose signs at both ends run from right to left in every program."""
    return f"{MARK}{line}{MARK}"


def root(width: float, height: float, name: str, title: str, says: str) -> Element:
    """Return an empty picture with its title and description for screen readers."""
    made = Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {width:g} {height:g}",
            "width": f"{width:g}",
            "height": f"{height:g}",
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-says",
            "font-family": FONTS,
        },
    )
    for tag, text in (("title", title), ("desc", says)):
        SubElement(made, tag, id=f"{name}-{'title' if tag == 'title' else 'says'}").text = text
    return made


@dataclass(slots=True)
class Pen:
    """Draws one diagram.

    Parameters
    ----------
    frame : Frame
    theme : Theme
    words : callable
        Gives the words of a key.
    right_to_left : bool
    key : list of str
        Words of each number, once drawn.
    """

    frame: Frame
    theme: Theme
    words: Callable[[str], str]
    right_to_left: bool = False
    key: list[str] = field(default_factory=list)

    def draw(self, board: Board, name: str, title: str, says: str) -> bytes:
        """Return the picture as SVG bytes."""
        frame = self.frame
        names, numbers = self._names(board.named)
        blocks = [self._block(text) for text in names]
        lines = self._lines(board.named, blocks)
        if frame.numbered:
            numbers = _numbered(lines, numbers)
            self.key = [names[numbers.index(n)] for n in range(max(numbers) + 1)]
        below = self._below()
        height = frame.foot + sum(len(part) for part in below) * frame.font * LINE + 6 * len(below)
        height += EDGE
        sheet = root(frame.width, round(height, 1), name, title, says)
        sheet.append(textures(self.theme))
        SubElement(sheet, "rect", width="100%", height="100%", fill=self.theme.paper)
        self._heads(sheet)
        x, y = frame.at((0.0, 0.0))
        group = SubElement(
            sheet,
            "g",
            {"class": "anatomy", "transform": f"translate({x:g} {y:g}) scale({frame.scale:g})"},
        )
        group.extend(board.shapes)
        self._leaders(sheet, lines)
        for line in lines:
            if frame.numbered:
                self._badge(sheet, line, numbers[line.number])
            else:
                self._name(sheet, line, blocks[line.number])
        self._foot(sheet, below)
        made: bytes = tostring(sheet, encoding="utf-8")
        return made

    def _names(self, named: Sequence[Named]) -> tuple[list[str], list[int]]:
        """Return the words of each part, and for each the first part of the same words."""
        keys = [one.key for one in named]
        return [self.words(f"diagram.{key}") for key in keys], [keys.index(key) for key in keys]

    def _block(self, text: str) -> list[str]:
        return [""] if self.frame.numbered else wrapped(text, self.frame.column, self.frame.font)

    def _lines(self, named: Sequence[Named], blocks: Sequence[list[str]]) -> list[Placed]:
        frame = self.frame
        edge = EDGE + frame.column
        columns = tuple(
            Column(x, frame.head, frame.foot) for x in (edge + NEAR, frame.width - edge - NEAR)
        )
        tall = frame.font * LINE
        high = [2 * BADGE if frame.numbered else len(block) * tall for block in blocks]
        return placed(
            [frame.at(one.at) for one in named],
            high,
            [one.column for one in named],
            (columns[0], columns[1]),
            frame.width / 2,
            prefer="left" if self.right_to_left else "right",
        )

    def _text(
        self, sheet: Element, text: str, x: float, y: float, hold: str, size: float, part: str
    ) -> None:
        """Write a line whose left edge, middle or right edge is at x, whatever way it runs."""
        if self.right_to_left:
            # Start and end change places with the script, and not every program follows: the
            # middle is the same for all.
            shift = {"start": 0.5, "middle": 0.0, "end": -0.5}[hold] * text_width(text, size)
            x, hold = x + shift, "middle"
        more = {"direction": "rtl"} if self.right_to_left else {}
        SubElement(
            sheet,
            "text",
            {
                "class": part,
                "x": f"{x:.1f}",
                "y": f"{y:.1f}",
                "font-size": f"{size:g}",
                "text-anchor": hold,
                "fill": self.theme.ink,
                **more,
            },
        ).text = turned(text) if self.right_to_left else text

    def _heads(self, sheet: Element) -> None:
        frame = self.frame
        for side, sign in (("right", -1), ("left", 1)):
            away = HALF_WIDTH * 0.62 * frame.scale
            text, size = self.words(f"diagram.{side}"), frame.font * 0.92
            size *= min(1.0, (2 * away - 2 * EDGE) / text_width(text, size))
            x = frame.width / 2 + sign * away
            self._text(sheet, text, x, frame.head - 7, "middle", round(size, 2), "head")

    def _leaders(self, sheet: Element, lines: Sequence[Placed]) -> None:
        for colour, width, part in (
            (self.theme.paper, 3.0, "leader-halo"),
            (self.theme.ink, 0.9, "leader"),
        ):
            for line in lines:
                (x1, y1), (x2, y2) = line.start, line.end
                ends = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
                place = {name: f"{value:.1f}" for name, value in ends.items()}
                more = {"class": part, "stroke": colour, "stroke-width": f"{width:g}"}
                SubElement(sheet, "line", {**place, **more})
        for line in lines:
            x, y = (f"{value:.1f}" for value in line.end)
            SubElement(
                sheet,
                "circle",
                {
                    "class": "leader-end", "cx": x, "cy": y, "r": "2.4",
                    "fill": self.theme.ink, "stroke": self.theme.paper, "stroke-width": "0.8",
                },
            )  # fmt: skip

    def _name(self, sheet: Element, line: Placed, block: Sequence[str]) -> None:
        size = self.frame.font
        left = line.start[0] < self.frame.width / 2
        x = line.start[0] + (-NEAR if left else NEAR)
        first = line.middle - len(block) * size * LINE / 2 + size * 0.95
        for place, text in enumerate(block):
            y = first + place * size * LINE
            self._text(sheet, text, x, y, "end" if left else "start", size, "name")

    def _badge(self, sheet: Element, line: Placed, number: int) -> None:
        left = line.start[0] < self.frame.width / 2
        x = line.start[0] + (-NEAR - BADGE if left else NEAR + BADGE)
        self._mark(sheet, x, line.middle, number)

    def _mark(self, sheet: Element, x: float, y: float, number: int) -> None:
        SubElement(
            sheet,
            "circle",
            {
                "class": "badge", "cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{BADGE - 0.75:g}",
                "fill": self.theme.paper, "stroke": self.theme.ink, "stroke-width": "1.2",
            },
        )  # fmt: skip
        made = SubElement(
            sheet,
            "text",
            {
                "class": "number", "x": f"{x:.1f}", "y": f"{y + 4.9:.1f}", "font-size": "13.5",
                "font-weight": "bold", "text-anchor": "middle", "fill": self.theme.ink,
            },
        )  # fmt: skip
        made.text = str(number + 1)

    def _below(self) -> list[list[str]]:
        """Return what stands below the body, a list of lines each: the key, and the note."""
        frame = self.frame
        if frame.numbered and not frame.keyed:
            return []
        indent = 2 * BADGE + 6 if frame.keyed else 0
        room = frame.width - 2 * EDGE
        key = [wrapped(text, room - indent - 4, frame.font) for text in self.key]
        note = wrapped(self.words("diagram.note"), room, frame.font)
        return [*(key if frame.keyed else ()), note]

    def _foot(self, sheet: Element, below: Sequence[Sequence[str]]) -> None:
        frame = self.frame
        edge, hold = (frame.width - EDGE, "end") if self.right_to_left else (EDGE, "start")
        inward = -1 if self.right_to_left else 1
        y = frame.foot + 4
        for place, block in enumerate(below):
            keyed = place < len(below) - 1
            if keyed:
                self._mark(sheet, edge + inward * BADGE, y + frame.font * 0.66, place)
            x = edge + inward * (2 * BADGE + 6 if keyed else 0)
            for text in block:
                self._text(
                    sheet, text, x, y + frame.font, hold, frame.font, "key" if keyed else "note"
                )
                y += frame.font * LINE
            y += 6


def _numbered(lines: Sequence[Placed], first: Sequence[int]) -> list[int]:
    """Return a number for each part, from 0 in reading order; parts of one name share theirs."""
    given: dict[int, int] = {}
    for line in sorted(lines, key=lambda one: (one.start[0], one.middle)):
        given.setdefault(first[line.number], len(given))
    return [given[place] for place in first]
