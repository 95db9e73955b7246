"""The voxels of a surveyed series.

The rescale is applied here, plane by plane, into one array of the final type: pydicom's own would
pass the whole series through float64.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.errors import ImageError
from thalweg.exchange.dicom.decode import decoded
from thalweg.exchange.dicom.series import SeriesSurvey, survey
from thalweg.progress import Progress, silent
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from thalweg.exchange.dicom.headers import Plane

__all__ = ["read_volume"]

INT16: Final = np.iinfo(np.int16)


def read_volume(source: Path | SeriesSurvey, *, progress: Progress = silent) -> ImageVolume:
    """Read a series as one volume.

    Parameters
    ----------
    source : Path or SeriesSurvey
        Folder of one series, or the survey already made of it.
    progress : Progress, optional
        Told after every plane.

    Returns
    -------
    ImageVolume
        CT with whole rescale numbers: int16 Hounsfield units, exact. Anything else: float32.
        Planes rise along the slice normal, whatever the order of the files.

    Raises
    ------
    ImageError
        As `survey`; also pixels that cannot be decoded, and CT values beyond int16.
    """
    found = source if isinstance(source, SeriesSurvey) else survey(source, progress=progress)
    whole = found.modality == "CT" and all(
        plane.slope.is_integer() and plane.intercept.is_integer() for plane in found.planes
    )
    rescale = _hounsfield if whole else _rescaled
    values: NDArray[Any] = np.empty(found.shape, dtype=np.int16 if whole else np.float32)
    with warnings.catch_warnings(action="ignore"):  # they quote values; shape, range are checked
        for done, (index, stored) in enumerate(decoded(found.planes), start=1):
            plane = found.planes[index]
            if stored.shape != found.shape[1:]:
                raise ImageError(
                    "does not decode to the rows and columns its header states",
                    where=str(plane.path),
                    mend="export the series again",
                )
            values[index] = rescale(stored, plane)
            progress("reading images", done, len(found.planes))
    return ImageVolume(
        values=values,
        to_lps=found.to_lps,
        modality=found.modality,
        series_uid=found.series_uid,
        acquired=found.acquired,
        phantom=found.phantom,
        cautions=found.cautions,
        frame_uid=found.frame_uid,
    )


def _rescaled(stored: NDArray[Any], plane: Plane) -> NDArray[np.float64]:
    """Apply the rescale where its numbers need not be whole."""
    return np.asarray(stored * plane.slope + plane.intercept, dtype=np.float64)


def _hounsfield(stored: NDArray[Any], plane: Plane) -> NDArray[Any]:
    """Apply whole rescale numbers, refusing what no Hounsfield value can be.

    Voxels outside the reconstruction (Pixel Padding Value) may fall below int16 and are then set
    to its least value; they are no measurement.
    """
    slope, intercept = int(plane.slope), int(plane.intercept)
    wide = np.int64 if stored.dtype.itemsize > 2 else np.int32
    values: NDArray[Any] = np.multiply(stored, slope, dtype=wide)
    values = np.add(values, intercept, out=values)
    if plane.padding is not None:
        np.maximum(values, INT16.min, out=values, where=stored == plane.padding)
    low, high = int(values.min()), int(values.max())
    if low < INT16.min or high > INT16.max:
        raise ImageError(
            f"holds values from {low} to {high} HU, beyond what a CT can measure",
            where=str(plane.path),
            mend="check the rescale slope and intercept, and export the series again",
        )
    return values
