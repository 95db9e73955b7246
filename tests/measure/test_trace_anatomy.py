"""Whole artificial abdomens: bone, vessels, bowel, bladder, walls and gaps all at once.

The truth is the phantom's own geometry (`thalweg.phantom`), which the tracer never sees. Courses
here are drawn from seeds that no setting was tuned on.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from thalweg.measure.trace import trace_ureter
from thalweg.phantom.courses import USUAL
from thalweg.phantom.curves import Spline
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult
from thalweg.phantom.tube import Gap, Narrowing, Tube

if TYPE_CHECKING:
    from thalweg.measure.course import Course


def ureter(seed: int, sign: float, gap: Gap, narrowing: Narrowing) -> Tube:
    rng = np.random.default_rng(seed)
    points = np.asarray(USUAL) * (sign, 1.0, 1.0)
    points[1:-1] += rng.normal(0.0, 1.3, (len(points) - 2, 3))
    knots = tuple((float(s), float(rng.uniform(3.2, 4.8))) for s in np.linspace(0, 240, 8))
    return Tube(
        Spline(tuple((float(x), float(y), float(z)) for x, y, z in points)),
        calibre_mm=knots,
        gaps=(gap,),
        narrowings=(narrowing,),
        wall_mm=1.0,
        taper_mm=3.0,
    )


@cache
def phantom() -> Phantom:
    spec = replace(
        adult(),
        left=ureter(501, 1.0, Gap(70.0, 93.0), Narrowing(125.0, 135.0, 1.6)),
        right=ureter(502, -1.0, Gap(60.0, 98.0), Narrowing(30.0, 38.0, 1.8)),
    )
    return render(
        spec,
        spacing_mm=(1.5, 0.75, 0.75),
        low_mm=(-88.0, -45.0, -165.0),
        high_mm=(88.0, 70.0, 90.0),
        noise_hu=17.0,
        seed=503,
    )


@cache
def traced(side: str) -> tuple[Tube, Course]:
    tube = phantom().truth.left if side == "left" else phantom().truth.right
    ends = tube.centreline.points_mm[[0, -1]]
    return tube, trace_ureter(phantom().volume, *ends)


@pytest.mark.parametrize(
    ("side", "length_share", "mean_mm", "greatest_mm"),
    [("left", 0.005, 0.3, 2.0), ("right", 0.015, 0.6, 4.0)],
)
def test_length_and_course(
    side: str, length_share: float, mean_mm: float, greatest_mm: float
) -> None:
    tube, course = traced(side)
    away = cKDTree(tube.centreline.points_mm).query(course.points_mm)[0]
    assert abs(course.length_mm / tube.length_mm - 1) < length_share
    assert away.mean() < mean_mm
    assert away.max() < greatest_mm
    assert abs(course.length_mm - tube.length_mm) < 2 * course.length_sd_mm


@pytest.mark.parametrize("side", ["left", "right"])
def test_gap_narrowing_and_calibre(side: str) -> None:
    tube, course = traced(side)
    line = tube.centreline
    station = line.station_mm[cKDTree(line.points_mm).query(course.points_mm)[1]]
    lumen = tube.lumen_at(station)
    known = np.isfinite(course.calibre_mm)
    off = np.abs(course.calibre_mm - lumen)[known & (lumen >= 2.5)]
    assert np.percentile(off, 95) < 0.4
    (gap,) = tube.gaps
    within = (station > gap.from_mm) & (station < gap.to_mm)
    assert not known[within].any()
    (found,) = course.gaps
    assert found.from_mm == pytest.approx(gap.from_mm, abs=2.5)
    assert found.to_mm == pytest.approx(gap.to_mm, abs=2.5)
    (truth,) = tube.narrowings
    (narrow,) = course.narrowings
    assert narrow.from_mm < (truth.from_mm + truth.to_mm) / 2 < narrow.to_mm
    assert narrow.least_calibre_mm == pytest.approx(truth.least_diameter_mm, abs=0.5)


@pytest.mark.parametrize("side", ["left", "right"])
def test_ends_placed_a_little_off_move_the_length_by_no_more_than_they_are_off(side: str) -> None:
    tube, exact = traced(side)
    ends = tube.centreline.points_mm[[0, -1]]
    rng = np.random.default_rng(504)
    off = rng.normal(0.0, 1.0, (2, 3))
    course = trace_ureter(phantom().volume, *(ends + off))
    moved = np.linalg.norm(off, axis=1).sum()
    assert abs(course.length_mm - exact.length_mm) < moved + 0.5
    assert len(course.gaps) == len(exact.gaps)
