"""Enhanced multi-frame images: one file, the places of its frames in functional groups."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from pydicom import Dataset, Sequence, dcmread
from pydicom.uid import EnhancedCTImageStorage
from tests.support.dicom_series import artificial, refusal, written
from tests.support.simpleitk_witness import sitk

from thalweg.exchange.dicom import read_volume, survey

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.image import ImageVolume

ORDER = [3, 0, 4, 1, 2]
"""Frames are stored in no order of place."""


def enhanced(folder: Path, volume: ImageVolume, order: list[int]) -> Path:
    """Gather a classic series into one Enhanced CT file (PS3.3 A.38.1), frames in `order`."""
    slices = [dcmread(path) for path in written(folder / "classic", volume)]
    whole = dcmread(folder / "classic" / "00000001.dcm")
    whole.SOPClassUID = whole.file_meta.MediaStorageSOPClassUID = EnhancedCTImageStorage
    for keyword in (
        "ImagePositionPatient",
        "ImageOrientationPatient",
        "PixelSpacing",
        "SliceThickness",
        "RescaleSlope",
        "RescaleIntercept",
        "RescaleType",
    ):
        delattr(whole, keyword)
    first = slices[0]
    shared = Dataset()
    shared.PlaneOrientationSequence = Sequence([Dataset()])
    shared.PlaneOrientationSequence[0].ImageOrientationPatient = first.ImageOrientationPatient
    shared.PixelMeasuresSequence = Sequence([Dataset()])
    shared.PixelMeasuresSequence[0].PixelSpacing = first.PixelSpacing
    shared.PixelMeasuresSequence[0].SliceThickness = first.SliceThickness
    whole.SharedFunctionalGroupsSequence = Sequence([shared])
    groups = []
    for index in order:
        frame = Dataset()
        frame.PlanePositionSequence = Sequence([Dataset()])
        frame.PlanePositionSequence[0].ImagePositionPatient = slices[index].ImagePositionPatient
        frame.PixelValueTransformationSequence = Sequence([Dataset()])
        transformation = frame.PixelValueTransformationSequence[0]
        transformation.RescaleSlope, transformation.RescaleIntercept = 1, index
        transformation.RescaleType = "HU"
        groups.append(frame)
    whole.PerFrameFunctionalGroupsSequence = Sequence(groups)
    whole.NumberOfFrames = len(order)
    whole.PixelData = volume.values[order].astype("<i2").tobytes()
    (folder / "s").mkdir()
    whole.save_as(folder / "s" / "whole.dcm")
    return folder / "s"


def test_frames_are_put_in_their_places(tmp_path: Path) -> None:
    volume = artificial()
    folder = enhanced(tmp_path, volume, ORDER)
    read = read_volume(folder)
    raised = volume.values + np.arange(5, dtype=np.int16)[:, None, None]
    np.testing.assert_array_equal(read.values, raised)
    np.testing.assert_allclose(read.to_lps, volume.to_lps, atol=1e-9)
    assert survey(folder).shape == (5, 6, 8)
    assert len(survey(folder).files) == 1
    assert read.phantom


def test_simpleitk_reads_the_same_frames(tmp_path: Path) -> None:
    """Stored values frame by frame; the rescale differs between frames, which GDCM ignores."""
    folder = enhanced(tmp_path, artificial(), [0, 1, 2, 3, 4])
    frames = sitk.GetArrayFromImage(sitk.ReadImage(str(folder / "whole.dcm")))
    rise = np.arange(5)[:, None, None]
    np.testing.assert_array_equal(read_volume(folder).values - rise, frames)


def test_missing_frame_is_a_hole(tmp_path: Path) -> None:
    error = refusal(enhanced(tmp_path, artificial(), [0, 1, 3, 4]))
    assert "lacks 1 plane(s)" in error.what
    assert "whole.dcm frame 2" in error.what


def test_frame_count_must_agree(tmp_path: Path) -> None:
    folder = enhanced(tmp_path, artificial(), ORDER)
    header = dcmread(folder / "whole.dcm")
    del header.PerFrameFunctionalGroupsSequence[4]
    header.save_as(folder / "whole.dcm")
    assert "describes 4 frames but says it holds 5" in refusal(folder).what


@pytest.mark.parametrize("group", ["PlanePositionSequence", "PixelValueTransformationSequence"])
def test_frame_without_its_place_or_unit(tmp_path: Path, group: str) -> None:
    folder = enhanced(tmp_path, artificial(), ORDER)
    header = dcmread(folder / "whole.dcm")
    delattr(header.PerFrameFunctionalGroupsSequence[2], group)
    header.save_as(folder / "whole.dcm")
    expected = "Image Position" if group.startswith("PlanePos") else "Hounsfield"
    assert expected in refusal(folder).what
