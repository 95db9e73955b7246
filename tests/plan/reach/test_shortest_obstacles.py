"""Round one body the shortest path is tangent, geodesic, tangent: all in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from thalweg.plan.reach.obstacles import Capsule, Mesh, Obstacle, Sphere
from thalweg.plan.reach.problem import Question
from thalweg.plan.reach.route import Path, shortest
from thalweg.plan.reach.ways import WayMap

Floats = NDArray[np.float64]
UP = np.array([0.0, 0.0, 1.0])


def route(
    start: Floats, end: Floats, *obstacles: Obstacle, clearance: float = 3.0, radius: float = 0.0,
    heading: Floats = UP, arrival: Floats | None = None,
) -> Path:  # fmt: skip
    question = Question(start, heading, end, arrival, radius, clearance, obstacles)
    path = shortest(question, WayMap.of(obstacles, clearance))
    assert path is not None
    points, _ = path.chain.sample(0.1, 0.01)
    for obstacle in obstacles:
        assert obstacle.distance(points)[0].min() > clearance - 0.01
    return path


def round_a_circle(start: Floats, end: Floats, radius: float, *, far_side: bool = False) -> float:
    """Return tangent, arc, tangent about the origin in the plane of both points."""
    near, far = float(np.linalg.norm(start)), float(np.linalg.norm(end))
    between = math.acos(float(start @ end) / near / far)
    if far_side:
        between = 2 * math.pi - between
    arc = between - math.acos(radius / near) - math.acos(radius / far)
    return math.sqrt(near**2 - radius**2) + math.sqrt(far**2 - radius**2) + radius * arc


def test_round_a_sphere() -> None:
    start, end = np.array([-100.0, 5, 3]), np.array([90.0, -4, 10])
    path = route(start, end, Sphere(np.zeros(3), 27.0))
    assert path.length_mm == pytest.approx(round_a_circle(start, end, 30.0), abs=0.01)
    assert path.floor_mm == pytest.approx(float(np.linalg.norm(end - start)))


def test_from_point_to_point_on_a_sphere_it_is_the_great_circle() -> None:
    start, end = np.array([30.0, 0, 0]), 30.0 * np.array([math.cos(2.0), math.sin(2.0), 0])
    path = route(start, end, Sphere(np.zeros(3), 27.0))
    assert path.length_mm == pytest.approx(60.0, abs=0.02)


def test_across_a_cylinder() -> None:
    start, end = np.array([-80.0, 9, 0]), np.array([70.0, 6, 0])
    column = Capsule(np.array([0.0, 0, -200]), np.array([0.0, 0, 200]), 25.0)
    path = route(start, end, column)
    assert path.length_mm == pytest.approx(round_a_circle(start, end, 28.0), abs=0.01)


def test_slanting_round_a_cylinder_it_is_a_helix() -> None:
    """Unrolled, tangent–arc–tangent is one straight line, so Pythagoras joins rise and girth."""
    flat_start, flat_end, rise = np.array([-80.0, 9, 0]), np.array([70.0, 6, 0]), 90.0
    column = Capsule(np.array([0.0, 0, -300]), np.array([0.0, 0, 300]), 25.0)
    path = route(flat_start - rise / 2 * UP, flat_end + rise / 2 * UP, column)
    exact = math.hypot(round_a_circle(flat_start, flat_end, 28.0), rise)
    assert path.length_mm == pytest.approx(exact, abs=0.02)


def test_with_a_bend_radius_and_headings_along_the_tangents_nothing_is_added() -> None:
    start, end, radius = np.array([-80.0, 9, 0]), np.array([70.0, 6, 0]), 28.0

    def tangent(point: Floats, turn: float) -> Floats:
        far = float(np.linalg.norm(point))
        angle = math.atan2(point[1], point[0]) + turn * math.acos(radius / far)
        foot = radius * np.array([math.cos(angle), math.sin(angle), 0])
        return np.asarray((foot - point) / np.linalg.norm(foot - point))

    column = Capsule(np.array([0.0, 0, -200]), np.array([0.0, 0, 200]), 25.0)
    path = route(
        start, end, column, radius=12.0, heading=tangent(start, -1.0), arrival=-tangent(end, 1.0)
    )
    assert path.length_mm == pytest.approx(round_a_circle(start, end, radius), abs=0.01)


def test_over_the_edge_of_a_box_it_turns_at_the_clearance() -> None:
    """Past a right-angled edge the offset surface is a cylinder whose radius is the clearance."""
    path = route(np.array([-60.0, -40, 0]), np.array([40.0, 60, 0]), box(100.0), clearance=5.0)
    about = np.array([-50.0, 50, 0])
    exact = round_a_circle(
        np.array([-60.0, -40, 0]) - about,
        np.array([40.0, 60, 0]) - about,
        5.0,
        far_side=True,
    )
    assert path.length_mm == pytest.approx(exact, abs=0.05)


def box(side: float) -> Mesh:
    """Return a cube about the origin as twelve triangles."""
    half = side / 2
    triangles = []
    for axis in range(3):
        u, v = np.eye(3)[(axis + 1) % 3] * half, np.eye(3)[(axis + 2) % 3] * half
        for sign in (-1.0, 1.0):
            middle = sign * half * np.eye(3)[axis]
            ring = [middle - u - v, middle + u - v, middle + u + v, middle - u + v][:: int(sign)]
            triangles += [[ring[0], ring[1], ring[2]], [ring[0], ring[2], ring[3]]]
    return Mesh(np.array(triangles))


def test_a_box_knows_its_distance_inside_and_out() -> None:
    mesh = box(100.0)
    assert mesh.closed
    points = np.array([[0.0, 0, 0], [0, 0, 45], [60, 0, 0], [53, 54, 0], [53, 54, 62]])
    gaps, outward = mesh.distance(points)
    assert gaps == pytest.approx([-50, -5, 10, 5, 13])
    assert outward[1] == pytest.approx(UP)
    assert outward[3] == pytest.approx([0.6, 0.8, 0])


START, END = np.array([-90.0, 4, -20]), np.array([80.0, -3, 30])
HEADING, ARRIVAL = np.array([0.8, 0.6, 0]), np.array([0.6, 0, 0.8])


def needed(*obstacles: Obstacle, clearance: float = 3.0, radius: float = 10.0) -> float:
    return route(
        START, END, *obstacles, clearance=clearance, radius=radius, heading=HEADING, arrival=ARRIVAL
    ).length_mm


def test_more_clearance_a_wider_bend_or_another_body_never_needs_less() -> None:
    ball = Sphere(np.zeros(3), 20.0)
    column = Capsule(np.array([40.0, 30, -80]), np.array([40.0, 30, 80]), 20.0)
    by_clearance = [needed(ball, clearance=value) for value in (1.0, 4.0, 8.0)]
    assert by_clearance == sorted(by_clearance)
    by_radius = [needed(ball, radius=value) for value in (6.0, 10.0, 16.0)]
    assert by_radius == sorted(by_radius)
    assert needed() <= needed(ball) <= needed(ball, column) + 1e-3


def test_an_end_within_the_clearance_has_no_route() -> None:
    ball = (Sphere(np.zeros(3), 20.0),)
    question = Question(np.array([21.0, 0, 0]), UP, END, None, 0.0, 3.0, ball)
    assert shortest(question, WayMap.of(ball, 3.0)) is None
