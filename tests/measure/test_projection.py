"""The least length against exact perspective: no curve may ever be shorter than it.

Truth is geometry: points are thrown by similar triangles, lengths are those of the thrown polygon.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.shadows import run_of

from thalweg.measure.projection import least_length, least_length_anywhere

DETECTOR = 1100.0

coordinates = st.floats(-220.0, 220.0, allow_nan=False)
depths = st.floats(700.0, 1050.0, allow_nan=False)
curves = st.lists(st.tuples(coordinates, coordinates, depths), min_size=2, max_size=12).map(
    np.asarray
)


def thrown(points: np.ndarray) -> np.ndarray:
    """Return the shadow on the detector."""
    return np.asarray(points[:, :2] * (DETECTOR / points[:, 2:]))


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(curves)
def test_no_curve_is_shorter(points: np.ndarray) -> None:
    near, far = points[:, 2].min(), points[:, 2].max()
    least = least_length(thrown(points), DETECTOR, near, far)
    assert least <= run_of(points) * (1 + 1e-12) + 1e-9


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(curves, st.tuples(coordinates, coordinates))
def test_nor_when_the_foot_of_the_beam_is_not_known(
    points: np.ndarray, offset: tuple[float, float]
) -> None:
    """The picture's origin is shifted; the true foot lies within the corners."""
    near, far = points[:, 2].min(), points[:, 2].max()
    seen = thrown(points)
    moved = seen + offset
    apart = np.linalg.norm(np.diff(moved, axis=0), axis=1) > 1e-6
    if not apart.all():
        return
    corners = np.array([[-240.0, -240], [240, -240], [240, 240], [-240, 240]])
    least = least_length_anywhere(moved, corners, DETECTOR, near, far)
    assert least <= run_of(points) * (1 + 1e-12) + 1e-9
    # Knowing the foot can only help.
    assert least <= least_length(seen, DETECTOR, near, far) + 1e-9


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(coordinates, coordinates), min_size=2, max_size=12), depths)
def test_a_flat_curve_keeps_its_length(places: list[tuple[float, float]], depth: float) -> None:
    points = np.column_stack([np.asarray(places), np.full(len(places), depth)])
    least = least_length(thrown(points), DETECTOR, depth, depth)
    assert least == pytest.approx(run_of(points), rel=1e-12, abs=1e-9)


def test_only_the_depth_nearest_to_the_source_is_safe() -> None:
    """A piece square to its ray at the near depth: any greater depth would claim too much."""
    a, b = np.array([100.0, 0.0, 800.0]), np.array([103.0, 0.0, 800.0])
    points = np.stack([a, b])
    shadow = thrown(points)
    assert least_length(shadow, DETECTOR, 800.0, 850.0) <= 3.0
    assert least_length(shadow, DETECTOR, 850.0, 850.0) > 3.0


def test_a_shadow_can_be_longer_than_what_threw_it() -> None:
    """Why depth alone does not do: a piece that runs obliquely, far from the middle of the beam.

    From (150, 0, 900) square to its own ray, 20 mm towards the detector and the middle: taken back
    by 900 ÷ 1100 the shadow is longer than the piece; the least length is not.
    """
    start = np.array([150.0, 0.0, 900.0])
    ray = start / np.linalg.norm(start)
    aside = np.array([ray[2], 0.0, -ray[0]])
    points = np.stack([start, start - 20 * aside])
    assert points[1, 2] > 900.0
    shadow = run_of(thrown(points)) * 900.0 / DETECTOR
    assert shadow > 20.2
    least = least_length(thrown(points), DETECTOR, 900.0, 950.0)
    assert least <= 20.0
    # And it is not needlessly small: this is the worst case, which it must just meet.
    assert least == pytest.approx(20.0, rel=2e-3)


def test_the_minimum_is_that_of_a_search() -> None:
    """Brute force over both depths of each pair of rays."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        a, b = (np.append(rng.uniform(-0.25, 0.25, 2), 1.0) for _ in range(2))
        near, far = 800.0, rng.uniform(805.0, 1000.0)
        s, t = np.meshgrid(*[np.linspace(near, far, 801)] * 2)
        apart = np.linalg.norm(s[..., None] * a - t[..., None] * b, axis=-1)
        mine = least_length(np.stack([a, b])[:, :2] * DETECTOR, DETECTOR, near, far)
        assert mine <= apart.min() + 1e-9
        assert mine == pytest.approx(apart.min(), rel=1e-3)
