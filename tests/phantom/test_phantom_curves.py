"""Lengths and bend radii against closed forms and scipy's own quadrature."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ellipe

from thalweg.phantom.centreline import centreline_of
from thalweg.phantom.courses import tortuous_course, usual_course, vessel_hugging_course
from thalweg.phantom.curves import Arc, Curve, Helix, Line, Sine, Spline

HELIX = Helix((0, 0, 0), radius_mm=15.0, pitch_mm=40.0, turns=4.0)
SINE = Sine((0, 0, 0), fall_mm=160.0, amplitude_mm=9.0, waves=2.0)
COURSES = [usual_course("left"), tortuous_course("right"), vessel_hugging_course("left", 0.45)]
EVERY = [Line((1, 2, 3), (4, 6, -80)), Arc((0, 0, 0), 50.0, 1.3), HELIX, SINE, *COURSES]


def _named(curve: Curve) -> str:
    return type(curve).__name__


def test_a_line_is_as_long_as_pythagoras_says() -> None:
    line = centreline_of(Line((0, 0, 0), (2, 3, -6)))
    assert line.length_mm == pytest.approx(7.0, abs=1e-9)
    assert line.chord_mm == pytest.approx(7.0, abs=1e-9)
    assert np.isinf(line.least_bend_radius_mm)


def test_an_arc_is_as_long_as_radius_times_angle() -> None:
    arc = centreline_of(Arc((5, 6, 7), radius_mm=40.0, sweep_rad=2.0))
    assert arc.length_mm == pytest.approx(80.0, abs=1e-8)
    assert arc.chord_mm == pytest.approx(2 * 40.0 * np.sin(1.0), abs=1e-8)
    assert arc.bend_radius_mm == pytest.approx(40.0, rel=1e-9)


def test_a_helix_has_the_length_and_curvature_of_the_textbook() -> None:
    # Curvature r / (r^2 + c^2) with c = pitch / 2 pi (do Carmo, Differential Geometry of Curves
    # and Surfaces, section 1-5, exercise 1; from memory).
    line = centreline_of(HELIX)
    assert line.length_mm == pytest.approx(4 * np.hypot(2 * np.pi * 15, 40), abs=1e-8)
    c = 40 / (2 * np.pi)
    assert line.bend_radius_mm == pytest.approx((15**2 + c**2) / 15, rel=1e-9)


def test_a_sine_has_the_length_of_the_elliptic_integral() -> None:
    m = (SINE.amplitude_mm * 2 * np.pi * SINE.waves / SINE.fall_mm) ** 2
    exact = SINE.fall_mm * 2 / np.pi * np.sqrt(1 + m) * ellipe(m / (1 + m))
    assert centreline_of(SINE).length_mm == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize("curve", EVERY, ids=_named)
def test_length_agrees_with_adaptive_quadrature(curve: Curve) -> None:
    def speed(u: float) -> float:
        return float(np.linalg.norm(curve.derivative(u, 1)))

    pieces = np.linspace(0, 1, 41)
    exact = sum(quad(speed, a, b, epsabs=1e-9, limit=200)[0] for a, b in pairwise(pieces))
    assert centreline_of(curve).length_mm == pytest.approx(exact, abs=1e-4)


@pytest.mark.parametrize("curve", EVERY, ids=_named)
def test_derivatives_agree_with_differences(curve: Curve) -> None:
    u, step = np.linspace(0.05, 0.95, 37), 1e-6
    for order in (0, 1):
        ahead, behind = curve.derivative(u + step, order), curve.derivative(u - step, order)
        differences = (ahead - behind) / (2 * step)
        exact = curve.derivative(u, order + 1)
        assert differences == pytest.approx(exact, abs=1e-4 * np.abs(exact).max() + 1e-5)


@pytest.mark.parametrize("curve", EVERY, ids=_named)
def test_stations_are_even_and_walk_along_the_points(curve: Curve) -> None:
    line = centreline_of(curve, step_mm=0.25)
    steps = np.linalg.norm(np.diff(line.points_mm, axis=0), axis=1)
    assert np.diff(line.station_mm) == pytest.approx(line.station_mm[1], abs=1e-9)
    assert line.station_mm[1] <= 0.25
    assert steps.sum() == pytest.approx(line.length_mm, rel=2e-5)
    assert np.linalg.norm(line.tangent, axis=1) == pytest.approx(1.0)


def test_a_spline_goes_through_its_points() -> None:
    points = ((0.0, 0.0, 0.0), (3.0, 1.0, -20.0), (-2.0, 4.0, -45.0), (0.0, 0.0, -60.0))
    dense = centreline_of(Spline(points), step_mm=0.02).points_mm
    for point in points:
        assert np.linalg.norm(dense - point, axis=1).min() < 0.02


def test_nearest_gives_back_station_and_distance_of_points_set_off_the_curve() -> None:
    line = centreline_of(HELIX)
    chosen = np.arange(40, len(line.station_mm) - 40, 97)
    inward = -line.points_mm[chosen] * [1, 1, 0] / 15.0
    station, distance = line.nearest(line.points_mm[chosen] + 2.3 * inward)
    assert station == pytest.approx(line.station_mm[chosen], abs=1e-6)
    assert distance == pytest.approx(2.3, abs=1e-6)


def test_a_usual_adult_ureter_is_as_long_as_measured_on_ct() -> None:
    # Song, Cho, Kim. Korean J Urol 2010;51(3): 22.68 +- 2.08 cm, range 17.5 to 28.6 cm (n = 95).
    for side in ("left", "right"):
        assert 220 <= centreline_of(usual_course(side)).length_mm <= 260
    assert 175 <= centreline_of(tortuous_course("left")).length_mm <= 286
