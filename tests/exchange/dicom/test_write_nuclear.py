"""Artificial renograms through real files, judged by dicom3tools, SimpleITK (GDCM) and pydicom."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom import dcmread
from tests.support.simpleitk_witness import sitk
from tests.support.toolkits import toolkit

from thalweg.errors import InputError
from thalweg.exchange.dicom import InventedPerson, read_dynamic, write_dynamic
from thalweg.record.renogram import DynamicImage

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

PERSON = InventedPerson("RG-0042", "Example^Ines", date(1972, 8, 9), "F")
AT = datetime(2026, 3, 1, 8, 30, tzinfo=UTC)


def artificial_frames(
    starts_s: NDArray[np.float64], durations_s: NDArray[np.float64], **changes: object
) -> DynamicImage:
    """Return a picture with two sources that wash in and out, and counting noise."""
    rows, columns = np.mgrid[0:24, 0:32]
    means = sum(4.0 * np.exp(-((rows - 10) ** 2 + (columns - at) ** 2) / 18.0) for at in (9, 22))
    scale = durations_s * (1 - np.exp(-(starts_s + durations_s) / 60)) * np.exp(-starts_s / 900)
    counts = np.random.default_rng(5).poisson(means * scale[:, None, None])
    settings = {
        "view": "posterior",
        "left_at": "left",
        "pixel_mm": (4.0, 4.5),
        "tracer": "MAG3",
        "decay_corrected": False,
        "phantom": True,
    }
    return DynamicImage(counts.astype(np.float32), starts_s, durations_s, **{**settings, **changes})  # type: ignore[arg-type]


def usual_frames(**changes: object) -> DynamicImage:
    """Return 20 frames of 1 s, 18 of 10 s, 8 of 30 s after a pause for furosemide."""
    durations = np.repeat([1.0, 10.0, 30.0], [20, 18, 8])
    starts = np.concatenate([[0.0], np.cumsum(durations)[:-1]])
    starts[38:] += 45.0
    return artificial_frames(starts, durations, **changes)


def put(image: DynamicImage, path: Path, person: InventedPerson = PERSON) -> Path:
    write_dynamic(image, path, person=person, study_at=AT, description="Renogram", seed="tests")
    return path


@pytest.mark.parametrize(
    ("view", "left_at"), [("posterior", "left"), ("anterior", "right"), ("", "right"), ("", "")]
)
def test_dicom3tools_finds_no_fault(tmp_path: Path, view: str, left_at: str) -> None:
    file = put(usual_frames(view=view, left_at=left_at), tmp_path / "a.dcm")
    verdict = toolkit("dciodvfy", "-new", file)
    said = verdict.stdout + verdict.stderr
    assert verdict.returncode == 0, said
    assert "NMImage" in said
    assert "Error" not in said, said
    assert "Warning" not in said, said
    back = read_dynamic(file).image
    assert (back.view, back.left_at) == (view, left_at)


def test_there_and_back(tmp_path: Path) -> None:
    image = usual_frames()
    read = read_dynamic(put(image, tmp_path / "a.dcm"))
    back = read.image
    np.testing.assert_array_equal(back.counts, image.counts)
    np.testing.assert_array_equal(back.starts_s, image.starts_s)
    np.testing.assert_array_equal(back.durations_s, image.durations_s)
    assert (back.tracer, back.decay_corrected, back.phantom) == ("MAG3", False, True)
    assert back.half_life_s == image.half_life_s
    assert back.pixel_mm == (4.0, 4.5)
    assert back.acquired == AT.isoformat()
    assert back.cautions == ()
    assert read.patient.patient_id == "RG-0042"
    assert read.patient.birth_date == "19720809"
    bare = usual_frames(tracer="", pixel_mm=None, decay_corrected=None)
    back = read_dynamic(put(bare, tmp_path / "b.dcm")).image
    assert (back.tracer, back.pixel_mm, back.decay_corrected) == ("", None, None)


def test_others_read_the_same_pixels_and_times(tmp_path: Path) -> None:
    image = usual_frames()
    file = put(image, tmp_path / "a.dcm")
    theirs = sitk.GetArrayFromImage(sitk.ReadImage(str(file)))
    np.testing.assert_array_equal(theirs, image.counts)
    ds = dcmread(file)
    np.testing.assert_array_equal(ds.pixel_array, image.counts)
    phases = [
        (item.PhaseDelay, item.ActualFrameDuration, item.PauseBetweenFrames,
         item.NumberOfFramesInPhase)
        for item in ds.PhaseInformationSequence
    ]  # fmt: skip
    assert phases == [(0, 1000, 0, 20), (0, 10_000, 0, 18), (45_000, 30_000, 0, 8)]
    assert ds.CountsAccumulated == int(image.counts.sum())


@given(
    st.lists(
        st.tuples(st.integers(1, 60_000), st.integers(0, 5) | st.integers(0, 20_000)),
        min_size=2,
        max_size=8,
    )
)
def test_any_whole_milliseconds_come_back(
    tmp_path_factory: pytest.TempPathFactory, frames: list[tuple[int, int]]
) -> None:
    durations = np.array([lasting for lasting, _ in frames]) / 1000.0
    gaps = np.array([gap for _, gap in frames]) / 1000.0
    starts = np.concatenate([[0.0], np.cumsum(durations + gaps)[:-1]])
    image = DynamicImage(np.ones((len(frames), 2, 3), np.float32), starts, durations, phantom=True)
    back = read_dynamic(put(image, tmp_path_factory.mktemp("n") / "a.dcm")).image
    np.testing.assert_allclose(back.starts_s, starts, rtol=0, atol=1e-9)
    np.testing.assert_allclose(back.durations_s, durations, rtol=0, atol=1e-12)


def test_equal_input_gives_equal_bytes(tmp_path: Path) -> None:
    first, second = (put(usual_frames(), tmp_path / name) for name in ("a.dcm", "b.dcm"))
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.parametrize(
    ("changes", "word"),
    [({"phantom": False}, "artificial")],
)
def test_only_artificial_ones_are_written(
    tmp_path: Path, changes: dict[str, object], word: str
) -> None:
    with pytest.raises(ValueError, match=word):
        put(usual_frames(**changes), tmp_path / "a.dcm")
    assert not (tmp_path / "a.dcm").exists()


def test_what_does_not_fit_is_refused(tmp_path: Path) -> None:
    two = np.array([0.0, 1.0]), np.array([1.0, 1.0])
    for value, word in ((0.5, "whole"), (-1.0, "whole"), (70_000.0, "whole")):
        with pytest.raises(ValueError, match=word):
            put(
                DynamicImage(np.full((2, 2, 2), value, np.float32), *two, phantom=True),
                tmp_path / "a.dcm",
            )
    odd = np.array([0.0, 1.00005]), np.array([1.0, 1.0])
    with pytest.raises(ValueError, match="whole milliseconds"):
        put(DynamicImage(np.ones((2, 2, 2), np.float32), *odd, phantom=True), tmp_path / "a.dcm")
    close = np.array([0.0, 0.98]), np.array([1.0, 1.0])
    with pytest.raises(ValueError, match="overlap"):
        put(DynamicImage(np.ones((2, 2, 2), np.float32), *close, phantom=True), tmp_path / "a.dcm")
    put(usual_frames(), tmp_path / "a.dcm")
    with pytest.raises(InputError, match="is there already"):
        put(usual_frames(), tmp_path / "a.dcm")
