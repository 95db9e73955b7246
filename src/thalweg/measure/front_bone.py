"""Bone close behind the front skin: costal margin, iliac crests, pubis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.measure.skin import SkinSurface
    from thalweg.record.image import ImageVolume

__all__ = ["front_bone"]

BONE_HU = 220.0
"""Own judgement: above enhanced soft tissue and vessels in the excretory phase, below cortex."""
SKIN_MM = 4.0
"""Nothing this close under the surface is bone."""
STEP_MM = 2.0
LEAST_MM2 = 60.0
"""Smaller specks are calcifications, clips or noise."""


def front_bone(
    volume: ImageVolume,
    skin: SkinSurface,
    x_mm: NDArray[np.float64],
    z_mm: NDArray[np.float64],
    depth_mm: float,
) -> NDArray[np.bool_]:
    """Say behind which places of a raster bone lies within a depth of the front skin.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units.
    skin : SkinSurface
        Of the same image.
    x_mm, z_mm : ndarray, shape (nx,) and (nz,)
        An even raster, LPS mm.
    depth_mm : float
        How far behind the skin it is looked for, straight to the back.

    Returns
    -------
    ndarray of bool, shape (nx, nz)
        False where no skin is seen.
    """
    y = skin.heights(x_mm, z_mm)
    depth = np.arange(SKIN_MM, depth_mm, STEP_MM)
    places = np.stack(
        np.broadcast_arrays(
            x_mm[:, None, None], np.nan_to_num(y)[..., None] + depth, z_mm[None, :, None]
        ),
        axis=-1,
    )
    index = np.moveaxis(volume.index_of(places), -1, 0)
    values = ndimage.map_coordinates(volume.values, index, output=np.float32, order=1, cval=-1024.0)
    bright = (values > BONE_HU).any(axis=-1) & np.isfinite(y)
    labels, count = ndimage.label(bright)
    cell = float((x_mm[1] - x_mm[0]) * (z_mm[1] - z_mm[0]))
    large = np.bincount(labels.ravel(), minlength=count + 1) * cell >= LEAST_MM2
    large[0] = False
    return np.asarray(large[labels])
