"""Where an artificial person's organs lie on a gamma camera's picture, and its blur."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import binary_dilation, gaussian_filter

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["Placed", "layout"]

FWHM_PER_SD = float(2.0 * np.sqrt(2.0 * np.log(2.0)))

# Middle across (person's left positive) and down from the kidneys' height, half axes, and tilt in
# degrees (upper pole towards the spine), in millimetres of an adult; usual anatomy, from memory.
ORGANS: dict[str, tuple[float, float, float, float, float]] = {
    "left organ": (62.0, -8.0, 28.0, 55.0, 14.0),
    "right organ": (-62.0, 8.0, 28.0, 55.0, -14.0),
    "left pelvis": (48.0, 0.0, 12.0, 18.0, 0.0),
    "right pelvis": (-48.0, 16.0, 12.0, 18.0, 0.0),
    "heart": (25.0, -190.0, 45.0, 45.0, 0.0),
    "bladder": (0.0, 215.0, 38.0, 28.0, 0.0),
}
TRUNK_HALF_MM = 165.0
GAP_PX, RING_PX = 2, 2
"""A background ring begins so far from the kidney's region, and is so wide."""


@dataclass(frozen=True, eq=False)
class Placed:
    """A thing on the picture.

    Parameters
    ----------
    shape : ndarray of float64, shape (rows, columns)
        How its amount spreads over pixels; sums to 1, but for the trunk, whose pixels are 1.
    region : ndarray of bool, shape (rows, columns)
        As somebody would draw it.
    is_region : bool
        Whether `region` is one of a renogram's roles.
    """

    shape: NDArray[np.float64]
    region: NDArray[np.bool_]
    is_region: bool

    def blurred(self, fwhm_px: float) -> NDArray[np.float64]:
        """Return its spread after the camera's Gaussian blur."""
        return np.asarray(gaussian_filter(self.shape, fwhm_px / FWHM_PER_SD, mode="constant"))


def _ellipse(
    numbers: tuple[float, float, float, float, float],
    across_mm: NDArray[np.float64],
    down_mm: NDArray[np.float64],
    size: float,
) -> NDArray[np.bool_]:
    x0, y0, a, b, tilt = numbers
    turn = np.deg2rad(tilt)
    x, y = across_mm - size * x0, down_mm - size * y0
    along, aside = y * np.cos(turn) - x * np.sin(turn), y * np.sin(turn) + x * np.cos(turn)
    return np.asarray((aside / (size * a)) ** 2 + (along / (size * b)) ** 2 <= 1.0)


@lru_cache(maxsize=16)
def layout(size: float, pixels: int, pixel_mm: float, view: str) -> Mapping[str, Placed]:
    """Return organs and regions on a square picture.

    Parameters
    ----------
    size : float
        The person's size against an adult's.
    pixels : int
        Rows and columns.
    pixel_mm : float
        Distance of pixel centres.
    view : "posterior" or "anterior"
        From behind, the person's left lies on the picture's left.
    """
    middle = 0.5 * (pixels - 1)
    columns = (np.arange(pixels) - middle) * pixel_mm
    across, down = np.meshgrid(-columns if view == "posterior" else columns, columns)
    trunk = np.abs(across) <= size * TRUNK_HALF_MM
    placed = {"trunk": Placed(trunk.astype(np.float64), trunk, is_region=False)}
    masks = {name: _ellipse(numbers, across, down, size) for name, numbers in ORGANS.items()}
    for name, mask in masks.items():
        spread = mask / max(mask.sum(), 1)
        drawn = binary_dilation(mask)
        placed[name] = Placed(spread, drawn, is_region=name == "bladder")
    placed["blood"] = Placed(placed["heart"].shape, masks["heart"], is_region=True)
    kidneys = [
        placed[f"{side} organ"].region | masks[f"{side} pelvis"] for side in ("left", "right")
    ]
    avoid = binary_dilation(kidneys[0] | kidneys[1], iterations=GAP_PX)
    for side, drawn in zip(("left", "right"), kidneys, strict=True):
        placed[side] = Placed(placed[f"{side} organ"].shape, drawn, is_region=True)
        ring = binary_dilation(drawn, iterations=GAP_PX + RING_PX) & ~avoid & trunk
        placed[f"{side}-background"] = Placed(ring / ring.sum(), ring, is_region=True)
    return MappingProxyType(placed)
