"""Independent programs read what we write, and we read what they write and compress.

Witnesses: dcmtk and dicom3tools (programs of their own, C++), SimpleITK (GDCM inside), and the
sample files in pydicom's own distribution.
"""

from __future__ import annotations

import base64
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pydicom
import pytest
from pydicom import dcmread
from scipy.spatial.transform import Rotation
from tests.support.dicom_series import artificial, checked_sentence, edited, matrix, written
from tests.support.simpleitk_witness import (
    SITK_TOLERANCE_MM,
    agrees_with_simpleitk,
    by_simpleitk,
    sitk,
)
from tests.support.toolkits import toolkit

from thalweg.errors import ImageError
from thalweg.exchange.dicom import read_volume

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pydicom import Dataset


SAMPLES = Path(pydicom.__file__).parent / "data" / "test_files"

FEW = (3, 6, 8)
"""Planes, rows, columns where every plane costs the start of a program."""

OBLIQUE = matrix(rotation=Rotation.from_euler("xyz", [20, -35, 50], degrees=True).as_matrix())


@pytest.mark.parametrize("to_lps", [matrix(), OBLIQUE], ids=["axial", "oblique"])
def test_simpleitk_reads_the_same(tmp_path: Path, to_lps: NDArray[np.float64]) -> None:
    volume = artificial(to_lps=to_lps)
    image = by_simpleitk(written(tmp_path / "s", volume))
    agrees_with_simpleitk(volume, image)
    agrees_with_simpleitk(read_volume(tmp_path / "s"), image)


def test_gdcm_sorts_the_slices_as_we_do(tmp_path: Path) -> None:
    written(tmp_path / "s", artificial(to_lps=OBLIQUE))
    names = sitk.ImageSeriesReader.GetGDCMSeriesFileNames(str(tmp_path / "s"))
    agrees_with_simpleitk(read_volume(tmp_path / "s"), by_simpleitk(names))


def test_dicom3tools_finds_no_fault(tmp_path: Path) -> None:
    for path in written(tmp_path / "s", artificial(FEW, OBLIQUE)):
        verdict = toolkit("dciodvfy", "-new", path)
        assert verdict.returncode == 0, verdict.stderr
        findings = verdict.stdout + verdict.stderr
        assert "CTImage" in findings
        assert "Error" not in findings, findings
        assert "Warning" not in findings, findings


def test_dcmtk_reads_the_same(tmp_path: Path) -> None:
    volume = artificial(FEW)
    for path, plane in zip(written(tmp_path / "s", volume), volume.values, strict=True):
        assert toolkit("dcmftest", path).stdout.startswith("yes")
        dumped = toolkit("dcmdump", "+E", path)
        assert dumped.returncode == 0
        assert dumped.stderr == ""
        attributes = json.loads(toolkit("dcm2json", path).stdout)
        stored = base64.b64decode(attributes["7FE00010"]["InlineBinary"])
        np.testing.assert_array_equal(np.frombuffer(stored, "<i2").reshape(plane.shape), plane)
        assert attributes["00280300"]["Value"] == ["YES"]
        assert attributes["00100200"]["Value"] == ["YES"]


@pytest.mark.parametrize(
    ("program", "option"),
    [("dcmcrle", ""), ("dcmcjpeg", "+e1"), ("dcmcjpls", "+el")],
    ids=["RLE", "JPEG lossless", "JPEG-LS"],
)
def test_series_compressed_by_dcmtk(tmp_path: Path, program: str, option: str) -> None:
    """Stored values 0 to 4095, as scanners write them; dcmtk's coders take no others losslessly."""
    volume = artificial(FEW)
    (tmp_path / "z").mkdir()
    for path in written(tmp_path / "s", volume):
        edited(path, _as_scanners_store)
        done = toolkit(program, *filter(None, [option]), path, tmp_path / "z" / path.name)
        assert done.returncode == 0, done.stderr
        assert dcmread(tmp_path / "z" / path.name).file_meta.TransferSyntaxUID.is_compressed
    np.testing.assert_array_equal(read_volume(tmp_path / "z").values, volume.values)


def test_codestream_that_kills_its_decoder_is_an_error(tmp_path: Path) -> None:
    """GDCM aborts its process where the marker after JPEG's start of image is gone."""
    (tmp_path / "z").mkdir()
    paths = written(tmp_path / "s", artificial(FEW))
    for path in paths:
        edited(path, _as_scanners_store)
        assert toolkit("dcmcjpeg", "+e1", path, tmp_path / "z" / path.name).returncode == 0
    spoilt = tmp_path / "z" / paths[1].name
    content = bytearray(spoilt.read_bytes())
    content[content.index(b"\xff\xd8\xff") + 2] = 0
    spoilt.write_bytes(content)
    with pytest.raises(ImageError, match="cannot be decoded") as caught:
        read_volume(tmp_path / "z")
    checked_sentence(caught.value)
    assert caught.value.where == str(spoilt)


@pytest.mark.parametrize("option", ["+ti", "+tb", "+td"], ids=["implicit", "big", "deflated"])
def test_series_reencoded_by_dcmtk(tmp_path: Path, option: str) -> None:
    volume = artificial(FEW)
    (tmp_path / "z").mkdir()
    for path in written(tmp_path / "s", volume):
        done = toolkit("dcmconv", option, path, tmp_path / "z" / path.name)
        assert done.returncode == 0, done.stderr
    read = read_volume(tmp_path / "z")
    np.testing.assert_array_equal(read.values, volume.values)
    np.testing.assert_allclose(read.to_lps, volume.to_lps, atol=SITK_TOLERANCE_MM)


def test_jpeg_ls_of_signed_values(tmp_path: Path) -> None:
    """JPEG-LS does not know signs; Pixel Representation decides (PS3.5 section 8.2.3)."""
    volume = artificial(FEW)

    def shrink(header: Dataset) -> None:
        header.compress("1.2.840.10008.1.2.4.80", generate_instance_uid=False)

    for path in written(tmp_path / "s", volume):
        edited(path, shrink)
    np.testing.assert_array_equal(read_volume(tmp_path / "s").values, volume.values)


@pytest.mark.parametrize(
    "name",
    [
        "CT_small.dcm",
        "693_J2KI.dcm",
        "J2K_pixelrep_mismatch.dcm",
        "MR_small.dcm",
        "MR_small_RLE.dcm",
        "MR_small_bigendian.dcm",
        "MR_small_implicit.dcm",
        "MR_small_jp2klossless.dcm",
        "MR_small_jpeg_ls_lossless.dcm",
        "MR_small_padded.dcm",
    ],
)
def test_sample_slice_stacked_three_times(tmp_path: Path, name: str) -> None:
    """pydicom's sample slices, real scanner output, against SimpleITK voxel for voxel."""
    image = sitk.ReadImage(str(SAMPLES / name))
    for index in range(3):
        header = dcmread(SAMPLES / name)
        header.ImagePositionPatient = [*header.ImagePositionPatient[:2], 4.0 * index]
        header.ImageOrientationPatient = [1, 0, 0, 0, 1, 0]
        header.save_as(tmp_path / str(index))
    read = read_volume(tmp_path)
    expected = sitk.GetArrayViewFromImage(image)[0]
    for plane in read.values:
        np.testing.assert_array_equal(plane, expected)
    np.testing.assert_allclose(
        read.spacing_mm, np.array([4.0, *image.GetSpacing()[1::-1]]), atol=SITK_TOLERANCE_MM
    )


def test_truncated_sample_is_refused(tmp_path: Path) -> None:
    from tests.support.dicom_series import refusal

    shutil.copy(SAMPLES / "MR_truncated.dcm", tmp_path)
    assert "cut short" in refusal(tmp_path).what


def _as_scanners_store(header: Dataset) -> None:
    """Twelve bits, unsigned, -1024 as intercept."""
    header.PixelData = (header.pixel_array + 1024).astype("<u2").tobytes()
    header.BitsStored, header.HighBit, header.PixelRepresentation = 12, 11, 0
    header.RescaleIntercept = -1024
