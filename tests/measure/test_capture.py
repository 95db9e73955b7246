"""A vessel that a gap could be bridged along is left out, and the course says so.

The truth is each scene's own geometry. No setting was tuned on the seeds used here.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from skimage import graph
from tests.support import tubes

from thalweg.measure.paths import cheapest_way
from thalweg.measure.trace import trace_ureter
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import hard_adult

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

LENGTH_MM = 130.0
GAP = (46.0, 84.0)
URETER = tubes.line(LENGTH_MM, (0.0, 0.0, -1.0))


def ureter() -> tubes.Tube:
    def lit(s: Array) -> Array:
        return np.where((s > GAP[0]) & (s < GAP[1]), 0.0, 300.0)

    return tubes.Tube(URETER, tubes.constant(1.7), lit)


def bowed(bow_mm: float, beyond_mm: float, off_mm: float) -> Array:
    """A tube beside both ends of the gap that bows away between them and goes on beyond."""
    t = np.linspace(GAP[0] - beyond_mm, GAP[1] + beyond_mm, 600)
    middle, half = np.mean(GAP), (GAP[1] - GAP[0]) / 2
    within = np.abs(t - middle) < half
    sway = np.where(within, bow_mm * np.cos(np.pi / 2 * (t - middle) / half) ** 2, 0.0)
    aside = np.maximum(np.abs(t - middle) - half, 0.0) * 0.8  # leaves the ureter beyond the gap
    return np.stack([off_mm + sway + aside, 0.1 * sway, -t], axis=1)


def with_vessel(above_hu: float, off_mm: float = 7.0) -> ImageVolume:
    vessel = tubes.Tube(bowed(12.0, 25.0, off_mm), tubes.constant(2.6), tubes.constant(above_hu))
    shape, to_lps = tubes.grid(URETER, (1.2, 0.74, 0.74), margin_mm=34.0)
    return tubes.render([ureter(), vessel], shape, to_lps, noise_hu=16.0, seed=641)


@pytest.mark.parametrize(
    ("above_hu", "off_mm"),
    [
        pytest.param(200.0, 7.0, id="fainter"),
        pytest.param(340.0, 7.0, id="brighter"),
        pytest.param(260.0, 5.0, id="touching both ends of the gap"),
    ],
)
def test_a_bright_vessel_that_bows_beside_a_gap_is_not_followed(
    above_hu: float, off_mm: float
) -> None:
    course = trace_ureter(with_vessel(above_hu, off_mm), URETER[0], URETER[-1])
    assert cKDTree(URETER).query(course.points_mm)[0].max() < 2.5
    assert course.length_mm == pytest.approx(LENGTH_MM, rel=0.01)
    (gap,) = course.gaps
    assert gap.length_mm == pytest.approx(GAP[1] - GAP[0], abs=5.0)


def test_the_vessel_left_out_is_said_and_widens_the_doubt() -> None:
    alone = tubes.grid(URETER, (1.2, 0.74, 0.74), margin_mm=34.0)
    plain = trace_ureter(tubes.render([ureter()], *alone, seed=641), URETER[0], URETER[-1])
    course = trace_ureter(with_vessel(340.0), URETER[0], URETER[-1])
    (said,) = [caution for caution in course.cautions if "second way was left out" in caution]
    assert "via point" in said
    assert "longer" in said
    assert course.length_sd_mm > plain.length_sd_mm + 0.2
    assert not any("second way" in caution for caution in plain.cautions)


def test_losing_a_tube_that_goes_on_is_said_and_widens_the_doubt() -> None:
    shape, to_lps = tubes.grid(URETER, (1.2, 0.74, 0.74), margin_mm=34.0)
    filled = tubes.Tube(URETER, tubes.constant(1.8), tubes.constant(350.0))
    volume = tubes.render([filled], shape, to_lps, seed=642)
    end = np.add(URETER[-1], (26.0, 0.0, 55.0))  # in plain tissue, beside the middle of the ureter
    course = trace_ureter(volume, URETER[0], end)
    assert any("leaves a bright tube that goes on" in caution for caution in course.cautions)


def test_something_bright_along_a_gap_is_said() -> None:
    near = np.add(URETER, (5.5, 0.0, 0.0))
    vessel = tubes.Tube(near, tubes.constant(1.5), tubes.constant(250.0))
    shape, to_lps = tubes.grid(URETER, (1.2, 0.74, 0.74), margin_mm=34.0)
    volume = tubes.render([ureter(), vessel], shape, to_lps, noise_hu=16.0, seed=643)
    course = trace_ureter(volume, URETER[0], URETER[-1])
    assert any("beside the bridge" in caution for caution in course.cautions)
    assert course.length_mm == pytest.approx(LENGTH_MM, rel=0.01)


@cache
def hard() -> Phantom:
    return render(
        hard_adult(),
        spacing_mm=(1.5, 0.8, 0.8),
        low_mm=(-92.0, -45.0, -165.0),
        high_mm=(20.0, 70.0, 90.0),
        noise_hu=16.0,
        seed=644,
    )


@pytest.mark.parametrize("click", [645, 646, 647])
def test_iliac_branches_of_a_whole_abdomen_do_not_catch_the_course(click: int) -> None:
    tube = hard().truth.right
    rng = np.random.default_rng(click)
    ends = tube.centreline.points_mm[[0, -1]] + rng.normal(0.0, 1.2, (2, 3))
    course = trace_ureter(hard().volume, *ends)
    inner = course.points_mm[8:-8]
    assert cKDTree(tube.centreline.points_mm).query(inner)[0].max() < 3.0
    assert abs(course.length_mm - tube.length_mm) < 2.5 * course.length_sd_mm
    assert abs(course.length_mm - tube.length_mm) < 5.0
    assert any("second way was left out" in caution for caution in course.cautions)
    assert course.length_sd_mm > 2.5


def test_a_weaker_artery_is_no_second_way() -> None:
    spec = hard_adult()
    weak = replace(spec, tissues=replace(spec.tissues, artery=150.0))
    phantom = render(
        weak,
        spacing_mm=(1.5, 0.8, 0.8),
        low_mm=(-92.0, -45.0, -165.0),
        high_mm=(20.0, 70.0, 90.0),
        seed=648,
    )
    tube = phantom.truth.right
    course = trace_ureter(phantom.volume, *tube.centreline.points_mm[[0, -1]])
    assert not any("second way" in caution for caution in course.cautions)
    assert abs(course.length_mm / tube.length_mm - 1) < 0.01


def test_the_coarse_search_finds_the_way_of_the_plain_one() -> None:
    route: Any = graph.route_through_array

    rng = np.random.default_rng(649)
    cost = 0.2 + rng.random((90, 60, 50)) ** 2
    cost[40:44, :52] = -1.0  # a wall with a way round it
    cost[10:80, 55, 40] = 0.03
    here, there = np.array([3, 5, 6]), np.array([86, 8, 41])
    sampling = np.ones(3)
    way = cheapest_way(cost, sampling, here, there)
    plain, _ = route(cost, here, there, geometric=True)

    def price(nodes: object) -> float:
        at = np.asarray(nodes)
        steps = np.linalg.norm(np.diff(at, axis=0), axis=1)
        value = cost[tuple(at.T)]
        return float((steps * (value[1:] + value[:-1]) / 2).sum())

    assert price(way) == pytest.approx(price(plain))
    assert np.array_equal(way[[0, -1]], np.asarray(plain)[[0, -1]])
    cost[40:44] = -1.0
    assert len(cheapest_way(cost, sampling, here, there)) == 0
