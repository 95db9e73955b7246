"""Files of a gamma camera that must be refused, by name and in one sentence, or read right."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pydicom import Dataset, dcmread, dcmwrite
from pydicom.uid import BasicTextSRStorage
from tests.support.dicom_series import written
from tests.support.gamma_files import (
    PHASES,
    SHAPE,
    STARTS_S,
    PhaseOf,
    camera_dataset,
    camera_file,
    value_of,
)

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom import read_dynamic

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def discreet(error: InputError, path: Path) -> str:
    """Return the sentence, checked to name the file and nobody."""
    sentence = str(error)
    assert str(path) in sentence
    assert error.mend
    assert "\n" not in sentence
    for secret in ("Quorn", "QUORN", "19480517", "1948"):
        assert secret not in sentence
    return sentence


def edited_file(path: Path, edit: Callable[[Dataset], object], **settings: Any) -> Path:
    ds = camera_dataset(**settings)
    edit(ds)
    dcmwrite(path, ds, enforce_file_format=True)
    return path


def set_phase(keyword: str, value: Any, number: int = 1) -> Callable[[Dataset], None]:
    def edit(ds: Dataset) -> None:
        item = ds.PhaseInformationSequence[number]
        if value is None:
            delattr(item, keyword)
        else:
            setattr(item, keyword, value)

    return edit


def setting_all(**values: Any) -> Callable[[Dataset], None]:
    def edit(ds: Dataset) -> None:
        for keyword, value in values.items():
            if value is None:
                delattr(ds, keyword)
            else:
                setattr(ds, keyword, value)

    return edit


KIND = ["ORIGINAL", "PRIMARY"]

REFUSED: list[tuple[Callable[[Dataset], object], str]] = [
    # what kind of study
    (setting_all(ImageType=[*KIND, "STATIC", "EMISSION"]), "a static picture, not a dynamic"),
    (setting_all(ImageType=[*KIND, "WHOLE BODY", "EMISSION"]), "a whole-body picture"),
    (setting_all(ImageType=[*KIND, "RECON TOMO", "EMISSION"]), "a tomographic study"),
    (setting_all(ImageType=[*KIND, "GATED", "EMISSION"]), "a gated study"),
    (setting_all(ImageType=KIND), "of a kind it does not name"),
    (setting_all(ImageType=None), "of a kind it does not name"),
    (setting_all(ImageType=[*KIND, "DYNAMIC", "TRANSMISSION"]), "transmission"),
    (setting_all(Modality="PT"), "of modality PT"),
    # frame indices
    (setting_all(TimeSliceVector=None), "does not number its frames"),
    (setting_all(PhaseVector=None), "has 3 phases but does not say which frame"),
    (setting_all(PhaseVector=[1, 1, 1]), "gives 3 phase numbers for 9 frames"),
    (setting_all(DetectorVector=[1] * 8), "gives 8 detector numbers for 9 frames"),
    (setting_all(TimeSliceVector=[1, 2, 3] * 4), "gives 12 time slice numbers"),
    (setting_all(PhaseVector=[1, 1, 1, 2, 2, 2, 2, 3, 4]), "phase 4, outside 1 to 3"),
    (setting_all(DetectorVector=[0] * 9), "detector 0, outside 1 to 1"),
    (setting_all(PhaseVector=[1] * 4 + [2] * 3 + [3] * 2), "phase 1"),
    (setting_all(TimeSliceVector=[1, 2, 2, 1, 2, 3, 4, 1, 2]), "gaps or doubles among the frames"),
    (setting_all(TimeSliceVector=[1, 2, 4, 1, 2, 3, 4, 1, 2]), "gaps or doubles among the frames"),
    (setting_all(PhaseVector=[1] * 3 + [2] * 6, TimeSliceVector=[1, 2, 3, *range(1, 7)]), "phase"),
    (setting_all(NumberOfDetectors=2), "describes 1 detectors but says it has 2"),
    # times
    (setting_all(PhaseInformationSequence=None), "how long its frames lasted"),
    (setting_all(NumberOfPhases=4), "describes 3 phases but says it holds 4"),
    (set_phase("ActualFrameDuration", 0), "last no time in phase 2"),
    (set_phase("ActualFrameDuration", None), "how long the frames of phase 2 lasted"),
    (set_phase("ActualFrameDuration", -5), "unusable time in phase 2"),
    (set_phase("PauseBetweenFrames", -5), "unusable time in phase 2"),
    (set_phase("PhaseDelay", -5), "unusable time in phase 2"),
    (set_phase("NumberOfFramesInPhase", 5), "holds 4 frames in phase 2, which should hold 5"),
    (set_phase("NumberOfFramesInPhase", None), "which is said to hold none"),
    # pixels
    (setting_all(PhotometricInterpretation="MONOCHROME1"), "stores MONOCHROME1 pixels"),
    (setting_all(PhotometricInterpretation="RGB", SamplesPerPixel=3), "cut short"),
    (setting_all(HighBit=7), "against the standard"),
    (setting_all(RescaleSlope=0, RescaleIntercept=0), "unusable rescale"),
    (setting_all(RescaleSlope=1, RescaleIntercept=-2000), "below 0"),
    (setting_all(PixelData=b"\0\0" * 40), "cut short"),
    (setting_all(PixelData=None), "cut short"),
]


@pytest.mark.parametrize(("edit", "word"), REFUSED, ids=[word for _, word in REFUSED])
def test_what_is_refused(tmp_path: Path, edit: Callable[[Dataset], object], word: str) -> None:
    path = edited_file(tmp_path / "a.dcm", edit)
    with pytest.raises(InputError) as caught:
        read_dynamic(path)
    assert word in discreet(caught.value, path)


def test_a_picture_of_the_screen_in_colour(tmp_path: Path) -> None:
    def paint(ds: Dataset) -> None:
        ds.PhotometricInterpretation, ds.SamplesPerPixel, ds.PlanarConfiguration = "RGB", 3, 0
        ds.BitsAllocated = ds.BitsStored = 8
        ds.HighBit = 7
        ds.PixelData = bytes(9 * SHAPE[0] * SHAPE[1] * 3 + 1)

    path = edited_file(tmp_path / "a.dcm", paint)
    with pytest.raises(ImageError, match="stores RGB pixels"):
        read_dynamic(path)


def test_far_too_many_pixels_are_refused_before_they_are_read(tmp_path: Path) -> None:
    def swell(ds: Dataset) -> None:
        ds.Rows = ds.Columns = 8000

    path = edited_file(tmp_path / "a.dcm", swell)
    whole = path.read_bytes()
    # The file is padded sparsely, so that it has the bytes that its header promises.
    at = whole.rindex(b"\xe0\x7f\x10\x00OW\0\0") + 8
    due = 9 * 8000 * 8000 * 2
    with path.open("r+b") as file:
        file.seek(at)
        file.write(struct.pack("<I", due))
        file.truncate(at + 4 + due)
    with pytest.raises(ImageError, match="more than any renogram"):
        read_dynamic(path)


def test_eight_bits(tmp_path: Path) -> None:
    def narrow(ds: Dataset) -> None:
        ds.BitsAllocated = ds.BitsStored = 8
        ds.HighBit = 7
        values = np.stack([value_of(1, 1, n) - 1300 for n in range(9)])
        ds.PixelData = values.astype(np.uint8).tobytes() + b"\0"
        ds["PixelData"].VR = "OB"

    image = read_dynamic(edited_file(tmp_path / "a.dcm", narrow)).image
    np.testing.assert_array_equal(image.counts[3], value_of(1, 1, 3) - 1300.0)


def test_signed_pixels_are_counts_unless_below_nought(tmp_path: Path) -> None:
    def sign(ds: Dataset, first: int = 0) -> None:
        ds.PixelRepresentation = 1
        values = np.stack([value_of(1, 1, n) for n in range(9)]).astype("<i2")
        values[0, 0, 0] = first
        ds.PixelData = values.tobytes()

    assert read_dynamic(edited_file(tmp_path / "a.dcm", sign)).image.counts[0, 0, 0] == 0
    path = edited_file(tmp_path / "b.dcm", lambda ds: sign(ds, -1))
    with pytest.raises(ImageError, match="below 0"):
        read_dynamic(path)


def test_a_palette_colours_counts_and_leaves_them_counts(tmp_path: Path) -> None:
    def colour(ds: Dataset) -> None:
        ds.PhotometricInterpretation = "PALETTE COLOR"
        for name in ("Red", "Green", "Blue"):
            setattr(ds, f"{name}PaletteColorLookupTableDescriptor", [256, 0, 16])
            ds.add_new(f"{name}PaletteColorLookupTableData", "OW", bytes(512))

    image = read_dynamic(edited_file(tmp_path / "a.dcm", colour)).image
    np.testing.assert_array_equal(image.counts[8], value_of(1, 1, 8))


def test_scaled_and_full_pixels_are_said(tmp_path: Path) -> None:
    def scale(ds: Dataset) -> None:
        ds.RescaleSlope, ds.RescaleIntercept = 2, 1
        values = np.stack([value_of(1, 1, n) for n in range(9)])
        values[4, 1, 1:3] = 65535
        ds.PixelData = values.astype("<u2").tobytes()

    image = read_dynamic(edited_file(tmp_path / "a.dcm", scale)).image
    assert image.counts[2, 3, 4] == 2 * value_of(1, 1, 2)[3, 4] + 1
    assert any("scales its pixels" in said for said in image.cautions)
    assert any("Up to 2 pixel(s)" in said for said in image.cautions)


def test_other_files(tmp_path: Path) -> None:
    ct = written(tmp_path / "ct")[0]
    with pytest.raises(ImageError, match="not of a gamma camera"):
        read_dynamic(ct)
    with pytest.raises(ImageError, match="not of a gamma camera"):
        read_dynamic(tmp_path / "ct")
    text = tmp_path / "note.txt"
    text.write_text("no study")
    with pytest.raises(ImageError, match="not a DICOM file"):
        read_dynamic(text)
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(ImageError, match="is empty"):
        read_dynamic(empty)
    with pytest.raises(ImageError, match="cannot be read"):
        read_dynamic(tmp_path / "nothing.dcm")
    report = dcmread(ct)
    del report.PixelData, report.Rows
    report.Modality = "NM"
    report.SOPClassUID = report.file_meta.MediaStorageSOPClassUID = BasicTextSRStorage
    report.save_as(tmp_path / "report.dcm")
    with pytest.raises(ImageError, match="holds no pictures"):
        read_dynamic(tmp_path / "report.dcm")


@pytest.mark.parametrize("reading", [{"view": "below"}, {"left_at": "up"}])
def test_statements_out_of_the_world(tmp_path: Path, reading: dict[str, str]) -> None:
    with pytest.raises(InputError, match="was stated"):
        read_dynamic(camera_file(tmp_path / "a.dcm"), **reading)  # type: ignore[arg-type]


def test_damaged_files_are_refused_or_read_right(tmp_path: Path) -> None:
    """Whatever bytes change, it is a sentence that names nobody, or sound frames."""
    whole = camera_file(tmp_path / "whole.dcm", phases=(*PHASES, PhaseOf(3, 20_000))).read_bytes()
    rng = np.random.default_rng(11)
    refused = 0
    for number in range(120):
        spoilt = bytearray(
            whole[: int(rng.integers(200, len(whole)))] if number % 3 == 0 else whole
        )
        for place in rng.integers(132, len(spoilt), 4):
            spoilt[int(place)] = int(rng.integers(0, 256))
        path = tmp_path / f"{number}.dcm"
        path.write_bytes(spoilt)
        try:
            image = read_dynamic(path).image
        except InputError as error:
            refused += 1
            assert "Quorn" not in str(error)  # noqa: PT017 - either outcome is sound
        else:
            assert image.counts.shape[1:] == SHAPE
            assert image.counts.shape[0] == image.starts_s.size >= len(STARTS_S)
            assert (image.counts >= 0).all()
    assert 40 <= refused < 120
