"""The smooth curve against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thalweg.measure.bends import STRAIGHT_MM, bend_radii
from thalweg.measure.spline import even_steps, smoothed, spline_through, transported_frames


@given(radius=st.floats(8, 120), sweep=st.floats(0.3, 3.0), points=st.integers(12, 200))
@settings(max_examples=40, deadline=None)
def test_arc_length_of_a_circle(radius: float, sweep: float, points: int) -> None:
    t = np.linspace(0, sweep, points)
    arc = np.stack([radius * np.cos(t), radius * np.sin(t), 0 * t], axis=1)
    _, station = spline_through(arc)
    assert station[-1] == pytest.approx(radius * sweep, rel=2e-3)


def test_even_steps_keep_ends_and_spacing() -> None:
    wave = np.stack([np.linspace(0, 60, 40), 5 * np.sin(np.linspace(0, 6, 40)), np.zeros(40)], 1)
    even = even_steps(wave, 1.0)
    steps = np.linalg.norm(np.diff(even, axis=0), axis=1)
    assert np.allclose(even[[0, -1]], wave[[0, -1]])
    assert steps.std() < 0.01 * steps.mean()


def test_smoothing_damps_a_wave_as_its_formula_says() -> None:
    # Minimising sum (y - x)^2 + (s/h)^4 sum |D2 x|^2 divides a wave of angle w per step by
    # 1 + (s/h)^4 (2 - 2 cos w)^2: the squared symbol of the second difference.
    count, scale = 600, 3.0
    w = 2 * np.pi / 15
    wave = np.stack([np.cos(w * np.arange(count))] * 3, axis=1)
    kept = smoothed(wave, np.ones(count), scale_mm=scale, step_mm=1.0)
    expected = 1 / (1 + scale**4 * (2 - 2 * np.cos(w)) ** 2)
    middle = slice(100, -100)
    assert np.abs(kept[middle] - expected * wave[middle]).max() < 1e-6


def test_bridging_a_gap_in_a_cubic_is_exact_up_to_its_end_tangents() -> None:
    t = np.arange(80.0)
    parabola = np.stack([t, 0.002 * (t - 40) ** 2, 0 * t], axis=1)
    weight = np.ones(80)
    weight[25:55] = 0.0
    bridged = smoothed(parabola, weight, scale_mm=1.0, step_mm=1.0)
    assert np.abs(bridged - parabola)[5:-5].max() < 0.02


def test_straight_lines_are_kept_and_bend_no_more_than_can_be_told() -> None:
    straight = np.linspace(0, 1, 50)[:, None] * np.array([10.0, -20.0, 44.0])
    assert np.allclose(smoothed(straight, np.ones(50), scale_mm=5.0, step_mm=1.0), straight)
    assert np.all(bend_radii(straight, 1.0) == STRAIGHT_MM)


def test_transported_frames_are_square_and_do_not_spin() -> None:
    t = np.linspace(0, 12, 300)
    helix = np.stack([9 * np.cos(t), 9 * np.sin(t), 4 * t], axis=1)
    one, two = transported_frames(helix)
    tangent = np.gradient(helix, axis=0)
    assert np.abs(np.sum(one * tangent, axis=1)).max() < 1e-9
    assert np.allclose(np.linalg.norm(one, axis=1), 1)
    assert np.abs(np.sum(one * two, axis=1)).max() < 1e-9
    turn = np.sum(np.diff(one, axis=0) * two[:-1], axis=1)  # parallel transport: no twist
    assert np.abs(turn).max() < 1e-3


def test_a_gap_in_a_circle_is_bridged_by_the_circle_when_bending_may_not_change() -> None:
    t = np.arange(90.0) / 25.0
    circle = 25.0 * np.stack([np.cos(t), np.sin(t), 0 * t], axis=1)
    weight = np.ones(90)
    weight[30:60] = 0.0
    off = {}
    for order in (2, 3):
        bridged = smoothed(circle, weight, scale_mm=1.5, step_mm=1.0, order=order)
        off[order] = np.abs(np.linalg.norm(bridged[30:60], axis=1) - 25.0).max()
    assert off[3] < 0.1
    assert off[3] < off[2] / 5
