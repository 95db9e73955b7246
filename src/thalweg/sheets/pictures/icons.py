"""Arrays of people: how many of 100, between which ends, and how many are behind the figure.

Full figures are within the interval's lower end, crossed ones up to the estimate, hatched ones
up to the upper end, outlines beyond it. They stand grouped and in order, since scattered ones are
counted badly. Texture, not colour, carries the meaning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, tostring

from thalweg.errors import InputError
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.diversions.labels import LINE, text_width, wrapped
from thalweg.sheets.pictures.diversions.look import THEMES, hatching
from thalweg.sheets.pictures.diversions.pen import root, turned
from thalweg.sheets.pictures.icon_words import english, in_words
from thalweg.sheets.pictures.shares import counted, denominator

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from thalweg.sheets.pictures.diversions.look import Theme
    from thalweg.sheets.pictures.shares import Counts, Share

__all__ = ["icon_array", "icon_arrays"]

BANDS = ("sure", "estimate", "maybe", "not")
"""Classes of the figures, in the order in which they stand."""
FONT, TITLE = 12.0, 13.0
EDGE, GUTTER = 4.0, 18.0
BLOCK = 3.0
"""Space between blocks of a hundred."""
KEY = 16.0
"""Width of a figure in the key."""
PANEL = 160.0
"""Width of one array."""
MOST = 4
"""Arrays side by side that still fit on a page."""


@dataclass(frozen=True, slots=True)
class _Grid:
    columns: int
    rows: int

    @property
    def pitch(self) -> float:
        return PANEL / self.columns

    @property
    def height(self) -> float:
        return self.top(self.rows - 1) + self.pitch * self.tall

    def top(self, row: int) -> float:
        """Return where a row begins; a thousand stand in blocks of a hundred."""
        blocks = 0 if self.columns <= 10 else row // (100 // self.columns)
        return row * self.pitch * self.tall + blocks * BLOCK

    @property
    def tall(self) -> float:
        """Height of a place, of its width: a person is taller than wide, a dot is not."""
        return 1.25 if self.columns <= 10 else 1.0


_GRIDS = {100: _Grid(10, 10), 1000: _Grid(25, 40)}


def icon_array(
    share: Share,
    *,
    of: int | None = None,
    words: Callable[[str], str] = english,
    right_to_left: bool = False,
    theme: str = "light",
    share_of_page: float = 0.36,
) -> Picture:
    """Return one share as an array of people.

    Parameters
    ----------
    share : Share
    of : int, optional
        100 or 1000; chosen by how rare it is if not given.
    words : callable
        Gives the words of a key of `thalweg.sheets.pictures.icon_words`.
    right_to_left : bool
        Whether the words' script runs so; the array then fills from the right.
    theme : "light" or "dark"
    share_of_page : float
        Part of the page's width, 0 to 1.
    """
    return icon_arrays(
        (share,),
        of=of,
        words=words,
        right_to_left=right_to_left,
        theme=theme,
        share_of_page=share_of_page,
    )


def icon_arrays(
    shares: Sequence[Share],
    *,
    of: int | None = None,
    words: Callable[[str], str] = english,
    right_to_left: bool = False,
    theme: str = "light",
    share_of_page: float = 1.0,
) -> Picture:
    """Return shares side by side on one denominator; parameters as for `icon_array`.

    Raises
    ------
    InputError
        If there are none or too many, they count different units, or there is no such
        denominator or theme.
    """
    if not 0 < len(shares) <= MOST:
        raise InputError(f"{len(shares)} shares side by side", mend=f"give 1 to {MOST}")
    if of is not None and of not in _GRIDS:
        raise InputError(f"an array of {of}", mend="choose 100 or 1000")
    if theme not in THEMES:
        raise InputError(f"{theme!r} is no theme", mend=f"choose {', '.join(THEMES)}")
    if len({share.unit for share in shares}) > 1:
        raise InputError(
            "shares of different units (people, renal units, ureters, procedures) side by side",
            mend="compare shares of one unit only",
        )
    of = of or denominator(shares)
    said = [in_words(share, of, words) for share in shares]
    whole = " ".join(f"{share.label}: {text}" for share, text in zip(shares, said, strict=True))
    pen = _Pen(THEMES[theme], words, _GRIDS[of], right_to_left)
    data = pen.draw(shares, said, of, whole)
    return Picture(data, "svg", words("icons.caption"), whole, share_of_page)


@dataclass(frozen=True, slots=True)
class _Pen:
    theme: Theme
    words: Callable[[str], str]
    grid: _Grid
    right_to_left: bool

    def draw(self, shares: Sequence[Share], said: Sequence[str], of: int, whole: str) -> bytes:
        width = 2 * EDGE + len(shares) * PANEL + (len(shares) - 1) * GUTTER
        titles = [wrapped(share.label, PANEL, TITLE, bold=True) for share in shares]
        texts = [wrapped(text, PANEL, FONT) for text in said]
        head = EDGE + max(map(len, titles)) * TITLE * LINE + 6
        foot = head + self.grid.height + 8
        key_top = foot + max(map(len, texts)) * FONT * LINE + 10
        counts = [None if share.estimate is None else counted(share, of) for share in shares]
        keys = self._keys(counts)
        height = key_top + self._key_height(keys, width) + EDGE
        sheet = root(width, round(height, 1), "icons", self.words("icons.title"), whole)
        sheet.append(hatching(self.theme))
        SubElement(sheet, "rect", width="100%", height="100%", fill=self.theme.paper)
        for n in range(len(shares)):
            place = len(shares) - 1 - n if self.right_to_left else n
            x = EDGE + place * (PANEL + GUTTER)
            self._lines(sheet, titles[n], x, EDGE, TITLE, "panel-title")
            panel = SubElement(sheet, "g", {"class": "panel"})
            self._panel(panel, counts[n], x, head)
            self._lines(sheet, texts[n], x, foot, FONT, "said")
        self._key(sheet, keys, key_top, width)
        made: bytes = tostring(sheet, encoding="utf-8")
        return made

    def _lines(
        self, sheet: Element, lines: Sequence[str], x: float, y: float, size: float, part: str
    ) -> None:
        """Write lines in a panel's width from its leading edge."""
        for place, text in enumerate(lines):
            attributes = {
                "class": part,
                "x": f"{x:.1f}",
                "y": f"{y + place * size * LINE + size:.1f}",
                "font-size": f"{size:g}",
                "fill": self.theme.ink,
            }
            if size == TITLE:
                attributes["font-weight"] = "bold"
            if self.right_to_left:
                # The middle is the same for every program, whichever way it takes "start".
                attributes["x"] = (
                    f"{x + PANEL - text_width(text, size, bold=size == TITLE) / 2:.1f}"
                )
                attributes |= {"text-anchor": "middle", "direction": "rtl"}
            said = turned(text) if self.right_to_left else text
            SubElement(sheet, "text", attributes).text = said

    def _panel(self, panel: Element, counts: Counts | None, x: float, y: float) -> None:
        grid = self.grid
        if counts is None:
            attributes = {"class": "unknown", "x": f"{x:.1f}", "y": f"{y:.1f}"}
            attributes |= {"width": f"{PANEL:g}", "height": f"{grid.height:g}", "fill": "none"}
            attributes |= {"stroke": self.theme.soft, "stroke-dasharray": "4 4"}
            SubElement(panel, "rect", attributes)
            mark = {"class": "unknown-mark", "x": f"{x + PANEL / 2:.1f}", "font-size": "40"}
            mark |= {"y": f"{y + grid.height / 2 + 14:.1f}", "text-anchor": "middle"}
            SubElement(panel, "text", {**mark, "fill": self.theme.soft}).text = "?"
            return
        bands = [name for name, many in zip(BANDS, counts.bands, strict=True) for _ in range(many)]
        for place, band in enumerate(bands):
            row, column = divmod(place, grid.columns)
            if self.right_to_left:
                column = grid.columns - 1 - column
            self._figure(panel, band, x + column * grid.pitch, y + grid.top(row), grid.pitch)

    def _figure(self, panel: Element, band: str, x: float, y: float, wide: float) -> None:
        """Draw one person, or a dot where they are a thousand, at the corner of its place."""
        fill = {
            "sure": self.theme.icon, "estimate": "url(#crossed)", "maybe": "url(#hatched)",
            "not": "none",
        }[band]  # fmt: skip
        line = self.theme.icon_empty if band == "not" else self.theme.icon
        shared = {"class": f"icon {band}", "fill": fill, "stroke": line}
        middle = x + wide / 2
        if self.grid.tall == 1.0:
            place = {"cx": f"{middle:.2f}", "cy": f"{y + wide / 2:.2f}", "r": f"{0.37 * wide:.2f}"}
            SubElement(panel, "circle", {**shared, **place, "stroke-width": "0.7"})
            return
        tall = wide * self.grid.tall
        head, half = 0.17 * wide, 0.31 * wide
        top, foot = y + 0.06 * tall, y + 0.94 * tall
        neck = top + 2 * head + 0.04 * tall
        path = (
            f"M{middle - head:.2f} {top + head:.2f}a{head:.2f} {head:.2f} 0 1 1 {2 * head:.2f} 0"
            f"a{head:.2f} {head:.2f} 0 1 1 {-2 * head:.2f} 0Z"
            f"M{middle - half:.2f} {foot:.2f}V{neck + half:.2f}"
            f"a{half:.2f} {half:.2f} 0 0 1 {2 * half:.2f} 0V{foot:.2f}Z"
        )
        SubElement(panel, "path", {**shared, "d": path, "stroke-width": "1"})

    def _keys(self, counts: Sequence[Counts | None]) -> list[tuple[str, str]]:
        """Return the bands that are drawn, each with its words."""
        drawn = [one for one in counts if one is not None]
        if not drawn:
            return []
        used = [any(one.bands[n] for one in drawn) for n in range(len(BANDS))]
        return [
            (band, self.words(f"icons.{band}"))
            for band, shown in zip(BANDS, used, strict=True)
            if shown
        ]

    def _key_lines(self, keys: list[tuple[str, str]], width: float) -> list[list[str]]:
        return [wrapped(text, width - 2 * EDGE - 22, FONT) for _, text in keys]

    def _key_height(self, keys: list[tuple[str, str]], width: float) -> float:
        return sum(len(lines) * FONT * LINE + 6 for lines in self._key_lines(keys, width))

    def _key(self, sheet: Element, keys: list[tuple[str, str]], y: float, width: float) -> None:
        group = SubElement(sheet, "g", {"class": "key"})
        for (band, _), lines in zip(keys, self._key_lines(keys, width), strict=True):
            x = width - EDGE - KEY if self.right_to_left else EDGE
            self._figure(group, band, x, y - 1, KEY)
            for text in lines:
                attributes = {
                    "class": "key-words", "x": f"{EDGE + 22:g}", "y": f"{y + FONT:.1f}",
                    "font-size": f"{FONT:g}", "fill": self.theme.ink,
                }  # fmt: skip
                if self.right_to_left:
                    middle = width - EDGE - 22 - text_width(text, FONT) / 2
                    attributes |= {"x": f"{middle:.1f}", "text-anchor": "middle"}
                    attributes["direction"] = "rtl"
                said = turned(text) if self.right_to_left else text
                SubElement(group, "text", attributes).text = said
                y += FONT * LINE
            y += 6
