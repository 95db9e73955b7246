"""What lies beside or in a ureter must not draw its course away nor pass for its calibre."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from tests.support import tubes

from thalweg.measure.trace import trace_ureter

if TYPE_CHECKING:
    from thalweg.measure.course import Course

Array = NDArray[np.float64]

LENGTH_MM = 126.0
COURSE = tubes.arc(70.0, LENGTH_MM / 70.0)
GAP = (45.0, 80.0)
SPACING = (1.2, 0.74, 0.74)


def gapped(s: Array) -> Array:
    return np.where((s > GAP[0]) & (s < GAP[1]), 0.0, 400.0)


def beside(offset_mm: float) -> Array:
    """The course's own arc about the same centre, wider or narrower by an offset."""
    angle = np.linspace(-0.05, LENGTH_MM / 70.0 + 0.05, 900)
    radius = 70.0 + offset_mm
    return np.stack([70 - radius * np.cos(angle), 0 * angle, -radius * np.sin(angle)], axis=1)


def traced(ureter: tubes.Tube, others: list[tubes.Tube], tissue: float | Array = 40.0) -> Course:
    shape, to_lps = tubes.grid(COURSE, SPACING, margin_mm=34.0)
    volume = tubes.render([ureter, *others], shape, to_lps, noise_hu=16.0, tissue_hu=tissue)
    return trace_ureter(volume, COURSE[0], COURSE[-1])


def farthest(course: Course) -> float:
    return float(cKDTree(COURSE).query(course.points_mm)[0].max())


def test_an_enhanced_vessel_beside_a_gap_is_not_followed() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(1.8), gapped)
    vessel = tubes.Tube(beside(6.0), tubes.constant(2.5), tubes.constant(110.0))  # 150 HU
    course = traced(ureter, [vessel])
    (gap,) = course.gaps
    assert gap.from_mm < GAP[0] + 2
    assert gap.to_mm > GAP[1] - 2
    assert farthest(course) < 2.0
    assert abs(course.length_mm / LENGTH_MM - 1) < 0.01


def test_bone_beside_a_gap_is_not_followed() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(1.8), gapped)
    bone = tubes.Tube(beside(-20.0), tubes.constant(15.0), tubes.constant(560.0))  # 600 HU
    course = traced(ureter, [bone])
    assert farthest(course) < 2.0
    assert abs(course.length_mm / LENGTH_MM - 1) < 0.01
    assert len(course.gaps) == 1


def test_bone_against_a_filled_ureter_spoils_neither_course_nor_calibre() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(2.0), tubes.constant(400.0))
    bone = tubes.Tube(beside(-18.5), tubes.constant(14.5), tubes.constant(560.0))  # 2 mm apart
    course = traced(ureter, [bone])
    assert farthest(course) < 0.6
    assert np.nanpercentile(np.abs(course.calibre_mm - 4.0), 95) < 0.5
    assert not course.gaps


def test_a_stone_in_the_lumen_is_passed_and_hides_the_calibre() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(2.2), tubes.constant(350.0))
    stone = COURSE[(np.arange(len(COURSE)) > 390) & (np.arange(len(COURSE)) < 420)]
    course = traced(ureter, [tubes.Tube(stone, tubes.constant(2.0), tubes.constant(900.0))])
    where = LENGTH_MM * 405 / 799
    assert farthest(course) < 0.5
    assert np.isnan(course.calibre_mm[np.abs(course.station_mm - where) < 1.5]).all()
    assert np.nanpercentile(np.abs(course.calibre_mm - 4.4), 95) < 0.4
    (found,) = course.stones
    assert found.from_mm < where < found.to_mm
    assert any(caution.startswith("A stone") for caution in course.cautions)


def test_a_stone_outside_the_ureter_does_not_draw_a_gap_to_itself() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(1.8), gapped)
    aside = beside(5.0)[440:464]
    phlebolith = tubes.Tube(aside, tubes.constant(1.8), tubes.constant(1000.0))
    course = traced(ureter, [phlebolith])
    assert farthest(course) < 2.5
    assert abs(course.length_mm / LENGTH_MM - 1) < 0.01
    (gap,) = course.gaps
    inside = (course.station_mm > gap.from_mm) & (course.station_mm < gap.to_mm)
    assert np.isnan(course.calibre_mm[inside]).all()


def test_a_stent_is_followed_but_is_not_the_calibre() -> None:
    ureter = tubes.Tube(COURSE, tubes.constant(1.1), tubes.constant(2900.0))
    course = traced(ureter, [])
    assert farthest(course) < 0.5
    assert np.isnan(course.calibre_mm).mean() > 0.9
    assert any("stent" in caution for caution in course.cautions)


def test_a_kink_in_a_gap_is_followed_where_the_empty_ureter_shows_in_fat() -> None:
    t = np.linspace(0.0, 130.0, 1300)
    sway = 5.0 * np.exp(-(((t - 65.0) / 12.0) ** 2))
    points = np.stack([sway, 0.3 * sway, -t], axis=1)
    arc_mm = tubes.Tube(points, tubes.constant(1), tubes.constant(0)).station_mm
    cord = tubes.Tube(points, tubes.constant(2.2), tubes.constant(140.0))  # 40 HU in fat

    def lumen(s: Array) -> Array:
        return np.where((s > 46.0) & (s < 86.0), 0.0, 360.0)

    shape, to_lps = tubes.grid(points, SPACING)
    ureter = tubes.Tube(points, tubes.constant(1.6), lumen)
    volume = tubes.render([cord, ureter], shape, to_lps, noise_hu=16.0, tissue_hu=-100.0)
    course = trace_ureter(volume, points[0], points[-1])
    assert cKDTree(points).query(course.points_mm)[0].max() < 1.0
    assert abs(course.length_mm / arc_mm[-1] - 1) < 0.005
    assert any("follows a cord" in caution for caution in course.cautions)
    (gap,) = course.gaps
    assert abs(gap.length_mm - 40.0) < 3.0


def test_a_fine_stricture_is_said_to_be_narrow_or_unopacified_never_measured() -> None:
    def radius(s: Array) -> Array:
        return np.where((s > 60.0) & (s < 72.0), 0.4, 2.2)

    course = traced(tubes.Tube(COURSE, radius, tubes.constant(400.0)), [])
    inside = (course.station_mm > 61.0) & (course.station_mm < 71.0)
    assert np.isnan(course.calibre_mm[inside]).all()
    assert any("cannot tell apart" in caution for caution in course.cautions)
    assert all(narrow.less_than for narrow in course.narrowings)
    assert course.gaps or course.narrowings


def test_the_renal_pelvis_and_the_bladder_add_nothing() -> None:
    def radius(s: Array) -> Array:
        pelvis = 9.0 * np.exp(-((s / 7.0) ** 2))
        bladder = 16.0 * np.exp(-(((s - LENGTH_MM) / 8.0) ** 2))
        return 1.9 + pelvis + bladder

    course = traced(tubes.Tube(COURSE, radius, tubes.constant(400.0)), [])
    assert abs(course.length_mm / LENGTH_MM - 1) < 0.01
    assert farthest(course) < 2.0
    assert not course.narrowings
