"""An image volume: voxels and where in the person they are.

Conventions, everywhere in Thalweg:

* arrays are indexed ``(plane, row, column)``, never x, y, z;
* points are LPS patient millimetres as in DICOM (PS3.3 C.7.6.2.1.1): +x to the person's left,
  +y to the back, +z to the head;
* `ImageVolume.to_lps` takes the homogeneous index ``(plane, row, column, 1)`` of a voxel's
  *centre* to ``(x, y, z, 1)``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["ImageVolume"]


@dataclass(frozen=True, eq=False)
class ImageVolume:
    """One image series as a block of voxels with its place in the person.

    Parameters
    ----------
    values : ndarray of int16 or float32, shape (planes, rows, columns)
        CT: Hounsfield units. Other modalities: the stored signal after rescale.
    to_lps : ndarray of float64, shape (4, 4)
        Index to LPS millimetres; may be oblique, or sheared by a tilted gantry.
    modality : str
        DICOM modality code, such as ``"CT"`` or ``"MR"``.
    series_uid : str
        DICOM Series Instance UID, or empty for a volume that never was a series.
    acquired : str
        ISO 8601 date (or date and time) of acquisition, or empty where the files do not say.
    phantom : bool
        True when the image is artificial; every page that shows it says so.
    cautions : tuple of str
        Sentences about the series that any measurement on it must carry.
    frame_uid : str
        DICOM Frame of Reference UID (PS3.3 C.7.4.1), or empty where the files give none: only
        series of one frame are known to mean the same place by the same point.
    """

    values: NDArray[np.int16] | NDArray[np.float32]
    to_lps: NDArray[np.float64]
    modality: str = "CT"
    series_uid: str = ""
    acquired: str = ""
    phantom: bool = False
    cautions: tuple[str, ...] = field(default=())
    frame_uid: str = ""

    def __post_init__(self) -> None:
        if self.values.ndim != 3 or min(self.values.shape) < 1:
            msg = f"an image volume has three axes, not shape {self.values.shape}"
            raise ValueError(msg)
        if self.to_lps.shape != (4, 4) or abs(np.linalg.det(self.to_lps)) < 1e-12:
            msg = "the index-to-LPS matrix must be 4 by 4 and invertible"
            raise ValueError(msg)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Planes, rows, columns."""
        planes, rows, columns = self.values.shape
        return planes, rows, columns

    @cached_property
    def spacing_mm(self) -> NDArray[np.float64]:
        """Millimetres between voxel centres along (plane, row, column); shape (3,)."""
        return np.asarray(np.linalg.norm(self.to_lps[:3, :3], axis=0), dtype=np.float64)

    @cached_property
    def from_lps(self) -> NDArray[np.float64]:
        """LPS millimetres to index: the inverse of `to_lps`; shape (4, 4)."""
        return np.asarray(np.linalg.inv(self.to_lps), dtype=np.float64)

    def index_of(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the fractional index (plane, row, column) of LPS points, shape (..., 3)."""
        points = np.asarray(points_mm, dtype=np.float64)
        return np.asarray(points @ self.from_lps[:3, :3].T + self.from_lps[:3, 3])

    def point_of(self, index: ArrayLike) -> NDArray[np.float64]:
        """Return the LPS millimetres of indices (plane, row, column), shape (..., 3)."""
        where = np.asarray(index, dtype=np.float64)
        return np.asarray(where @ self.to_lps[:3, :3].T + self.to_lps[:3, 3])

    def contains(self, points_mm: ArrayLike) -> NDArray[np.bool_]:
        """Say for each LPS point, shape (..., 3), whether a voxel holds it."""
        index = self.index_of(points_mm)
        upper = np.asarray(self.shape) - 0.5
        return np.asarray(((index >= -0.5) & (index <= upper)).all(axis=-1))
