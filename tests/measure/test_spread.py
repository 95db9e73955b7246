"""Stated standard deviations against what repeated noise really does, and against known truth.

Truth: tubes of analytic calibre, and single bends of known radius between straight stretches.
The noise is drawn anew for every seed on the same clean image.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.support import tubes

from thalweg.measure.bends import sharper_radii
from thalweg.measure.spread import systematic_sd
from thalweg.measure.trace import trace_ureter
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from thalweg.measure.course import Course

Array = NDArray[np.float64]
SEEDS = 20
LINE = tubes.arc(60.0, 0.6)
"""36 mm long."""


def radius(s: Array) -> Array:
    """Return the radius of a tube that widens, and is narrowed at 18 mm."""
    return 2.0 + 0.3 * np.sin(s / 9) - 1.25 * np.exp(-(((s - 18) / 3.0) ** 2))


@cache
def repeated() -> list[Course]:
    """Return one small tube, traced under noise of many seeds."""
    shape, to_lps = tubes.grid(LINE, (1.0, 0.72, 0.72), margin_mm=13.0)
    tube = tubes.Tube(LINE, radius, tubes.constant(420.0))
    clean = tubes.render([tube], shape, to_lps, noise_hu=0.0)
    courses = []
    for seed in range(SEEDS):
        noisy = clean.values + np.random.default_rng(seed).normal(0.0, 15.0, shape)
        volume = ImageVolume(np.rint(noisy).astype(np.int16), to_lps)
        courses.append(trace_ureter(volume, LINE[0], LINE[-1]))
    return courses


def resampled(name: str) -> tuple[Array, Array]:
    """Return stations, and one array of every course at them."""
    at = np.linspace(5.0, 31.0, 27)
    return at, np.array([np.interp(at, c.station_mm, getattr(c, name)) for c in repeated()])


def test_noise_of_the_calibre_is_what_is_stated() -> None:
    _, calibre = resampled("calibre_mm")
    _, sd = resampled("calibre_sd_mm")
    steady = np.abs(np.linspace(5.0, 31.0, 27) - 18.0) > 7.0  # blur along the tube is no noise
    fixed = systematic_sd(calibre, 1.0, "CT")  # voxels of 1 mm; alike in every repetition
    noise = np.sqrt(np.maximum(sd**2 - fixed**2, 0.0))
    ratio = np.sqrt(np.mean(noise**2, axis=0)) / calibre.std(axis=0)
    assert 0.5 < np.median(ratio[steady]) < 2.0


def test_intervals_of_the_calibre_hold_the_truth() -> None:
    at, calibre = resampled("calibre_mm")
    _, sd = resampled("calibre_sd_mm")
    within = np.abs(calibre - 2 * radius(at)) < 1.96 * sd
    assert within.mean() >= 0.9
    assert np.median(sd) < 0.12


def test_a_narrowing_carries_doubt_of_ends_and_calibres() -> None:
    found = [narrow for course in repeated() for narrow in course.narrowings]
    assert len(found) == SEEDS
    for value, sd in (("from_mm", "from_sd_mm"), ("to_mm", "to_sd_mm")):
        scatter = np.std([getattr(one, value) for one in found])
        stated = np.mean([getattr(one, sd) for one in found])
        # An end falls half way between stations, which repeated noise alone does not move.
        assert scatter < 2 * stated
        assert stated < 1.0
    for one in found:
        assert one.least_sd_mm is not None
        assert one.reference_sd_mm is not None
        assert abs(one.least_calibre_mm - 2 * radius(np.array(18.0))) < 4 * one.least_sd_mm


def test_doubt_of_chord_and_winding_is_that_of_ends_moved_along_the_course() -> None:
    course = repeated()[0]
    rng = np.random.default_rng(3)
    angle = 36.0 / 60.0
    moved = rng.normal(0.0, 1.3, (20000, 2)) / 60.0
    chord = 2 * 60.0 * np.sin((angle + moved[:, 1] - moved[:, 0]) / 2)
    winding = 60.0 * (angle + moved[:, 1] - moved[:, 0]) / chord
    assert course.chord_sd_mm == pytest.approx(chord.std(), rel=0.1)
    assert winding.std() * 0.9 < course.tortuosity_sd < winding.std() + 0.02


def hook(bend_mm: float, degrees: float) -> Array:
    """Return a straight line, an arc of a radius through an angle, and another straight line."""
    turn, lead = np.radians(degrees), 35.0
    ahead = np.linspace(0.0, lead, 200)[:, None]
    angle = np.linspace(0.0, turn, 200)
    arc = np.stack([bend_mm * (1 - np.cos(angle)), 0 * angle, -lead - bend_mm * np.sin(angle)], 1)
    out = arc[-1] + ahead[1:] * np.array([np.sin(turn), 0.0, -np.cos(turn)])
    points = np.concatenate([ahead[:-1] * (0.0, 0.0, -1.0), arc, out])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    even = np.linspace(0.0, run[-1], 1200)
    return np.stack([np.interp(even, run, axis) for axis in points.T], axis=1)


@pytest.mark.parametrize(
    ("bend_mm", "degrees", "low", "high"),
    [(6.0, 45, 5.0, 9.0), (6.0, 60, 5.5, 7.0), (8.0, 60, 7.0, 9.5), (12.0, 60, 10.5, 13.5)],
)
def test_a_kink_keeps_its_radius(bend_mm: float, degrees: float, low: float, high: float) -> None:
    points = hook(bend_mm, degrees)
    shape, to_lps = tubes.grid(points, (1.0, 0.72, 0.72))
    tube = tubes.Tube(points, tubes.constant(1.8), tubes.constant(420.0))
    course = trace_ureter(tubes.render([tube], shape, to_lps), points[0], points[-1])
    assert low < course.least_bend_radius_mm < high
    assert course.least_bend_interval_mm[0] < bend_mm < course.least_bend_interval_mm[1]


def test_noise_alone_makes_no_kink() -> None:
    rng = np.random.default_rng(2)
    straight = np.arange(250.0)[:, None] * (0.0, 0.0, -1.0)
    smooth, seen = np.full(250, 1000.0), np.ones(250, dtype=bool)
    for _ in range(20):
        noisy = straight + rng.normal(0.0, 0.1, straight.shape) * (1.0, 1.0, 0.0)
        assert np.array_equal(sharper_radii(smooth, noisy, 0.1, seen, 1.0), smooth)
