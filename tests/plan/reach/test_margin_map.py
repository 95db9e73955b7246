"""The map of margins against the one-route solver, exact geometry, and what must always hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from thalweg.errors import InputError
from thalweg.plan.reach import Scene, scene_from
from thalweg.plan.reach.dubins import arc_straight_arc
from thalweg.plan.reach.fillets import Ends, clear, fillets
from thalweg.plan.reach.map_types import TOLERANCE_MM, SiteGrid
from thalweg.plan.reach.margin_map import margin_map
from thalweg.plan.reach.obstacles import Capsule
from thalweg.plan.reach.problem import Question
from thalweg.plan.reach.route import shortest
from thalweg.plan.reach.ways import WayMap

Floats = NDArray[np.float64]
FORWARD = np.array([0.0, -1.0, 0.0])


def abdomen(*, radius: float = 12.0, division: float = 230.0, **more: object) -> Scene:
    """Return a scene of two ureters beside a column and a vessel, with one idle site."""
    ureters = {
        side: {
            "points_mm": [[x, 0.0, 0.0], [0.6 * x, 10.0, -240.0]],
            "pivot_mm": 50.0,
            "division_mm": division,
            "trim_mm": 10.0,
        }
        for side, x in (("left", 38.0), ("right", -38.0))
    }

    return scene_from(
        {
            "least_bend_radius_mm": radius,
            "clearance_mm": 3.0,
            "ureter": ureters,
            "site": [
                {
                    "name": "idle",
                    "point_mm": [60.0, -90.0, -120.0],
                    "normal": [0.0, -1.0, 0.0],
                    "wall_mm": 20.0,
                    "height_mm": 10.0,
                }
            ],
            "obstacle": [
                {
                    "kind": "capsule",
                    "from_mm": [0, 22, 60],
                    "to_mm": [0, 22, -250],
                    "radius_mm": 22,
                },
                {"kind": "capsule", "from_mm": [6, -8, 60], "to_mm": [6, -8, -130], "radius_mm": 9},
            ],
            **more,
        },
        Path(),
    )


def front(columns: int, rows: int, wall: float = 20.0) -> SiteGrid:
    """Return sites over a gently curved front."""
    x, z = (
        a.ravel() for a in np.meshgrid(np.linspace(-95, 95, columns), np.linspace(-190, -30, rows))
    )
    point = np.column_stack([x, -95 + 0.003 * x**2, z])
    normal = np.column_stack([0.006 * x, -np.ones_like(x), np.zeros_like(x)])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return SiteGrid(point, normal, np.full(len(x), wall), np.full(len(x), 10.0))


def one_by_one(scene: Scene, sites: SiteGrid, side: str, index: int) -> float | None:
    """Return the required length by the one-route solver."""
    (ureter,) = [item for item in scene.ureters if item.side == side]
    question = Question(
        ureter.line.point(ureter.pivot_mm), ureter.line.heading(ureter.pivot_mm),
        sites.inner[index], sites.normal[index], scene.least_bend_radius_mm, scene.clearance_mm,
        scene.obstacles,
    )  # fmt: skip
    path = shortest(question, WayMap.of(scene.obstacles, scene.clearance_mm))
    return None if path is None else path.length_mm + float(sites.beyond_mm[index])


def test_it_agrees_with_the_one_route_solver_where_barred_and_where_free() -> None:
    scene, sites = abdomen(), front(9, 6)
    found = margin_map(scene, sites)
    rng = np.random.default_rng(4)
    for item in found.ureters:
        barred = np.flatnonzero(item.required_mm - item.floor_mm > 1e-6)
        free = np.flatnonzero(item.required_mm - item.floor_mm <= 1e-6)
        assert barred.size
        sample = [*rng.choice(barred, min(3, len(barred)), replace=False), *rng.choice(free, 4)]
        for index in sample:
            single = one_by_one(scene, sites, item.side, int(index))
            assert single is not None
            assert item.exact[index]
            assert item.required_mm[index] == pytest.approx(single, abs=TOLERANCE_MM)
            assert item.floor_mm[index] <= single + 1e-6
            assert item.margin_mm[index] == item.free_mm - item.required_mm[index]


def test_what_is_given_up_is_truly_short_by_at_least_as_much() -> None:
    scene, sites = abdomen(division=170.0), front(8, 5)
    found = margin_map(scene, sites)
    given_up = 0
    for item in found.ureters:
        assert not (item.hopeless & item.reached).any()
        assert (item.exact | item.hopeless | item.unreached).all()
        for index in np.flatnonzero(item.hopeless)[:2]:
            given_up += 1
            single = one_by_one(scene, sites, item.side, int(index))
            assert single is None or item.free_mm - single <= -item.short_by_at_least_mm[index]
            assert np.isnan(item.required_mm[index])
    assert given_up


def test_without_bend_radius_and_bodies_it_is_the_straight_line() -> None:
    scene, sites = abdomen(radius=0.0, obstacle=[]), front(9, 6)
    found = margin_map(scene, sites)
    for item in found.ureters:
        (ureter,) = [u for u in scene.ureters if u.side == item.side]
        chord = np.linalg.norm(sites.inner - ureter.line.point(ureter.pivot_mm), axis=1)
        assert item.required_mm == pytest.approx(chord + 30.0, abs=1e-9)


def test_a_mirrored_front_has_mirrored_margins() -> None:
    vessel = [{"kind": "capsule", "from_mm": [0, 5, 60], "to_mm": [0, 5, -250], "radius_mm": 20}]
    scene, sites = abdomen(obstacle=vessel), front(7, 4)
    found = margin_map(scene, sites)
    left, right = found.side("left"), found.side("right")
    assert left is not None
    assert right is not None
    mirrored = left.required_mm.reshape(4, 7)[:, ::-1].ravel()
    both = np.isfinite(mirrored) & np.isfinite(right.required_mm)
    assert both.any()
    assert mirrored[both] == pytest.approx(right.required_mm[both], abs=0.1)


def test_a_site_in_the_clearance_is_unreached_and_nothing_else() -> None:
    vessel = [{"kind": "capsule", "from_mm": [0, 0, -60], "to_mm": [0, 0, -130], "radius_mm": 18}]
    scene, sites = abdomen(obstacle=vessel), front(3, 3)
    inside = sites.point.copy()
    inside[0] = [0.0, -20.0, -100.0]
    moved = SiteGrid(inside, sites.normal, np.zeros(9), sites.height_mm)
    found = margin_map(scene, moved)
    for item in found.ureters:
        assert item.unreached[0]
        assert not item.exact[0]
        assert not item.reached[0]


def test_many_polygons_agree_with_the_general_solution() -> None:
    """The general one seeks turn and straight without a control polygon (see `dubins`)."""
    rng = np.random.default_rng(11)
    end = rng.normal(size=(30, 3))
    end *= (rng.uniform(90, 200, 30) / np.linalg.norm(end, axis=1))[:, None]
    heading = end / np.linalg.norm(end, axis=1)[:, None] + 0.8 * rng.normal(size=(30, 3))
    arrival = end / np.linalg.norm(end, axis=1)[:, None] + 0.8 * rng.normal(size=(30, 3))
    heading /= np.linalg.norm(heading, axis=1)[:, None]
    arrival /= np.linalg.norm(arrival, axis=1)[:, None]
    many = fillets(Ends(np.zeros((30, 3)), heading, end, arrival), 12.0)
    assert many.sound.sum() >= 25
    for row in np.flatnonzero(many.sound):
        best = arc_straight_arc(np.zeros(3), heading[row], end[row], arrival[row], 12.0)[0]
        assert many.length_mm[row] == pytest.approx(best.length, abs=1e-6)
        chain = many.chain(int(row))
        assert chain.length == pytest.approx(many.length_mm[row], abs=1e-9)
        assert chain.joints()[1][-1] == pytest.approx(end[row], abs=1e-6)


def test_clear_says_what_looking_at_every_point_says() -> None:
    rng = np.random.default_rng(3)
    count = 200
    end = np.column_stack([rng.uniform(90, 120, count), rng.uniform(-30, 30, (count, 2))])
    ahead = np.tile([1.0, 0.0, 0.0], (count, 1))
    many = fillets(Ends(np.zeros((count, 3)), ahead, end, ahead), 12.0)
    body = (Capsule(np.array([50.0, -8, 12]), np.array([60.0, 12, 14]), 6.0),)
    said = clear(many, body, 3.0)
    for row in range(count):
        points, _ = many.chain(row).sample(0.05, 0.005)
        gap = float(body[0].distance(points)[0].min())
        assert said[row] == (gap >= 3.0 - 0.005) or abs(gap - 2.995) < 1e-3
    assert 0 < said.sum() < count


def test_a_bad_site_is_told_by_its_number() -> None:
    sites = front(2, 2)
    wall = sites.wall_mm.copy()
    wall[3] = np.nan
    with pytest.raises(InputError, match="site 3"):
        SiteGrid(sites.point, sites.normal, wall, sites.height_mm)
    with pytest.raises(InputError, match="unit length"):
        SiteGrid(sites.point, 2 * sites.normal, sites.wall_mm, sites.height_mm)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    st.floats(-80, 80), st.floats(-180, -60), st.floats(5, 35), st.floats(0.5, 15),
)  # fmt: skip
def test_a_thicker_wall_never_needs_less(x: float, z: float, wall: float, more: float) -> None:
    """With the skin where it is: to the thinner wall's inner face, the thicker one's route serves.

    So the shortest route's length can only grow; the solver's own may by its tolerance not.
    """
    scene = abdomen()
    point, normal = np.array([[x, -95.0, z]]), FORWARD[None]
    required = []
    for thickness in (wall, wall + more):
        site = SiteGrid(point, normal, np.array([thickness]), np.array([10.0]))
        required.append([one_by_one(scene, site, side, 0) for side in ("left", "right")])
    for thin, thick in zip(*required, strict=True):
        assert thin is not None
        assert thick is None or thick >= thin - 0.05
