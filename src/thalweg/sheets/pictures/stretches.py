"""What is to be shown along a course: stretches and places, each with a letter and words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thalweg.sheets.pictures.canvas import ACCENT, BAD, CARE, INK

if TYPE_CHECKING:
    from thalweg.measure.course import Course

__all__ = ["Stretch", "spread", "stretches_of"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch or place on a course.

    Parameters
    ----------
    kind : str
        ``"gap"``, ``"narrow"``, ``"wide"``, ``"held"`` or ``"cut"``.
    from_mm, to_mm : float
        Stations; the same for a place.
    words : str
        What is printed beside it.
    letter : str
        By which it is found again in every panel.
    """

    kind: str
    from_mm: float
    to_mm: float
    words: str
    letter: str = ""

    @property
    def middle_mm(self) -> float:
        """Station of its middle."""
        return (self.from_mm + self.to_mm) / 2

    @property
    def on_paper(self) -> str:
        """Colour on white."""
        return {"gap": INK, "narrow": BAD, "wide": CARE}.get(self.kind, ACCENT)

    @property
    def on_image(self) -> str:
        """Colour on a dark image."""
        light = {"gap": "#ffffff", "narrow": "#ff8c98", "wide": "#ffc35c"}
        return light.get(self.kind, "#6fe3f7")


def stretches_of(
    course: Course, pivot_mm: float | None = None, division_mm: float | None = None
) -> tuple[Stretch, ...]:
    """Return everything worth marking on a course, in order of station, lettered from A."""
    found = [Stretch("gap", g.from_mm, g.to_mm, "not seen") for g in course.gaps]
    for narrow in course.narrowings:
        sign = "<" if narrow.less_than else ""
        words = f"narrow, {sign}{narrow.least_calibre_mm:.1f} mm"
        found.append(Stretch("narrow", narrow.from_mm, narrow.to_mm, words))
    for wide in course.dilatations:
        sign = ">" if wide.more_than else ""
        words = f"wide, {sign}{wide.greatest_calibre_mm:.1f} mm"
        found.append(Stretch("wide", wide.from_mm, wide.to_mm, words))
    if pivot_mm is not None:
        found.append(Stretch("held", pivot_mm, pivot_mm, "held above"))
    if division_mm is not None:
        found.append(Stretch("cut", division_mm, division_mm, "cut here"))
    ordered = sorted(found, key=lambda one: (one.middle_mm, one.kind))
    return tuple(
        Stretch(one.kind, one.from_mm, one.to_mm, one.words, _letter(number))
        for number, one in enumerate(ordered)
    )


def _letter(number: int) -> str:
    """Return A to Z, then AA, AB and so on."""
    first, last = divmod(number, 26)
    return (chr(ord("A") + first - 1) if first else "") + chr(ord("A") + last)


def spread(wanted: Floats, apart: float, low: float, high: float) -> Floats:
    """Return places near the wanted ones, ascending, at least `apart` from one another.

    The places with the least sum of squared moves: isotonic regression after the distances are
    taken out. Where they do not all fit between `low` and `high`, they stand closer.
    """
    from scipy.optimize import isotonic_regression  # noqa: PLC0415 - only when drawn

    count = len(wanted)
    if not count:
        return np.empty(0)
    apart = min(apart, (high - low) / max(count - 1, 1))
    steps = apart * np.arange(count)
    level = isotonic_regression(wanted - steps).x
    return np.asarray(np.clip(level, low, high - steps[-1]) + steps)
