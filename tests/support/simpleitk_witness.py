"""SimpleITK (with GDCM inside) as a second reader of the same DICOM files."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from thalweg.record.image import ImageVolume

sitk: Any = importlib.import_module("SimpleITK")  # it carries no usable type hints

SITK_TOLERANCE_MM = 1e-6
"""SimpleITK works in double precision from the same decimal strings; it derives the plane spacing
from the first two planes and makes the directions orthonormal again."""


def by_simpleitk(paths: Iterable[Path | str]) -> Any:
    """Read a series in the given order of its files."""
    reader = sitk.ImageSeriesReader()
    reader.SetFileNames([str(path) for path in paths])
    return reader.Execute()


def agrees_with_simpleitk(read: ImageVolume, image: Any) -> None:
    """Compare voxels, origin, spacing and direction; SimpleITK orders its axes x, y, z."""
    np.testing.assert_array_equal(read.values, sitk.GetArrayViewFromImage(image))
    places = {
        "origin": (read.to_lps[:3, 3], np.array(image.GetOrigin())),
        "spacing": (read.spacing_mm[::-1], np.array(image.GetSpacing())),
        "direction": (
            (read.to_lps[:3, :3] / read.spacing_mm)[:, ::-1],
            np.array(image.GetDirection()).reshape(3, 3),
        ),
    }
    for name, (ours, theirs) in places.items():
        np.testing.assert_allclose(ours, theirs, atol=SITK_TOLERANCE_MM, rtol=0, err_msg=name)
