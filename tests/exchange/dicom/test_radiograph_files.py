"""Radiographs through real DICOM files, judged by dicom3tools, dcmtk and pydicom.

What the spacings mean: PS3.3 section 10.7.1.1 (read); the values of Calibration Type, 10.7.1.2
(from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pydicom import Dataset, dcmread
from tests.support.dicom_series import edited, setting, written
from tests.support.radiographs import TAKEN, thrown, written_radiograph
from tests.support.toolkits import toolkit

from thalweg.errors import ImageError
from thalweg.exchange.dicom import read_radiograph

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.radiograph import Radiograph


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Return the artificial radiograph as a file."""
    return written_radiograph(tmp_path / "urogram.dcm")


def image_of(path: Path, **settings: Any) -> Radiograph:
    """Return the radiograph after setting attributes of its file."""
    edited(path, setting(**settings))
    return read_radiograph(path).radiograph


def test_dicom3tools_finds_no_fault(file: Path) -> None:
    verdict = toolkit("dciodvfy", "-new", file)
    assert verdict.returncode == 0, verdict.stderr
    said = verdict.stdout + verdict.stderr
    assert "DXImageForPresentation" in said
    assert "Error" not in said, said
    assert "Warning" not in said, said


def test_round_trip(file: Path) -> None:
    read = read_radiograph(file)
    image = read.radiograph
    np.testing.assert_array_equal(image.values, thrown().image.values)
    assert image.detector_spacing_mm == (0.8, 0.8)
    assert image.object_spacing_mm is None
    assert image.source_detector_mm == 1150.0
    assert image.acquired == TAKEN.isoformat()
    assert image.phantom
    assert read.patient.birth_date == "19610304"
    assert "Example" not in repr(read)


def test_equal_input_gives_equal_bytes(file: Path, tmp_path: Path) -> None:
    again = written_radiograph(tmp_path / "again.dcm")
    assert again.read_bytes() == file.read_bytes()


@pytest.mark.parametrize(
    ("program", "option"), [("dcmcrle", ""), ("dcmcjpeg", "+e1"), ("dcmcjpls", "+el")]
)
def test_compressed_by_dcmtk(file: Path, tmp_path: Path, program: str, option: str) -> None:
    packed = tmp_path / "packed.dcm"
    done = toolkit(program, *filter(None, [option]), file, packed)
    assert done.returncode == 0, done.stderr
    assert dcmread(packed).file_meta.TransferSyntaxUID.is_compressed
    np.testing.assert_array_equal(read_radiograph(packed).radiograph.values, thrown().image.values)


def test_a_picture_in_which_much_is_dark_is_turned_round(file: Path) -> None:
    plain = read_radiograph(file).radiograph.values

    def invert(header: Dataset) -> None:
        header.PhotometricInterpretation = "MONOCHROME1"
        header.PixelData = (4095 - plain).astype("<u2").tobytes()

    edited(file, invert)
    np.testing.assert_allclose(read_radiograph(file).radiograph.values, plain, atol=1.0)


def test_the_window_is_applied_and_eight_bits_are_read(file: Path) -> None:
    """Linear window of PS3.3 C.11.2.1.2.1: below c - 0.5 - (w - 1) / 2 black, above white."""

    def narrow(header: Dataset) -> None:
        header.BitsAllocated = header.BitsStored = 8
        header.HighBit = 7
        header.WindowCenter, header.WindowWidth = 100, 51
        ramp = np.tile(np.arange(header.Columns) % 256, (header.Rows, 1)).astype(np.uint8)
        header.PixelData = ramp.tobytes()
        header["PixelData"].VR = "OB"

    edited(file, narrow)
    values = read_radiograph(file).radiograph.values
    assert values[0, 60] == values[0, 0] == values.min()
    assert values[0, 140] == values[0, 255] == values.max()
    assert values[0, 0] < values[0, 90] < values[0, 110] < values[0, 140]


@pytest.mark.parametrize(
    ("tags", "detector", "corrected", "kind", "said"),
    [
        # (detector, Pixel Spacing, type) as the standard's section describes them
        ({"PixelSpacing": [0.8, 0.8]}, (0.8, 0.8), None, "", ""),
        ({"PixelSpacing": [0.66, 0.66]}, (0.8, 0.8), (0.66, 0.66), "", ""),
        (
            {"PixelSpacing": [0.66, 0.66], "PixelSpacingCalibrationType": "GEOMETRY"},
            (0.8, 0.8),
            (0.66, 0.66),
            "GEOMETRY",
            "",
        ),
        (
            {
                "PixelSpacing": [0.66, 0.66],
                "PixelSpacingCalibrationType": "FIDUCIAL",
                "ImagerPixelSpacing": None,
            },
            None,
            (0.66, 0.66),
            "FIDUCIAL",
            "",
        ),
        (
            {"PixelSpacing": [0.66, 0.66], "ImagerPixelSpacing": None},
            None,
            None,
            "",
            "cannot be told",
        ),
        (
            {"PixelSpacing": [0.8, 0.8], "PixelSpacingCalibrationType": "GEOMETRY"},
            (0.8, 0.8),
            None,
            "",
            "yet gives that of the detector",
        ),
        ({"PixelSpacing": [0.9, 0.9]}, (0.8, 0.8), None, "", "greater than at the detector"),
        ({"PixelSpacingCalibrationType": "FIDUCIAL"}, (0.8, 0.8), None, "", "no Pixel Spacing"),
        (
            {"ImagerPixelSpacing": None, "NominalScannedPixelSpacing": [0.2, 0.2]},
            (0.2, 0.2),
            None,
            "",
            "",
        ),
        ({"NominalScannedPixelSpacing": [0.2, 0.2]}, (0.8, 0.8), None, "", "differ; the first"),
        (
            {"PixelSpacing": [0.66, 0.66], "EstimatedRadiographicMagnificationFactor": 1.4},
            (0.8, 0.8),
            (0.66, 0.66),
            "",
            "which is right is not known",
        ),
        (
            {"EstimatedRadiographicMagnificationFactor": 0.8},
            (0.8, 0.8),
            None,
            "",
            "below 1",
        ),
        ({"ColumnAngulation": 15}, (0.8, 0.8), None, "", "slants"),
    ],
)
def test_what_the_spacings_mean(
    file: Path,
    tags: dict[str, Any],
    detector: tuple[float, float] | None,
    corrected: tuple[float, float] | None,
    kind: str,
    said: str,
) -> None:
    image = image_of(file, **tags)
    assert image.detector_spacing_mm == detector
    assert image.object_spacing_mm == corrected
    assert image.object_kind == kind
    if said:
        assert any(said in caution for caution in image.cautions), image.cautions
    else:
        assert image.cautions == ()


def test_unequal_pixels_keep_their_order(file: Path) -> None:
    """Rows first, then columns (PS3.3 10.7.1.3)."""
    image = image_of(file, ImagerPixelSpacing=[0.4, 0.8])
    assert image.detector_spacing_mm == (0.4, 0.8)
    assert image.shape_ratio == 0.5


def frames(header: Dataset, count: int = 3) -> None:
    """Make a film of several frames, the n-th filled with n."""
    shape = header.Rows, header.Columns
    header.NumberOfFrames = count
    header.PixelData = b"".join(np.full(shape, n, "<u2").tobytes() for n in range(1, count + 1))


def test_one_frame_of_several_must_be_named(file: Path) -> None:
    edited(file, frames)
    with pytest.raises(ImageError, match=r"holds 3 frames.*--frame 1 to 3"):
        read_radiograph(file)
    with pytest.raises(ImageError, match="no frame 4"):
        read_radiograph(file, frame=4)
    edited(file, setting(WindowCenter=None, WindowWidth=None))
    assert (read_radiograph(file, frame=2).radiograph.values == 2.0).all()


@pytest.mark.parametrize(
    ("tags", "word"),
    [
        ({"Modality": "MG"}, "modality MG"),
        ({"ImagerPixelSpacing": [0.0, 0.8]}, "unusable Imager Pixel Spacing"),
        ({"SamplesPerPixel": 3, "PhotometricInterpretation": "RGB"}, "colour"),
        ({"HighBit": 15}, "against the standard"),
    ],
)
def test_refusals(file: Path, tags: dict[str, Any], word: str) -> None:
    with pytest.raises(ImageError, match=word) as caught:
        image_of(file, **tags)
    assert str(file) in str(caught.value)
    assert "Example" not in str(caught.value)


def test_a_slice_of_a_ct_is_no_radiograph(tmp_path: Path) -> None:
    one = written(tmp_path / "ct")[0]
    with pytest.raises(ImageError, match=r"not a radiograph.*trace a CT series"):
        read_radiograph(one)


def test_damaged_files_are_refused(file: Path, tmp_path: Path) -> None:
    whole = file.read_bytes()
    rng = np.random.default_rng(3)
    for number in range(40):
        spoilt = bytearray(whole[: int(rng.integers(200, len(whole)))] if number % 2 else whole)
        for place in rng.integers(132, min(len(spoilt), 2200), 3):
            spoilt[int(place)] = int(rng.integers(0, 256))
        path = tmp_path / f"{number}.dcm"
        path.write_bytes(spoilt)
        try:
            read = read_radiograph(path)
        except ImageError as error:
            assert "Example" not in str(error)  # noqa: PT017 - either outcome is sound
        else:
            assert read.radiograph.values.ndim == 2
