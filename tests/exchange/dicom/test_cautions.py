"""What leaves the volume right but must be said, is said; what is passed over is named."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pydicom import DataElement, Dataset, config, dcmread
from pydicom.datadict import dictionary_VR
from pydicom.uid import ComprehensiveSRStorage
from scipy.spatial.transform import Rotation
from tests.support.dicom_series import artificial, edited, matrix, setting, written
from tests.support.toolkits import toolkit

from thalweg.exchange.dicom import read_volume, survey

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def said(folder: Path) -> str:
    """All cautions of a folder, joined."""
    return " ".join(survey(folder).cautions)


def for_all(paths: list[Path], **attributes: Any) -> None:
    for path in paths:
        edited(path, setting(**attributes))


def test_sound_series_needs_no_caution(tmp_path: Path) -> None:
    written(tmp_path / "s")
    assert said(tmp_path / "s") == ""


def test_tilted_gantry(tmp_path: Path) -> None:
    to_lps = matrix()
    to_lps[1, 0] = 2.0 * np.tan(np.radians(12.5))
    written(tmp_path / "s", artificial(to_lps=to_lps))
    assert "leans 12.5° from the slice normal (tilted gantry)" in said(tmp_path / "s")


def test_oblique_planes(tmp_path: Path) -> None:
    turn = Rotation.from_euler("x", 17, degrees=True).as_matrix()
    written(tmp_path / "s", artificial(to_lps=matrix(rotation=turn)))
    assert said(tmp_path / "s") == "The planes are oblique, 17.0° off the nearest body plane."


@pytest.mark.parametrize(
    ("thickness", "expected"),
    [
        (3.0, "Slices overlap: 3.00 mm thick, 2.00 mm apart."),
        (1.25, "Slices leave gaps: 1.25 mm thick, 2.00 mm apart"),
        (5.0, "Slices are coarse (5.00 mm, more than 3 mm)"),
        ("", "do not state the slice thickness"),
    ],
)
def test_slice_thickness(tmp_path: Path, thickness: float | str, expected: str) -> None:
    for_all(written(tmp_path / "s"), SliceThickness=thickness)
    assert expected in said(tmp_path / "s")


def test_varying_slice_thickness(tmp_path: Path) -> None:
    edited(written(tmp_path / "s")[1], setting(SliceThickness=1))
    assert "Slice thickness varies from 1.00 to 2.00 mm." in said(tmp_path / "s")


def test_sparse_planes_are_coarse(tmp_path: Path) -> None:
    written(tmp_path / "s", artificial(to_lps=matrix(spacing_mm=(5, 1, 1))))
    assert "coarse (5.00 mm" in said(tmp_path / "s")


def _set_unchecked(header: Dataset, attributes: dict[str, Any]) -> None:
    """Set attributes as a careless exporter would, invalid values too; None removes one."""
    for keyword, value in attributes.items():
        if value is None:
            delattr(header, keyword)
        else:
            vr = dictionary_VR(keyword)
            header.add(DataElement(keyword, vr, value, validation_mode=config.IGNORE))


@pytest.mark.parametrize(
    ("attributes", "acquired", "expected"),
    [
        ({}, "2026-02-03T14:05:06+00:00", ""),
        ({"TimezoneOffsetFromUTC": None}, "2026-02-03T14:05:06", ""),
        ({"TimezoneOffsetFromUTC": "-0330"}, "2026-02-03T14:05:06-03:30", ""),
        ({"AcquisitionDateTime": "20251231235959.5+0100"}, "2025-12-31T23:59:59+01:00", ""),
        ({"AcquisitionDateTime": "20251231"}, "2026-02-03T14:05:06+00:00", ""),
        ({"AcquisitionTime": ""}, "2026-02-03", ""),
        ({"AcquisitionTime": "99"}, "2026-02-03", ""),
        ({"AcquisitionDate": "", "SeriesDate": "20260204"}, "2026-02-04", "series's date"),
        ({"AcquisitionDate": "20269999", "SeriesDate": ""}, "2026-02-03", "study's date"),
        (
            {"AcquisitionDate": "", "SeriesDate": "", "StudyDate": ""},
            "",
            "do not state when the images were acquired",
        ),
    ],
)
def test_date_of_acquisition(
    tmp_path: Path, attributes: dict[str, Any], acquired: str, expected: str
) -> None:
    paths = written(tmp_path / "s")
    for path in paths:
        edited(path, lambda header: _set_unchecked(header, attributes))
    found = survey(tmp_path / "s")
    assert found.acquired == acquired
    assert expected in " ".join(found.cautions)
    assert bool(found.cautions) == bool(expected)


def test_earliest_plane_dates_the_series(tmp_path: Path) -> None:
    edited(written(tmp_path / "s")[3], setting(AcquisitionTime="140459"))
    assert survey(tmp_path / "s").acquired == "2026-02-03T14:04:59+00:00"


def test_series_without_uid(tmp_path: Path) -> None:
    for_all(written(tmp_path / "s"), SeriesInstanceUID="")
    assert survey(tmp_path / "s").series_uid == ""
    assert "no Series Instance UID" in said(tmp_path / "s")


def test_lossy_compression(tmp_path: Path) -> None:
    for_all(written(tmp_path / "s"), LossyImageCompression="01")
    assert "compressed with loss" in said(tmp_path / "s")


def test_unspecified_unit(tmp_path: Path) -> None:
    for_all(written(tmp_path / "s"), RescaleType="US")
    assert "unspecified" in said(tmp_path / "s")


def test_localizer_in_another_series_is_passed_over(tmp_path: Path) -> None:
    paths = written(tmp_path / "s")
    scout = tmp_path / "s" / "scout"
    shutil.copy(paths[0], scout)
    edited(
        scout,
        setting(ImageType=["ORIGINAL", "PRIMARY", "LOCALIZER"], SeriesInstanceUID="2.25.5"),
    )
    assert said(tmp_path / "s") == "Passed over: 1 localizer image(s)."
    assert survey(tmp_path / "s").shape == (5, 6, 8)


def test_report_beside_the_images_is_passed_over(tmp_path: Path) -> None:
    paths = written(tmp_path / "s")
    report = dcmread(paths[0])
    for keyword in ("PixelData", "Rows", "Columns"):
        delattr(report, keyword)
    report.SOPClassUID = report.file_meta.MediaStorageSOPClassUID = ComprehensiveSRStorage
    report.Modality, report.SeriesInstanceUID = "SR", "2.25.6"
    report.save_as(tmp_path / "s" / "dose")
    assert (
        said(tmp_path / "s")
        == "Passed over: 1 object(s) without pixels (Comprehensive SR Storage)."
    )


def _dicomdir(folder: Path) -> None:
    done = toolkit(
        "dcmmkdir", "--no-consistency-check", "+id", folder, "+D", folder / "INDEX", "IM"
    )
    assert (folder / "INDEX").exists(), done.stderr


def _hidden(folder: Path) -> None:
    (folder / ".DS_Store").write_bytes(b"\0\1")


def _hidden_folder(folder: Path) -> None:
    (folder / ".cache").mkdir()
    (folder / ".cache" / "x").write_bytes(b"\0\1")


def _thumbnails(folder: Path) -> None:
    (folder / "Thumbs.db").write_bytes(b"\0\1")


@pytest.mark.parametrize(
    ("put", "name"),
    [
        (_hidden, ".DS_Store"),
        (_hidden_folder, ".cache/x"),
        (_thumbnails, "Thumbs.db"),
        (_dicomdir, "INDEX"),
    ],
)
def test_clutter_is_named(tmp_path: Path, put: Callable[[Path], None], name: str) -> None:
    paths = written(tmp_path / "s")
    shutil.copy(paths[0], tmp_path / "s" / "IM")
    paths[0].unlink()
    put(tmp_path / "s")
    assert said(tmp_path / "s") == f"Passed over, not part of the series: {name}."


def test_fractional_slope_is_read_in_float32(tmp_path: Path) -> None:
    volume = artificial()
    for_all(written(tmp_path / "s", volume), RescaleSlope=0.5, RescaleIntercept=-0.25)
    read = read_volume(tmp_path / "s")
    assert read.values.dtype == np.float32
    np.testing.assert_array_equal(read.values, volume.values * 0.5 - 0.25)


def test_slope_may_differ_from_plane_to_plane(tmp_path: Path) -> None:
    volume = artificial()
    edited(written(tmp_path / "s", volume)[2], setting(RescaleSlope=2, RescaleIntercept=-7))
    expected = volume.values.copy()
    expected[2] = expected[2] * 2 - 7
    np.testing.assert_array_equal(read_volume(tmp_path / "s").values, expected)


def test_padding_below_int16_is_clipped(tmp_path: Path) -> None:
    """A scanner may pad with -32768 and subtract 1024 more; padding is no measurement."""
    volume = artificial()
    values = volume.values.copy()
    values[:, 0, 0] = -32768
    paths = written(tmp_path / "s", type(volume)(values, volume.to_lps, phantom=True))
    for path in paths:
        edited(path, setting(RescaleIntercept=-1024))
        edited(path, lambda header: header.add_new("PixelPaddingValue", "SS", -32768))
    read = read_volume(tmp_path / "s").values
    assert (read[:, 0, 0] == -32768).all()
    np.testing.assert_array_equal(read[:, 1:], values[:, 1:] - 1024)


def test_stray_bits_above_the_stored_ones_are_ignored(tmp_path: Path) -> None:
    """Twelve stored bits in sixteen: the other four may hold anything (PS3.5 section 8.1.1)."""
    volume = artificial()
    kept = volume.values.astype(np.int16) & 0x0FFF
    for path, plane in zip(written(tmp_path / "s", volume), kept, strict=True):
        edited(
            path,
            setting(
                PixelData=(plane | 0x5000).astype("<u2").tobytes(),
                BitsStored=12,
                HighBit=11,
                PixelRepresentation=0,
                RescaleIntercept=-1024,
            ),
        )
    np.testing.assert_array_equal(read_volume(tmp_path / "s").values, kept - 1024)


def test_positions_rounded_by_the_scanner_are_accepted(tmp_path: Path) -> None:
    """0.625 mm planes with positions written to 0.1 mm are even, though their steps look not."""
    volume = artificial((9, 4, 4), matrix(spacing_mm=(0.625, 1, 1)))
    for path in written(tmp_path / "s", volume):
        position = dcmread(path).ImagePositionPatient
        edited(path, setting(ImagePositionPatient=[round(float(x), 1) for x in position]))
    assert survey(tmp_path / "s").spacing_mm[0] == pytest.approx(0.625, abs=0.1 / 8)
