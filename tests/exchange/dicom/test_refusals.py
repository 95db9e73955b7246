"""Every folder that is not one even, measurable volume is refused in one clear sentence."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pydicom import Dataset, dcmread
from pydicom.uid import (
    MPEG2MPML,
    ComprehensiveSRStorage,
    EncapsulatedPDFStorage,
    RTStructureSetStorage,
    SecondaryCaptureImageStorage,
)
from tests.support.dicom_series import (
    artificial,
    checked_sentence,
    edited,
    matrix,
    refusal,
    setting,
    written,
)

from thalweg.errors import ImageError
from thalweg.exchange.dicom import read_volume

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def series(tmp_path: Path) -> list[Path]:
    """Files of a sound series of seven planes, in plane order, in the folder ``s``."""
    return written(tmp_path / "s", artificial((7, 6, 8)))


# --- the folder -----------------------------------------------------------------------------


def test_missing_folder(tmp_path: Path) -> None:
    error = refusal(tmp_path / "absent")
    assert "does not exist" in error.what
    assert "absent" in error.where


def test_file_instead_of_folder(series: list[Path]) -> None:
    assert "is a file, not a folder" in refusal(series[0]).what


def test_empty_folder(tmp_path: Path) -> None:
    assert "is empty" in refusal(tmp_path).what


def test_folder_with_clutter_alone(tmp_path: Path) -> None:
    (tmp_path / "Thumbs.db").write_bytes(b"\0" * 300)
    assert "no DICOM file, only Thumbs.db" in refusal(tmp_path).what


# --- files that are not whole ---------------------------------------------------------------


def test_file_that_is_not_dicom_is_named(series: list[Path]) -> None:
    (series[0].parent / "scan.jpg").write_bytes(b"\xff\xd8\xff" * 100)
    error = refusal(series[0].parent)
    assert "not a DICOM file" in error.what
    assert error.where.endswith("scan.jpg")


def test_empty_file_is_named(series: list[Path]) -> None:
    series[3].write_bytes(b"")
    error = refusal(series[0].parent)
    assert series[3].name in error.where


@pytest.mark.parametrize("kept", [0.999, 0.95, 0.7, 0.4, 0.15])
def test_truncated_file_is_named(series: list[Path], kept: float) -> None:
    whole = series[3].read_bytes()
    series[3].write_bytes(whole[: int(len(whole) * kept)])
    error = refusal(series[0].parent)
    assert series[3].name in error.where


def test_truncated_compressed_file_is_named(series: list[Path]) -> None:
    def shrink(header: Dataset) -> None:
        header.compress("1.2.840.10008.1.2.5", generate_instance_uid=False)

    for path in series:
        edited(path, shrink)
    whole = series[3].read_bytes()
    series[3].write_bytes(whole[:-60])
    error = refusal(series[0].parent)
    assert "cut short" in error.what
    assert series[3].name in error.where


def test_damaged_compressed_pixels_are_named(series: list[Path]) -> None:
    def shrink(header: Dataset) -> None:
        header.compress("1.2.840.10008.1.2.4.80", generate_instance_uid=False)

    for path in series:
        edited(path, shrink)
    whole = bytearray(series[3].read_bytes())
    start = whole.index(b"\xff\xd8\xff\xf7")  # JPEG-LS start of image and frame (ITU-T T.87)
    whole[start : start + 24] = bytes(24)
    series[3].write_bytes(whole)
    with pytest.raises(ImageError, match="cannot be decoded") as caught:
        read_volume(series[0].parent)
    checked_sentence(caught.value)
    assert series[3].name in caught.value.where


def test_missing_pixels(series: list[Path]) -> None:
    edited(series[2], setting(PixelData=None))
    error = refusal(series[0].parent)
    assert "pixels are missing" in error.what
    assert series[2].name in error.where


def test_too_few_pixels_for_the_matrix(series: list[Path]) -> None:
    edited(series[2], setting(Rows=7))
    assert "incomplete" in refusal(series[0].parent).what


def test_compression_that_nothing_here_reads(series: list[Path]) -> None:
    def pretend(header: Dataset) -> None:
        header.PixelData = b"\xfe\xff\x00\xe0\x00\x00\x00\x00\xfe\xff\xdd\xe0\x00\x00\x00\x00"
        header["PixelData"].is_undefined_length = True
        header.file_meta.TransferSyntaxUID = MPEG2MPML

    edited(series[1], pretend)
    error = refusal(series[0].parent)
    assert "MPEG2" in error.what
    assert "no installed decoder" in error.what


def test_unstated_encoding(series: list[Path]) -> None:
    header = dcmread(series[0])
    del header.file_meta.TransferSyntaxUID
    series[0].unlink()
    header.save_as(series[0], implicit_vr=False, little_endian=True, enforce_file_format=False)
    assert "Transfer Syntax" in refusal(series[0].parent).what


# --- objects that are no measurable image -----------------------------------------------------


@pytest.mark.parametrize(
    ("sop_class", "modality"),
    [
        (RTStructureSetStorage, "RTSTRUCT"),
        (ComprehensiveSRStorage, "SR"),
        (EncapsulatedPDFStorage, "DOC"),
    ],
)
def test_objects_without_pixels(
    series: list[Path], sop_class: Any, modality: str, tmp_path: Path
) -> None:
    header = dcmread(series[0])
    for keyword in ("PixelData", "Rows", "Columns"):
        delattr(header, keyword)
    header.SOPClassUID = header.file_meta.MediaStorageSOPClassUID = sop_class
    header.Modality = modality
    (tmp_path / "other").mkdir()
    header.save_as(tmp_path / "other" / "x")
    error = refusal(tmp_path / "other")
    assert "holds no images" in error.what
    assert sop_class.name in error.what


def test_localizers_alone(series: list[Path]) -> None:
    for path in series:
        edited(path, setting(ImageType=["ORIGINAL", "PRIMARY", "LOCALIZER"]))
    assert "only localizer" in refusal(series[0].parent).what


def test_secondary_captures(series: list[Path]) -> None:
    for path in series:
        edited(
            path,
            setting(
                SOPClassUID=SecondaryCaptureImageStorage, Modality="OT", ImagePositionPatient=None
            ),
        )
    error = refusal(series[0].parent)
    assert "modality OT" in error.what


def test_position_missing(series: list[Path]) -> None:
    edited(series[4], setting(ImagePositionPatient=None))
    error = refusal(series[0].parent)
    assert "Image Position (Patient) is missing" in error.what
    assert series[4].name in error.where


@pytest.mark.parametrize(
    ("attributes", "said"),
    [
        ({"ImageOrientationPatient": None}, "Image Orientation (Patient) is missing"),
        ({"ImageOrientationPatient": [1, 0, 0, 0.5, 1, 0]}, "right angles"),
        ({"ImageOrientationPatient": [2, 0, 0, 0, 1, 0]}, "unit vectors"),
        ({"PixelSpacing": None}, "Pixel Spacing is missing"),
        ({"PixelSpacing": [0, 0.5]}, "not above 0 mm"),
        ({"PixelSpacing": [0.5, 0.5, 0.5]}, "unusable Pixel Spacing"),
        ({"RescaleSlope": None}, "Hounsfield"),
        ({"RescaleIntercept": None}, "Hounsfield"),
        ({"RescaleSlope": 0}, "unusable rescale"),
        ({"RescaleType": "MGML"}, "not in Hounsfield units"),
        ({"HighBit": 11}, "high bit"),
        ({"NumberOfFrames": 1, "Columns": 0}, "rows and columns"),
        ({"PhotometricInterpretation": "PALETTE COLOR"}, "colour picture"),
        ({"Modality": "US"}, "modality US"),
    ],
)
def test_image_that_cannot_be_measured(
    series: list[Path], attributes: dict[str, Any], said: str
) -> None:
    for path in series:
        edited(path, setting(**attributes))
    assert said in refusal(series[0].parent).what


def test_several_frames_without_their_places(series: list[Path]) -> None:
    def double(header: Dataset) -> None:
        header.NumberOfFrames = 2
        header.PixelData = header.PixelData * 2

    edited(series[0], double)
    assert "several frames" in refusal(series[0].parent).what


# --- files that do not belong together --------------------------------------------------------


def test_two_series_are_listed(tmp_path: Path) -> None:
    written(tmp_path / "s" / "a", artificial((4, 5, 5)), description="Portal venous")
    written(tmp_path / "s" / "b", artificial((6, 5, 5)), description="Excretory")
    error = refusal(tmp_path / "s")
    assert "2 series" in error.what
    assert "'Portal venous (phantom: artificial image)' (CT, 4 file(s))" in error.what
    assert "'Excretory (phantom: artificial image)' (CT, 6 file(s))" in error.what
    assert "each its own folder" in error.mend


def test_series_without_uid_are_told_apart_by_number(tmp_path: Path) -> None:
    for number, name in enumerate("ab"):
        for path in written(tmp_path / "s" / name, series_number=number):
            edited(path, setting(SeriesInstanceUID="", StudyInstanceUID=""))
    assert "2 series" in refusal(tmp_path / "s").what


def test_screen_picture_beside_the_series_is_a_second_series(series: list[Path]) -> None:
    copy = series[0].with_name("shot")
    shutil.copy(series[0], copy)
    edited(copy, setting(SeriesInstanceUID="2.25.1", SeriesDescription="Dose", Modality="OT"))
    assert "'Dose' (OT, 1 file(s))" in refusal(series[0].parent).what


@pytest.mark.parametrize(
    ("attributes", "said"),
    [
        ({"PatientID": "INVENTED-4712"}, "different patients"),
        ({"PatientBirthDate": "19510310"}, "different patients"),
        ({"PatientSex": "M"}, "different patients"),
        ({"FrameOfReferenceUID": "2.25.77"}, "frames of reference"),
        ({"ImageOrientationPatient": [0.8, 0.6, 0, -0.6, 0.8, 0]}, "different direction"),
        ({"PixelSpacing": [0.75, 0.51]}, "different pixel spacing"),
        ({"Rows": 5}, "different matrix (6 × 8"),
        ({"Modality": "US"}, "modality US"),
    ],
)
def test_one_file_that_differs(series: list[Path], attributes: dict[str, Any], said: str) -> None:
    edited(series[5], setting(**attributes))
    assert said in refusal(series[0].parent).what


# --- planes that make no even stack -----------------------------------------------------------


def test_copied_file_lies_in_the_place_of_another(series: list[Path]) -> None:
    shutil.copy(series[3], series[3].with_name("copy"))
    error = refusal(series[0].parent)
    assert "1 plane(s) in the place of another" in error.what
    assert "316.00 mm" in error.what


def test_missing_plane_is_placed_and_counted(series: list[Path]) -> None:
    series[3].unlink()
    error = refusal(series[0].parent)
    assert "lacks 1 plane(s)" in error.what
    assert f"1 after 314.00 mm ({series[2].name})" in error.what


def test_several_holes_are_each_named(tmp_path: Path) -> None:
    paths = written(tmp_path / "s", artificial((16, 4, 4)))
    for gone in (3, 4, 9):
        paths[gone].unlink()
    error = refusal(tmp_path / "s")
    assert "lacks 3 plane(s)" in error.what
    assert "2 after 314.00 mm" in error.what
    assert "1 after 326.00 mm" in error.what


def test_hole_among_the_fewest_planes(tmp_path: Path) -> None:
    paths = written(tmp_path / "s", artificial((4, 4, 4)))
    paths[1].unlink()
    assert "lacks 1 plane(s)" in refusal(tmp_path / "s").what


@pytest.mark.parametrize("shift_mm", [0.15, 0.7, 1.0])
def test_uneven_spacing(series: list[Path], shift_mm: float) -> None:
    edited(series[6], lambda header: _shift(header, 2, shift_mm))
    assert "uneven plane spacing" in refusal(series[0].parent).what


def test_plane_shifted_sideways(series: list[Path]) -> None:
    edited(series[3], lambda header: _shift(header, 0, 1.5))
    error = refusal(series[0].parent)
    assert f"out of line, {series[3].name} by 1.50 mm" in error.what


@pytest.mark.parametrize("planes", [1, 2])
def test_too_few_planes(tmp_path: Path, planes: int) -> None:
    written(tmp_path / "s", artificial((planes, 4, 4)))
    assert f"only {planes} image plane(s)" in refusal(tmp_path / "s").what


def test_values_no_ct_can_measure(tmp_path: Path) -> None:
    for path in written(tmp_path / "s"):
        edited(path, setting(RescaleSlope=40))
    with pytest.raises(ImageError, match="beyond what a CT can measure") as caught:
        read_volume(tmp_path / "s")
    checked_sentence(caught.value)


def test_series_that_changed_after_its_survey(series: list[Path]) -> None:
    from thalweg.exchange.dicom import survey

    found = survey(series[0].parent)
    edited(series[2], _crop)
    with pytest.raises(ImageError, match="rows and columns its header states"):
        read_volume(found)
    series[2].unlink()
    with pytest.raises(ImageError, match="cannot be decoded"):
        read_volume(found)


def _shift(header: Dataset, axis: int, by_mm: float) -> None:
    position = [float(number) for number in header.ImagePositionPatient]
    position[axis] += by_mm
    header.ImagePositionPatient = position


def _crop(header: Dataset) -> None:
    header.PixelData = np.asarray(header.pixel_array)[:-1].tobytes()
    header.Rows -= 1


def test_tilt_is_not_taken_for_a_shift(tmp_path: Path) -> None:
    to_lps = matrix()
    to_lps[0, 0] = 1.5
    written(tmp_path / "s", artificial(to_lps=to_lps))
    assert read_volume(tmp_path / "s").to_lps[0, 0] == pytest.approx(1.5, abs=1e-9)
