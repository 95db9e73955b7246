"""Read a drawn SVG back: its words with their extents, its shapes with their coordinates.

Extents come from matplotlib's text layout, which shares no code with the one that placed the words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from numpy.typing import NDArray

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Word:
    """A line of text and the box that it fills."""

    text: str
    part: str
    x0: float
    y0: float
    x1: float
    y1: float

    def meets(self, other: Word) -> bool:
        """Whether the two boxes share an area."""
        return (
            min(self.x1, other.x1) - max(self.x0, other.x0) > 0.01
            and min(self.y1, other.y1) - max(self.y0, other.y0) > 0.01
        )


@cache
def extent(text: str, size: float, *, bold: bool) -> tuple[float, float, float]:
    """Return width, height above and depth below the base line of a line of DejaVu Sans."""
    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size)
    wide, high, below = TextToPath().get_text_width_height_descent(text, font, ismath=False)
    return float(wide), float(high - below), float(below)


class Drawn:
    """An SVG picture, parsed."""

    def __init__(self, data: bytes) -> None:
        self.root = ElementTree.fromstring(data)
        self.width, self.height = (float(self.root.get(name, "0")) for name in ("width", "height"))

    def all(self, part: str, tag: str = "*") -> list[Element]:
        """Return the elements of a class."""
        shapes = self.root.iter() if tag == "*" else self.root.iter(f"{SVG}{tag}")
        return [one for one in shapes if part in one.get("class", "").split()]

    @property
    def words(self) -> list[Word]:
        """Every line of text with its extent, whatever way it is anchored."""
        found = []
        for one in self.root.iter(f"{SVG}text"):
            size = float(one.get("font-size", "0"))
            text = one.text or ""
            wide, above, below = extent(text, size, bold=one.get("font-weight") == "bold")
            x, y = float(one.get("x", "0")), float(one.get("y", "0"))
            left = (
                x
                - {"start": 0.0, "middle": 0.5, "end": 1.0}[one.get("text-anchor", "start")] * wide
            )
            found.append(Word(text, one.get("class", ""), left, y - above, left + wide, y + below))
        return found

    def words_outside(self) -> list[str]:
        """Return the lines that leave the picture."""
        return [
            word.text
            for word in self.words
            if word.x0 < 0 or word.y0 < 0 or word.x1 > self.width or word.y1 > self.height
        ]

    def words_meeting(self) -> list[tuple[str, str]]:
        """Return the pairs of lines that overlap."""
        words = self.words
        return [
            (one.text, other.text)
            for place, one in enumerate(words)
            for other in words[place + 1 :]
            if one.meets(other)
        ]

    def leaders(self) -> list[tuple[complex, complex]]:
        """Return each leader line's two ends as complex numbers."""
        return [
            (
                complex(float(one.get("x1", "0")), float(one.get("y1", "0"))),
                complex(float(one.get("x2", "0")), float(one.get("y2", "0"))),
            )
            for one in self.all("leader")
        ]


def points_of(element: Element) -> NDArray[np.float64]:
    """Return the points through which a path of absolute M, L and C pieces goes, shape (n, 2)."""
    points: list[list[float]] = []
    for letter, rest in re.findall(r"([MLC])([^MLCZ]*)", element.get("d", "")):
        numbers = [float(one) for one in NUMBER.findall(rest)]
        pairs = np.reshape(numbers, (-1, 2)).tolist()
        points += pairs[2::3] if letter == "C" else pairs
    return np.array(points)


def cross(one: tuple[complex, complex], other: tuple[complex, complex]) -> bool:
    """Whether two segments cross: solves for the meeting point of their lines."""
    (a, b), (c, d) = one, other
    first, second = b - a, d - c
    matrix = np.array([[first.real, -second.real], [first.imag, -second.imag]])
    if abs(np.linalg.det(matrix)) < 1e-9:
        return False
    at = np.linalg.solve(matrix, np.array([(c - a).real, (c - a).imag]))
    return bool(np.all((at > 1e-6) & (at < 1 - 1e-6)))


def through(leader: tuple[complex, complex], word: Word) -> bool:
    """Whether a leader runs through a line of text."""
    along = np.linspace(0, 1, 400)
    points = leader[0] + (leader[1] - leader[0]) * along
    inside = (points.real > word.x0) & (points.real < word.x1)
    return bool(np.any(inside & (points.imag > word.y0) & (points.imag < word.y1)))
