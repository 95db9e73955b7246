"""What a modality's signal means to the tracer: one working scale for CT and MR.

The tracer thinks in Hounsfield units: soft tissue near 40, opacified urine at several hundred, fat
below 0, gas far below. CT is on that scale. MR has arbitrary units, so its levels are found on the
image itself (soft tissue, fat, noise, and urine beside the placed points, the coils' shading taken
out) and its signal is drawn on to the scale by them. The person's levels are said with the course.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thalweg.errors import ImageError
from thalweg.measure.levels import (
    Levels,
    Tone,
    body_of,
    found_levels,
    untouched,
    urine_level,
)
from thalweg.measure.placed import AIR_HU
from thalweg.measure.shading import Shading, blocks_of, fitted_shading

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["Working", "working_image"]

Floats = NDArray[np.float64]

AROUND_MM = 60.0
"""So far round the placed points an MR image is drawn on to the working scale: more than the way
is looked for in (40 mm) and what is cut out beside it."""

TOO_BRIGHT_FAT = 150.0
"""Fat drawn to more than this would pass for contrast (200 and above) where noise lifts it."""

LIGHT_FAT = 0.7
"""Fat brighter than this share of soft tissue does not set off the cord of an empty ureter."""

NEAR_VESSELS = 3.0
"""Urine less than this times as bright as soft tissue may be no brighter than enhanced vessels."""


_LEVELS = (
    "Traced on MR, whose units are arbitrary; levels found on the image: soft tissue {tissue:.3g},"
    " urine beside the placed points {urine:.3g} ({ratio:.1f} times as bright){fat}, noise"
    " {noise:.2g}; the coils' shading (up to {shades:.1f} times near the course) was taken out."
)

_BRIGHT_URINE = (
    "Urine was taken to be bright and fat dark: by excreted gadolinium on a fat-suppressed"
    " T1-weighted image, or, on a strongly T2-weighted one, because all fluid is bright; on the"
    " latter spinal fluid, bowel fluid and cysts look the same."
)

_DARK_STONES = (
    "Bone, gas and stones are dark on MR and were not looked for: a stretch without bright urine"
    " may hold a stone, and points placed in bone are not refused."
)


@dataclass(frozen=True, eq=False)
class Working:
    """An image on the working scale.

    Parameters
    ----------
    volume : ImageVolume
        The image itself for CT; for MR the part round the placed points, float32.
    body_above : float
        What the original image shows of the body is brighter than this, in its own units.
    tone : callable
        Spreads out what is darker than soft tissue (`Levels.toned`); nothing on CT.
    levels : Levels or None
        What the scale was drawn by; None for CT.
    """

    volume: ImageVolume
    body_above: float
    tone: Tone = untouched
    levels: Levels | None = None


def working_image(volume: ImageVolume, placed_mm: Floats) -> Working:
    """Return the image on the scale that the tracer works on.

    Parameters
    ----------
    volume : ImageVolume
        CT, which is returned as it is, or MR magnitude on which urine is bright.
    placed_mm : ndarray, shape (k, 3)
        Points on the ureter, LPS mm, inside the image.

    Returns
    -------
    Working
        Its volume's cautions say what was assumed of an MR image.

    Raises
    ------
    ImageError
        MR signal that is negative or shows no body; urine that does not stand out beside any
        placed point; fat as bright as urine.

    Notes
    -----
    Multiplying an MR image by any factor above 0 changes nothing but the levels that are said.
    """
    if volume.modality == "CT":
        return Working(volume, AIR_HU)
    blocks = blocks_of(volume)
    if (blocks.mean < 0).any():
        raise ImageError(
            "the MR series holds negative signal, which no magnitude image does",
            mend="give the magnitude images, not a subtraction or a phase map",
        )
    body = body_of(blocks, volume)
    index = volume.index_of(placed_mm)
    shading = fitted_shading(blocks, body.blocks).at_reference(index)
    levels = found_levels(blocks, body, shading)
    urine = urine_level(volume, placed_mm, shading, levels)
    levels = replace(levels, urine=urine)
    _require_dark_fat(levels)
    box = _box(volume, index)
    shades = _range_of(shading, box)
    said = (*volume.cautions, *_told(levels, shades))
    part = _drawn(volume, box, shading, levels, said)
    return Working(part, body.above, levels.toned, levels)


def _require_dark_fat(levels: Levels) -> None:
    if levels.fat is not None and levels.working(levels.fat) > TOO_BRIGHT_FAT:
        raise ImageError(
            f"fat is nearly as bright as urine on this MR series ({levels.fat:.3g} against"
            f" {levels.urine:.3g} in its own units), so the two cannot be told apart",
            mend="give a series with fat suppression, or place the whole course by hand",
        )


def _box(volume: ImageVolume, index: Floats) -> tuple[slice, slice, slice]:
    pad = AROUND_MM * np.linalg.norm(volume.from_lps[:3, :3], axis=1)
    low = np.maximum(np.floor(index.min(axis=0) - pad), 0).astype(int)
    high = np.minimum(np.ceil(index.max(axis=0) + pad) + 1, volume.shape).astype(int)
    planes, rows, columns = (slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    return planes, rows, columns


def _drawn(
    volume: ImageVolume,
    box: tuple[slice, slice, slice],
    shading: Shading,
    levels: Levels,
    cautions: tuple[str, ...],
) -> ImageVolume:
    """Return the part of an MR image in a box on the working scale, plane by plane."""
    planes, rows, columns = (np.arange(part.start, part.stop) for part in box)
    values = np.empty((len(planes), len(rows), len(columns)), dtype=np.float32)
    for number, plane in enumerate(planes):
        field = shading.on_plane(float(plane), rows, columns)
        values[number] = levels.working(volume.values[plane][box[1], box[2]] / field)
    to_lps = volume.to_lps.copy()
    to_lps[:3, 3] = volume.point_of([part.start for part in box])
    return replace(volume, values=values, to_lps=to_lps, cautions=cautions)


def _range_of(shading: Shading, box: tuple[slice, slice, slice]) -> float:
    """Return how many times brighter the coils make one place of a box than another."""
    ends = [np.linspace(part.start, part.stop - 1, 5) for part in box]
    lattice = np.stack(np.meshgrid(*ends, indexing="ij"), axis=-1)
    return float(np.exp(np.ptp(shading.log_at(lattice))))


def _told(levels: Levels, shades: float) -> tuple[str, ...]:
    """Return what was assumed of an MR image, and what MR cannot show."""
    fat = "" if levels.fat is None else f", fat {levels.fat:.3g}"
    said = [
        _LEVELS.format(
            tissue=levels.tissue,
            urine=levels.urine,
            ratio=levels.urine / levels.tissue,
            fat=fat,
            noise=levels.noise,
            shades=shades,
        ),
        _BRIGHT_URINE,
        _DARK_STONES,
    ]
    if levels.urine < NEAR_VESSELS * levels.tissue:
        said.append(
            f"Urine is only {levels.urine / levels.tissue:.1f} times as bright as soft tissue:"
            " enhanced vessels may pass for the ureter; look along the whole course."
        )
    if levels.fat is None:
        said.append("No fat was told from soft tissue: whether fat was suppressed is not known.")
    elif levels.fat > LIGHT_FAT * levels.tissue:
        said.append(
            "Fat is not darker than soft tissue, so an empty ureter does not show in it: gaps are"
            " bridged, not followed."
        )
    return tuple(said)
