"""What is written is what is read: voxel values exactly, coordinates to the digits of DICOM."""

from __future__ import annotations

import random
import tempfile
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from tests.support.dicom_series import PERSON, artificial, matrix, written

from thalweg.errors import InputError
from thalweg.exchange.dicom import read_volume, survey

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

COORDINATE_TOLERANCE_MM = 1e-7
"""A DICOM decimal string has 16 characters (PS3.5 section 6.2), sign, point and exponent among
them: at least ten decimals of a cosine (times some hundred mm) and nine of a coordinate."""


def same_place(read: ImageVolume, wrote: ImageVolume) -> None:
    """Every voxel read lies where the voxel of equal value was written."""
    along = float(
        wrote.to_lps[:3, 0] @ np.cross(wrote.to_lps[:3, 2], wrote.to_lps[:3, 1])
    )  # the reader lets planes rise along the slice normal
    values, corner = (wrote.values, 0) if along > 0 else (wrote.values[::-1], wrote.shape[0] - 1)
    assert read.values.dtype == np.int16
    np.testing.assert_array_equal(read.values, values)
    ends = np.array([[0, 0, 0], [read.shape[0] - 1, 0, 0], [0, *read.shape[1:]]], dtype=float)
    expected = ends.copy()
    if corner:
        expected[:, 0] = corner - ends[:, 0]
    np.testing.assert_allclose(
        read.point_of(ends), wrote.point_of(expected), atol=COORDINATE_TOLERANCE_MM, rtol=0
    )


TURNED = {
    "axial": np.eye(3),
    "coronal": Rotation.from_euler("x", 90, degrees=True).as_matrix(),
    "sagittal": Rotation.from_euler("y", 90, degrees=True).as_matrix(),
    "oblique": Rotation.from_euler("xyz", [20, -35, 50], degrees=True).as_matrix(),
    "head first prone": np.diag([-1.0, -1.0, 1.0]),
}


@pytest.mark.parametrize("name", TURNED)
def test_volume_survives_in_every_direction(tmp_path: Path, name: str) -> None:
    volume = artificial(to_lps=matrix(rotation=TURNED[name]))
    written(tmp_path / "s", volume)
    same_place(read_volume(tmp_path / "s"), volume)


@pytest.mark.parametrize(
    ("name", "orientation"),
    [
        ("axial", "axial"),
        ("coronal", "coronal"),
        ("sagittal", "sagittal"),
        ("oblique", "oblique"),
        ("head first prone", "axial"),
    ],
)
def test_orientation_is_named(tmp_path: Path, name: str, orientation: str) -> None:
    written(tmp_path / "s", artificial(to_lps=matrix(rotation=TURNED[name])))
    assert survey(tmp_path / "s").orientation == orientation


def test_planes_written_from_the_head_down_are_read_from_the_feet_up(tmp_path: Path) -> None:
    volume = artificial(to_lps=matrix(spacing_mm=(-2.0, 0.75, 0.5)))
    written(tmp_path / "s", volume)
    read = read_volume(tmp_path / "s")
    same_place(read, volume)
    assert read.to_lps[2, 0] == 2.0


def test_sheared_stack_keeps_its_coordinates(tmp_path: Path) -> None:
    to_lps = matrix()
    to_lps[1, 0] = 0.5  # each plane half a millimetre further back
    volume = artificial(to_lps=to_lps)
    written(tmp_path / "s", volume)
    same_place(read_volume(tmp_path / "s"), volume)


def test_file_names_carry_no_order(tmp_path: Path) -> None:
    volume = artificial((12, 4, 4))
    paths = written(tmp_path / "s", volume)
    assert paths != sorted(paths)
    names = [f"{number:03d}" for number in range(len(paths))]
    random.Random(7).shuffle(names)
    for path, name in zip(paths, names, strict=True):
        path.rename(path.with_name(name))
    same_place(read_volume(tmp_path / "s"), volume)


def test_sub_folders_are_searched(tmp_path: Path) -> None:
    volume = artificial()
    paths = written(tmp_path / "s", volume)
    (tmp_path / "s" / "deeper").mkdir()
    paths[2].rename(tmp_path / "s" / "deeper" / "x")
    same_place(read_volume(tmp_path / "s"), volume)


def test_extremes_of_int16_survive(tmp_path: Path) -> None:
    volume = artificial()
    values = volume.values.copy()
    values[0, 0, :2] = [-32768, 32767]
    volume = replace(volume, values=values)
    written(tmp_path / "s", volume)
    same_place(read_volume(tmp_path / "s"), volume)


def test_survey_tells_what_was_written(tmp_path: Path) -> None:
    paths = written(tmp_path / "s")
    found = survey(tmp_path / "s")
    assert list(found.files) == paths
    assert found.shape == (5, 6, 8)
    np.testing.assert_array_equal(found.spacing_mm, [2.0, 0.75, 0.5])
    assert found.acquired == "2026-02-03T14:05:06+00:00"
    assert found.modality == "CT"
    assert found.patient.patient_id == PERSON.patient_id
    assert found.patient.birth_date == "19510309"
    assert found.patient.sex == "F"
    assert found.cautions == ()
    assert PERSON.patient_id not in repr(found)


def test_artificial_image_is_known_as_one(tmp_path: Path) -> None:
    written(tmp_path / "s")
    assert survey(tmp_path / "s").phantom
    assert read_volume(tmp_path / "s").phantom


def test_volume_carries_what_the_survey_found(tmp_path: Path) -> None:
    written(tmp_path / "s", artificial((4, 3, 3), matrix(spacing_mm=(4.0, 1.0, 1.0))))
    found = survey(tmp_path / "s")
    read = read_volume(found)
    assert (read.series_uid, read.acquired, read.cautions) == (
        found.series_uid,
        found.acquired,
        found.cautions,
    )
    assert found.cautions


def test_equal_input_gives_equal_bytes(tmp_path: Path) -> None:
    first, second = written(tmp_path / "a"), written(tmp_path / "b")
    assert [path.name for path in first] == [path.name for path in second]
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def test_series_of_one_study_share_study_and_frame_of_reference(tmp_path: Path) -> None:
    written(tmp_path / "a")
    written(tmp_path / "b", description="Portal venous", series_number=2)
    one, two = survey(tmp_path / "a"), survey(tmp_path / "b")
    assert one.study_uid == two.study_uid
    assert one.series_uid != two.series_uid


def test_other_voxels_make_another_series(tmp_path: Path) -> None:
    volume = artificial()
    written(tmp_path / "a", volume)
    written(tmp_path / "b", replace(volume, values=volume.values + np.int16(1)))
    assert survey(tmp_path / "a").series_uid != survey(tmp_path / "b").series_uid


@pytest.mark.parametrize(
    ("volume", "changes", "said"),
    [
        (replace(artificial(), phantom=False), {}, "artificial"),
        (replace(artificial(), modality="MR"), {}, "CT series"),
        (replace(artificial(), values=np.zeros((3, 3, 3), np.float32)), {}, "int16"),
        (artificial(), {"study_at": datetime(2026, 2, 3)}, "timezone"),  # noqa: DTZ001
        (artificial(), {"person": replace(PERSON, patient_id="")}, "patient ID"),
        (artificial(), {"description": "x" * 60}, "description"),
    ],
)
def test_writer_refuses_what_would_not_be_valid(
    tmp_path: Path, volume: ImageVolume, changes: dict[str, object], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        written(tmp_path / "s", volume, **changes)
    assert not (tmp_path / "s").exists()


def test_writer_refuses_skewed_planes(tmp_path: Path) -> None:
    to_lps = matrix()
    to_lps[0, 1] = 0.1
    with pytest.raises(ValueError, match="right angles"):
        written(tmp_path / "s", artificial(to_lps=to_lps))


def test_writer_leaves_a_used_folder_alone(tmp_path: Path) -> None:
    (tmp_path / "note").write_text("mine")
    with pytest.raises(InputError, match="already in use"):
        written(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["note"]


def test_interrupted_writing_leaves_nothing(tmp_path: Path) -> None:
    def stop(label: str, done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        written(tmp_path / "s", progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_progress_reaches_its_total(tmp_path: Path) -> None:
    seen: list[tuple[str, int, int]] = []

    def watch(label: str, done: int, total: int) -> None:
        seen.append((label, done, total))

    written(tmp_path / "s", progress=watch)
    read_volume(tmp_path / "s", progress=watch)
    for label in ("writing images", "reading headers", "reading images"):
        assert [(done, total) for said, done, total in seen if said == label] == [
            (done, 5) for done in range(1, 6)
        ]


angles = st.floats(-180, 180, allow_nan=False)
gaps = st.floats(0.3, 6, allow_nan=False)
places = st.floats(-900, 900, allow_nan=False)


@settings(max_examples=25, deadline=None)
@given(
    shape=st.tuples(st.integers(3, 6), st.integers(1, 6), st.integers(1, 6)),
    spacing=st.tuples(gaps, gaps, gaps),
    origin=st.tuples(places, places, places),
    turn=st.tuples(angles, angles, angles),
    down=st.booleans(),
)
def test_any_volume_survives(
    shape: tuple[int, int, int],
    spacing: tuple[float, float, float],
    origin: tuple[float, float, float],
    turn: tuple[float, float, float],
    down: bool,
) -> None:
    rotation = Rotation.from_euler("xyz", turn, degrees=True).as_matrix()
    signed = (-spacing[0] if down else spacing[0], spacing[1], spacing[2])
    volume = artificial(shape, matrix(signed, origin, rotation))
    with tempfile.TemporaryDirectory() as folder:
        written(Path(folder) / "s", volume)
        same_place(read_volume(Path(folder) / "s"), volume)


def test_time_keeps_its_offset(tmp_path: Path) -> None:
    written(tmp_path / "s", study_at=datetime.fromisoformat("2026-07-01T08:09:10-03:30"))
    assert survey(tmp_path / "s").acquired == "2026-07-01T08:09:10-03:30"
