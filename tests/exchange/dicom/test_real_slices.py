"""Real CT slices (TotalSegmentator test data, Apache License 2.0) against SimpleITK.

The images are not part of this repository; the variable THALWEG_REAL_IMAGES names their folder.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from tests.support.simpleitk_witness import agrees_with_simpleitk, by_simpleitk

from thalweg.exchange.dicom import read_volume, survey


@pytest.fixture
def slices() -> Path:
    """Folder of the twenty JPEG 2000 slices."""
    folder = os.environ.get("THALWEG_REAL_IMAGES")
    if not folder:
        pytest.skip("not checked on real images: THALWEG_REAL_IMAGES is not set")
    return Path(folder) / "slices"


def test_real_slices_equal_simpleitk(slices: Path) -> None:
    found = survey(slices)
    agrees_with_simpleitk(read_volume(found), by_simpleitk(found.files))


def test_real_slices_are_described(slices: Path) -> None:
    """As the header says, read with dcmdump: 512 × 512, 0.9765625 mm, 2 mm apart, 3 mm thick."""
    found = survey(slices)
    assert found.shape == (20, 512, 512)
    np.testing.assert_allclose(found.spacing_mm, [2, 0.9765625, 0.9765625])
    assert found.orientation == "axial"
    assert found.acquired == "2022-12-08T14:03:52"
    assert not found.phantom
    assert found.cautions == (
        "Slices overlap: 3.00 mm thick, 2.00 mm apart.",
        "The files carry no Series Instance UID; they were taken as one series.",
    )


def test_air_and_soft_tissue_have_their_hounsfield_values(slices: Path) -> None:
    """Air is -1000 HU by definition; the upper abdomen is mostly soft tissue, 0 to 100 HU."""
    values = read_volume(slices).values
    outside = np.median(values[:, :40, :40])
    middle = np.median(values[:, 216:296, 216:296])
    assert -1024 <= outside <= -950
    assert -50 <= middle <= 150
