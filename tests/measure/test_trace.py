"""Traced courses against curves whose length, place and calibre are known in closed form.

Lengths: line, arc (radius times angle), helix (turns times hypot(2 pi radius, pitch)); radius of
curvature of a helix: radius + (pitch / 2 pi)^2 / radius. All elementary geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from tests.support import tubes

from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from thalweg.measure.course import Course

Array = NDArray[np.float64]

FINE = (1.0, 0.72, 0.72)
THICK = (3.0, 0.72, 0.72)
ROUND = tubes.constant(2.1)
FULL = tubes.constant(420.0)


@dataclass(frozen=True, eq=False)
class Case:
    tube: tubes.Tube
    volume: ImageVolume
    length_mm: float

    @property
    def ends(self) -> tuple[Array, Array]:
        return self.tube.points_mm[0], self.tube.points_mm[-1]

    def traced(self) -> Course:
        return trace_ureter(self.volume, *self.ends)


def made(
    points: Array,
    length_mm: float,
    spacing: tuple[float, float, float] = FINE,
    *,
    radius: tubes.Along = ROUND,
    contrast: tubes.Along = FULL,
    axes: Array | None = None,
    shear: float = 0.0,
    seed: int = 3,
) -> Case:
    tube = tubes.Tube(points, radius, contrast)
    shape, to_lps = tubes.grid(points, spacing, axes=axes, shear=shear)
    volume = tubes.render([tube], shape, to_lps, noise_hu=17.0, seed=seed)
    return Case(tube, volume, length_mm)


def shut(start: float, end: float, hu: float = 420.0) -> tubes.Along:
    return lambda s: np.where((s > start) & (s < end), 0.0, hu)


def distances(course: Course, truth: Array) -> Array:
    fine = np.stack(
        [np.interp(np.linspace(0, 1, 20000), np.linspace(0, 1, len(truth)), a) for a in truth.T], 1
    )
    return np.asarray(cKDTree(fine).query(course.points_mm)[0])


HELIX = tubes.helix(11.0, 46.0, 2.5)
HELIX_MM = 2.5 * float(np.hypot(2 * np.pi * 11, 46))


@cache
def helix_case() -> Case:
    return made(HELIX, HELIX_MM)


@cache
def helix_course() -> Course:
    return helix_case().traced()


@pytest.mark.parametrize(
    ("points", "length_mm"),
    [
        pytest.param(tubes.line(110.0, (0.3, -0.2, -1.0)), 110.0, id="line"),
        pytest.param(tubes.arc(45.0, 2.3), 45.0 * 2.3, id="arc"),
        pytest.param(HELIX, HELIX_MM, id="helix"),
    ],
)
def test_length_and_place_of_known_curves(points: Array, length_mm: float) -> None:
    course = made(points, length_mm).traced()
    away = distances(course, points)
    assert course.length_mm == pytest.approx(length_mm, rel=0.005)
    assert away.mean() < 0.3
    assert away.max() < 1.0
    assert course.gaps == ()
    assert course.chord_mm == pytest.approx(np.linalg.norm(points[-1] - points[0]), abs=1.0)
    assert course.tortuosity == pytest.approx(course.length_mm / course.chord_mm)
    assert course.station_mm[-1] == pytest.approx(course.length_mm)
    assert len(course.points_mm) == len(course.station_mm) == len(course.calibre_mm)
    assert np.linalg.norm(course.points_mm[0] - points[0]) < 1.0
    assert np.linalg.norm(course.points_mm[-1] - points[-1]) < 1.0


def test_thick_planes_cost_little() -> None:
    case = made(HELIX, HELIX_MM, THICK)
    course = case.traced()
    assert course.length_mm == pytest.approx(HELIX_MM, rel=0.01)
    truth = 4.2
    off = np.abs(course.calibre_mm - truth)
    assert np.nanpercentile(off, 95) < 0.8
    assert any("3.0 mm" in caution for caution in course.cautions)


def test_bend_radius_of_a_helix_and_of_a_line() -> None:
    course = helix_course()
    truth = 11.0 + (46.0 / (2 * np.pi)) ** 2 / 11.0
    inner = course.bend_radius_mm[8:-8]
    assert np.median(inner) == pytest.approx(truth, rel=0.05)
    assert course.least_bend_radius_mm == pytest.approx(truth, rel=0.25)
    assert any("it may be tighter" in caution for caution in course.cautions)
    straight = made(tubes.line(90.0), 90.0).traced()
    assert not any("it may be tighter" in caution for caution in straight.cautions)
    assert straight.least_bend_radius_mm > 80


@pytest.mark.parametrize("diameter_mm", [2.5, 3.6, 5.5, 9.0])
def test_calibre_of_a_plain_tube(diameter_mm: float) -> None:
    points = tubes.arc(70.0, 1.1)
    course = made(points, 77.0, radius=tubes.constant(diameter_mm / 2)).traced()
    off = course.calibre_mm - diameter_mm
    assert np.isfinite(off).mean() > 0.9
    assert np.nanpercentile(np.abs(off), 95) < 0.4
    assert not course.narrowings


def test_calibre_follows_a_changing_tube_and_finds_its_narrowing() -> None:
    def radius(s: Array) -> Array:
        return 2.4 - 1.5 * np.exp(-(((s - 55.0) / 4.0) ** 2))

    points = tubes.arc(80.0, 1.4)
    course = made(points, 112.0, radius=radius).traced()
    truth = 2 * radius(course.station_mm)
    wide = truth > 2.5
    assert np.nanpercentile(np.abs(course.calibre_mm - truth)[wide], 95) < 0.4
    (narrow,) = course.narrowings
    assert narrow.from_mm < 55.0 < narrow.to_mm
    assert narrow.least_calibre_mm == pytest.approx(1.8, abs=0.4)
    assert narrow.reference_calibre_mm == pytest.approx(4.8, abs=0.4)
    assert not narrow.less_than
    assert any("cannot tell apart" in caution for caution in course.cautions)


def test_a_gap_is_bridged_and_flagged_and_has_no_calibre() -> None:
    points = tubes.arc(60.0, 2.0)
    course = made(points, 120.0, contrast=shut(40.0, 63.0)).traced()
    (gap,) = course.gaps
    assert gap.from_mm == pytest.approx(40.0, abs=1.5)
    assert gap.to_mm == pytest.approx(63.0, abs=1.5)
    inside = (course.station_mm > 40.3) & (course.station_mm < 62.7)
    assert np.isnan(course.calibre_mm[inside]).all()
    assert np.isnan(course.calibre_upper_mm[inside]).all()
    assert not course.narrowings
    assert course.length_mm == pytest.approx(120.0, rel=0.005)
    assert any("narrow or unopacified" in caution for caution in course.cautions)


def test_a_long_gap_in_a_bent_ureter_stays_within_its_bounds() -> None:
    points = tubes.arc(50.0, 2.8)
    whole = made(points, 140.0).traced()
    course = made(points, 140.0, contrast=shut(45.0, 87.0)).traced()
    assert course.length_mm == pytest.approx(140.0, rel=0.015)
    assert distances(course, points).max() < 4.0
    assert course.length_sd_mm > whole.length_sd_mm


def test_mostly_empty_ureter_is_returned_with_a_strong_caution() -> None:
    course = made(tubes.line(120.0), 120.0, contrast=shut(20.0, 105.0)).traced()
    assert any("most of the course is bridged" in caution for caution in course.cautions)
    assert course.length_mm == pytest.approx(120.0, rel=0.02)


def test_wholly_empty_ureter_says_that_nothing_was_measured() -> None:
    course = made(tubes.line(100.0), 100.0, contrast=tubes.constant(0.0)).traced()
    (gap,) = course.gaps
    assert gap.from_mm == 0.0
    assert gap.to_mm == pytest.approx(course.length_mm)
    assert np.isnan(course.calibre_mm).all()
    assert any("Nothing along the course is opacified" in caution for caution in course.cautions)


def test_same_image_same_course_to_the_last_digit() -> None:
    again = helix_case().traced()
    assert np.array_equal(again.points_mm, helix_course().points_mm)
    assert np.array_equal(again.calibre_mm, helix_course().calibre_mm, equal_nan=True)


def test_reversed_direction_gives_the_same_length() -> None:
    start, end = helix_case().ends
    middle = HELIX[len(HELIX) // 2]  # without it, a course that runs upward is refused
    back = trace_ureter(helix_case().volume, end, start, [middle])
    assert back.length_mm == pytest.approx(helix_course().length_mm, abs=0.1)
    assert np.linalg.norm(back.points_mm[::-1] - helix_course().points_mm, axis=1).max() < 0.3


def test_moving_image_and_points_together_changes_nothing() -> None:
    volume = helix_case().volume
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_euler("xyz", [20, -35, 70], degrees=True).as_matrix()
    motion[:3, 3] = (120.0, -40.0, 900.0)
    moved = ImageVolume(values=volume.values, to_lps=motion @ volume.to_lps)
    ends = [motion[:3, :3] @ end + motion[:3, 3] for end in helix_case().ends]
    course = trace_ureter(moved, *ends)
    assert course.length_mm == pytest.approx(helix_course().length_mm, abs=0.1)


def test_mirrored_image_gives_the_mirrored_course() -> None:
    volume = helix_case().volume
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    mirrored = ImageVolume(values=volume.values, to_lps=mirror @ volume.to_lps)
    ends = [end * (-1.0, 1.0, 1.0) for end in helix_case().ends]
    course = trace_ureter(mirrored, *ends)
    assert course.length_mm == pytest.approx(helix_course().length_mm, abs=0.1)
    assert np.abs(course.points_mm * (-1.0, 1.0, 1.0) - helix_course().points_mm).max() < 0.3


@pytest.mark.parametrize(
    ("spacing", "degrees", "shear"),
    [
        pytest.param((1.5, 0.9, 0.6), (0, 0, 0), 0.0, id="oblong pixels"),
        pytest.param(FINE, (25, -30, 15), 0.0, id="oblique"),
        pytest.param((1.25, 0.75, 0.75), (0, 0, 0), 0.35, id="tilted gantry"),
    ],
)
def test_other_grids_see_the_same_course(
    spacing: tuple[float, float, float], degrees: tuple[float, float, float], shear: float
) -> None:
    upright = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]])
    axes = Rotation.from_euler("xyz", degrees, degrees=True).as_matrix() @ upright
    course = made(HELIX, HELIX_MM, spacing, axes=axes, shear=shear).traced()
    assert course.length_mm == pytest.approx(HELIX_MM, rel=0.005)
    assert distances(course, HELIX).mean() < 0.3
    assert np.nanpercentile(np.abs(course.calibre_mm - 4.2), 95) < 0.4


def test_ends_placed_beside_the_ureter_do_not_lengthen_it() -> None:
    start, end = helix_case().ends
    beside = np.array([1.3, 1.2, 0.0])
    course = trace_ureter(helix_case().volume, start + beside, end - beside)
    assert course.length_mm == pytest.approx(HELIX_MM, rel=0.01)


def test_a_course_placed_by_hand_is_measured_like_a_traced_one() -> None:
    case = helix_case()
    rng = np.random.default_rng(8)
    every = HELIX[:: len(HELIX) // 30] + rng.normal(0, 0.3, (len(HELIX[:: len(HELIX) // 30]), 3))
    course = course_from_points(every, case.volume)
    assert course.length_mm == pytest.approx(HELIX_MM, rel=0.02)
    assert np.nanmedian(course.calibre_mm) == pytest.approx(4.2, abs=0.3)
    assert course.length_sd_mm > helix_course().length_sd_mm
    assert any("placed by hand" in caution for caution in course.cautions)


def test_a_course_placed_by_hand_without_an_image_has_no_calibre() -> None:
    course = course_from_points([[0, 0, 0], [0, 3, -40], [5, 3, -80]])
    assert np.isnan(course.calibre_mm).all()
    assert not course.gaps
    assert not course.narrowings
    assert any("are not known" in caution for caution in course.cautions)
    assert course_from_points([[0, 0, 0], [3, 4, 12]]).length_mm == pytest.approx(13.0)
