"""What a diagram consists of: shapes from back to front, and the parts to be named.

Body coordinates: the midline is x = 150, y grows downwards from the lower ribs (40) to the thighs
(326), not to scale. The person is seen from the front, so that
their right is at small x.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.sheets.pictures.diversions.look import Theme

__all__ = ["MIDLINE", "SIGN", "Board", "Named", "Point", "curve"]

Point = tuple[float, float]

MIDLINE = 150.0
SIGN = {"right": -1, "left": 1}
"""Of x away from the midline, for a side of the person."""


def _number(value: float) -> str:
    return f"{round(value, 2):g}"


def curve(points: Sequence[Point], *, closed: bool = False) -> str:
    """Return an SVG path through the points: a Catmull-Rom spline as cubic Bézier pieces.

    Parameters
    ----------
    points : sequence of (x, y)
        Two or more.
    closed : bool
        Whether it returns to its beginning.
    """
    count = len(points)
    pieces = [f"M{_number(points[0][0])} {_number(points[0][1])}"]
    for place in range(count if closed else count - 1):
        before, here, there, after = (
            points[(place + step) % count]
            if closed
            else points[min(max(place + step, 0), count - 1)]
            for step in (-1, 0, 1, 2)
        )
        first = (here[0] + (there[0] - before[0]) / 6, here[1] + (there[1] - before[1]) / 6)
        second = (there[0] - (after[0] - here[0]) / 6, there[1] - (after[1] - here[1]) / 6)
        pieces.append(
            "C" + " ".join(f"{_number(x)} {_number(y)}" for x, y in (first, second, there))
        )
    return "".join(pieces) + ("Z" if closed else "")


@dataclass(frozen=True, slots=True)
class Named:
    """A part that gets a name: the key of its words, and the point that its line leads to.

    `column` forces the side of the picture, ``"left"`` or ``"right"`` as the viewer sees it.
    """

    key: str
    at: Point
    column: str = ""


@dataclass(slots=True)
class Board:
    """A diagram in the making.

    Parameters
    ----------
    theme : Theme
    shapes : list of Element
        From back to front.
    named : list of Named
    """

    theme: Theme
    shapes: list[Element] = field(default_factory=list)
    named: list[Named] = field(default_factory=list)

    def add(self, tag: str, part: str, **attributes: str | float) -> None:
        """Put a shape in front of the others; `part` says in the file what it is."""
        made = Element(tag, {"class": part})
        for name, value in attributes.items():
            text = value if isinstance(value, str) else _number(value)
            made.set(name.replace("_", "-"), text)
        self.shapes.append(made)

    def line(self, part: str, path: str, colour: str, width: float, **more: str | float) -> None:
        """Put a line with round ends in front of the others."""
        more = {"stroke_linecap": "round", "stroke_linejoin": "round", **more}
        self.add("path", part, d=path, fill="none", stroke=colour, stroke_width=width, **more)

    def name(self, key: str, at: Point, column: str = "") -> None:
        """Have a part named."""
        self.named.append(Named(key, at, column))
