"""Free space: the straight line, Dubins' planar words, arcs in space, and symmetries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import root
from scipy.spatial.transform import Rotation
from tests.support.planar_dubins import Pose, drive, length, words

from thalweg.plan.reach.problem import Question
from thalweg.plan.reach.route import Path, shortest
from thalweg.plan.reach.ways import WayMap

Floats = NDArray[np.float64]
NOTHING = WayMap.of((), 0.0)
RADIUS = 12.0


def unit(*values: float) -> Floats:
    vector = np.array(values, dtype=np.float64)
    return np.asarray(vector / np.linalg.norm(vector))


def answer(start: Floats, heading: Floats, end: Floats, arrival: Floats, radius: float) -> Path:
    question = Question(start, heading, end, arrival, radius, 0.0)
    path = shortest(question, NOTHING)
    assert path is not None
    assert question.judge(path.chain).good
    return path


def planar(pose: Pose) -> tuple[Floats, Floats]:
    return np.array([pose[0], pose[1], 0.0]), unit(math.cos(pose[2]), math.sin(pose[2]), 0.0)


def test_straight_ahead_is_the_straight_line() -> None:
    path = answer(np.zeros(3), unit(0, 0, -1), np.array([0, 0, -80.0]), unit(0, 0, -1), RADIUS)
    assert path.length_mm == pytest.approx(80.0, abs=1e-6)


def test_without_bend_radius_the_headings_do_not_matter() -> None:
    path = answer(np.zeros(3), unit(0, 0, 1), np.array([30.0, 40.0, 0]), unit(1, 0, 0), 0.0)
    assert path.length_mm == pytest.approx(50.0, abs=1e-9)


FAR_POSES: list[tuple[str, Pose]] = [
    ("LSL", (100.0, 60.0, 2.0)),
    ("RSR", (100.0, -60.0, -2.0)),
    ("LSR", (100.0, 60.0, -0.6)),
    ("RSL", (100.0, -60.0, 0.6)),
]


@pytest.mark.parametrize(("word", "end"), FAR_POSES)
def test_coplanar_ends_give_the_shortest_of_dubins_words(word: str, end: Pose) -> None:
    """Dubins 1957: closed form in the plane."""
    start: Pose = (0.0, 0.0, 0.3)
    parts = words(start, end, RADIUS)
    for name, part in parts.items():
        x, y, heading = drive(start, name, part, RADIUS)
        assert (x, y) == pytest.approx(end[:2], abs=1e-9)
        assert math.cos(heading - end[2]) == pytest.approx(1.0, abs=1e-12)
    least = min(parts, key=lambda name: length(parts[name], RADIUS))
    assert least == word
    path = answer(*planar(start), *planar(end), RADIUS)
    assert path.length_mm == pytest.approx(length(parts[word], RADIUS), abs=1e-6)


@pytest.mark.parametrize(("word", "end"), [("LRL", (2.0, -6.0, 2.0)), ("RLR", (2.0, 14.0, 3.5))])
def test_close_coplanar_ends_need_no_more_than_dubins_three_arcs(word: str, end: Pose) -> None:
    """In space a path may leave the plane, so it is never longer than the best planar one."""
    parts = words((0.0, 0.0, 0.0), end, RADIUS)
    best = min(length(part, RADIUS) for part in parts.values())
    assert best == pytest.approx(length(parts[word], RADIUS))
    path = answer(*planar((0.0, 0.0, 0.0)), *planar(end), RADIUS)
    assert path.length_mm <= best + 1e-3
    assert path.length_mm > math.hypot(*end[:2])


def fillet_length(start: Floats, a: Floats, end: Floats, b: Floats, radius: float) -> float:
    """Return arc–straight–arc by its control polygon: each arc's two tangents are equal.

    ``end − start = R tan(θ₁/2) (a + d) + s d + R tan(θ₂/2) (d + b)`` for the straight's heading d.
    """

    def gap(values: Floats) -> Floats:
        d, s = values[:3], values[3]
        first = radius * math.tan(math.acos(np.clip(a @ d, -1, 1)) / 2)
        last = radius * math.tan(math.acos(np.clip(b @ d, -1, 1)) / 2)
        off = start + first * (a + d) + s * d + last * (d + b) - end
        return np.append(off, d @ d - 1)

    span = end - start
    solved = root(gap, np.append(unit(*span), np.linalg.norm(span)), tol=1e-12)
    assert solved.success
    d, s = solved.x[:3], solved.x[3]
    return float(s + radius * (math.acos(a @ d) + math.acos(b @ d)))


@pytest.mark.parametrize("seed", range(6))
def test_arcs_in_different_planes_agree_with_the_control_polygon(seed: int) -> None:
    rng = np.random.default_rng(seed)
    start, end = np.zeros(3), 150.0 * unit(*rng.normal(size=3))
    a, b = unit(*(unit(*end) + 0.7 * unit(*rng.normal(size=3)))), unit(*rng.normal(size=3))
    exact = fillet_length(start, a, end, b, RADIUS)
    assert answer(start, a, end, b, RADIUS).length_mm <= exact + 1e-6
    if b @ unit(*end) > 0:
        assert answer(start, a, end, b, RADIUS).length_mm == pytest.approx(exact, abs=1e-6)


part = st.floats(-1.0, 1.0, allow_nan=False)
vectors = st.tuples(part, part, part).filter(lambda v: math.hypot(*v) > 0.2)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(vectors, vectors, vectors, vectors, st.booleans())
def test_length_survives_motion_mirror_and_reversal(
    span: tuple[float, float, float],
    out: tuple[float, float, float],
    into: tuple[float, float, float],
    turn: tuple[float, float, float],
    mirrored: bool,
) -> None:
    end, a, b = 130.0 * unit(*span), unit(*out), unit(*into)
    plain = answer(np.zeros(3), a, end, b, RADIUS).length_mm
    assert plain >= 130.0 - 1e-9
    matrix = Rotation.from_rotvec(np.array(turn) * 2).as_matrix()
    if mirrored:
        matrix = matrix @ np.diag([-1.0, 1.0, 1.0])
    shift = np.array([10.0, -20.0, 30.0])
    moved = answer(shift, matrix @ a, shift + matrix @ end, matrix @ b, RADIUS).length_mm
    back = answer(end, -b, np.zeros(3), -a, RADIUS).length_mm
    assert moved == pytest.approx(plain, abs=1e-5)
    assert back == pytest.approx(plain, abs=1e-5)


def test_a_tighter_least_radius_never_needs_more() -> None:
    lengths = [
        answer(
            np.zeros(3), unit(0, 0, -1), np.array([60.0, -90, -130]), unit(0, -1, 0), r
        ).length_mm
        for r in (0.0, 4.0, 8.0, 12.0, 20.0)
    ]
    assert lengths == sorted(lengths)
