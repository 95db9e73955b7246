"""Which values of an image are shown from black to white, and how that is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.record.image import ImageVolume

__all__ = ["Window", "window_of"]

WINDOW_HU = (-120.0, 480.0)
"""Fat just above black, excreted contrast near white."""

SHARES = (2.0, 99.5)
"""Percentiles shown from black to white where values have no scale of their own."""


@dataclass(frozen=True, slots=True)
class Window:
    """The values shown black and white, and a sentence that says so."""

    low: float
    high: float
    words: str


def window_of(
    volume: ImageVolume, shown: NDArray[np.float32], window_hu: tuple[float, float] = WINDOW_HU
) -> Window:
    """Return the window for pixels of a volume.

    Hounsfield units have a fixed scale, other modalities' signal none: it is shown between two
    percentiles, and the sentence calls it signal in arbitrary units.
    """
    if volume.modality == "CT":
        low, high = window_hu
        return Window(low, high, f"Window {low:.0f} to {high:.0f} HU.".replace("-", "−"))
    values = shown[np.isfinite(shown)]
    low, high = np.percentile(values, SHARES) if values.size else (0.0, 1.0)
    high = max(float(high), float(low) + 1e-6)
    words = f"{volume.modality} signal {low:.4g} to {high:.4g}, arbitrary units."
    return Window(float(low), high, words.replace("-", "−"))
