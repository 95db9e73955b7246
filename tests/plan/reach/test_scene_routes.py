"""Whole scenes: which routes, their figures, doubts and cautions."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import root

from thalweg.plan.reach import RouteResult, Scene, read_scene, solve_scene

if TYPE_CHECKING:
    from pathlib import Path

ONE = """
least_bend_radius_mm = 12
clearance_mm = 3
diversions = ["cutaneous-bilateral"]
[ureter.left]
points_mm = [[0, 0, 0], [0, 0, -200]]
pivot_mm = 50
division_mm = 200
trim_mm = 10
[[site]]
name = "left lower"
point_mm = [60, -120, -180]
normal = [0, -1, 0]
wall_mm = 30
height_mm = 10
[[obstacle]]
kind = "capsule"
from_mm = [0, 40, 100]
to_mm = [0, 40, -300]
radius_mm = 25
"""
TWO = """
least_bend_radius_mm = 8
clearance_mm = 2
[ureter.left]
points_mm = [[40, 0, 0], [40, 0, -200]]
pivot_mm = 60
division_mm = 200
trim_mm = 10
length_sd_mm = 2
[ureter.right]
points_mm = [[-40, 0, 0], [-40, 0, -200]]
pivot_mm = 60
division_mm = 200
trim_mm = 10
length_sd_mm = 2
[[site]]
name = "left"
point_mm = [70, -90, -110]
normal = [0, -1, 0]
wall_mm = 20
height_mm = 5
[[site]]
name = "right"
point_mm = [-70, -90, -110]
normal = [0, -1, 0]
wall_mm = 20
height_mm = 5
"""


def scene(folder: Path, text: str) -> Scene:
    path = folder / "scene.toml"
    path.write_text(text, encoding="utf-8")
    return read_scene(path)


def solved(folder: Path, text: str) -> list[RouteResult]:
    return solve_scene(scene(folder, text))


def by(results: list[RouteResult], diversion: str, side: str, site: str) -> RouteResult:
    (found,) = [
        item
        for item in results
        if (item.diversion, item.side, item.site) == (diversion, side, site)
    ]
    return found


def test_the_plain_scene_agrees_with_its_control_polygon(tmp_path: Path) -> None:
    """From (0, 0, −50) heading down to (60, −90, −180) heading forward, bends of 12 mm.

    Each bend's two tangents are R tan(θ/2), which leaves two unknown tangents to solve for.
    """
    start, end = np.array([0.0, 0, -50]), np.array([60.0, -90, -180])
    a, b = np.array([0.0, 0, -1]), np.array([0.0, -1, 0])

    def parts(tangents: np.ndarray) -> tuple[float, float, float]:
        span = (end - tangents[1] * b) - (start + tangents[0] * a)
        middle = float(np.linalg.norm(span))
        return middle, math.acos(a @ span / middle), math.acos(b @ span / middle)

    def gap(tangents: np.ndarray) -> list[float]:
        _, first, last = parts(tangents)
        return [
            tangents[0] - 12 * math.tan(first / 2), tangents[1] - 12 * math.tan(last / 2)
        ]  # fmt: skip

    tangents = root(gap, [5.0, 5.0], tol=1e-12).x
    middle, first, last = parts(tangents)
    exact = middle - tangents.sum() + 12 * (first + last)
    (route,) = solved(tmp_path, ONE)
    assert route.free_mm == 140.0
    assert route.required_mm == pytest.approx(exact + 40.0, abs=1e-6)
    assert route.margin_mm == pytest.approx(140.0 - exact - 40.0, abs=1e-6)
    assert [bend.angle_deg for bend in route.bends] == pytest.approx(
        [math.degrees(first), math.degrees(last)], abs=1e-4
    )
    assert route.least_bend_radius_mm == pytest.approx(12.0)
    assert any("no right ureter" in said for said in route.cautions)
    assert any("tension" in said for said in route.cautions)


def test_the_drawn_line_is_as_long_as_the_route_and_ends_at_the_stoma(tmp_path: Path) -> None:
    for route in solved(tmp_path, TWO):
        assert route.points_mm is not None
        assert route.required_mm is not None
        drawn = np.linalg.norm(np.diff(route.points_mm, axis=0), axis=1).sum()
        assert drawn == pytest.approx(route.required_mm, rel=1e-4)
        assert drawn <= route.required_mm + 1e-9
        if route.diversion == "cutaneous-bilateral":
            x = 70.0 if route.side == "left" else -70.0
            assert route.points_mm[-1] == pytest.approx([x, -95, -110])


def test_left_out_diversions_are_all_that_the_scene_allows(tmp_path: Path) -> None:
    results = solved(tmp_path, TWO)
    assert list(dict.fromkeys(item.diversion for item in results)) == [
        "cutaneous-single",
        "cutaneous-bilateral",
        "cutaneous-double-barrel",
        "transuretero-cutaneous",
    ]
    left = by(results, "cutaneous-bilateral", "left", "left")
    right = by(results, "cutaneous-bilateral", "right", "right")
    assert left.required_mm == pytest.approx(right.required_mm, abs=1e-6)
    assert left.margin_mm == by(results, "cutaneous-double-barrel", "left", "left").margin_mm
    donor = by(results, "transuretero-cutaneous", "right", "left")
    assert donor.required_mm is not None
    # It cannot be less than the width between the two ureters' beds.
    assert 80.0 <= donor.required_mm < 100.0
    assert any("°" in said for said in donor.cautions)


def test_doubt_has_the_spread_of_its_parts_and_repeats_to_the_last_digit(tmp_path: Path) -> None:
    text = TWO + "[doubt]\nwall_mm = 0\npivot_mm = 0\ntrim_mm = 3\nstretch_share = 0\n"
    first, again = solved(tmp_path, text), solved(tmp_path, text)
    assert json.dumps([r.to_json() for r in first]) == json.dumps([r.to_json() for r in again])
    route = by(first, "cutaneous-single", "left", "left")
    assert route.margin_interval_mm is not None
    assert route.margin_mm is not None
    low, high = route.margin_interval_mm
    spread = math.hypot(2.0, 3.0)
    assert (high - low) / (2 * 1.959964) == pytest.approx(spread, rel=0.06)
    assert (low + high) / 2 == pytest.approx(route.margin_mm, abs=0.5)
    named = {item.name: item.sd_mm for item in route.contributions}
    assert named["tracing"] == pytest.approx(2.0, rel=0.05)
    assert named["trim"] == pytest.approx(3.0, rel=0.05)
    assert named["pivot"] == named["wall"] == named["stretch"] == 0.0
    assert route.contributions[0].name == "trim"


def test_the_slopes_behind_the_doubt_are_those_of_solving_again(tmp_path: Path) -> None:
    """A thicker wall and a lower pivot, by themselves, against the sampled spread."""
    bare = "[doubt]\ntracing_share = 0\ntrim_mm = 0\nstretch_share = 0\n"
    text = TWO.replace("length_sd_mm = 2", "length_sd_mm = 0")
    wall = by(solved(tmp_path, text + bare + "pivot_mm = 0\nwall_mm = 1\n"),
              "cutaneous-single", "left", "left")  # fmt: skip
    pivot = by(solved(tmp_path, text + bare + "pivot_mm = 1\nwall_mm = 0\n"),
               "cutaneous-single", "left", "left")  # fmt: skip

    def margin(old: str, new: str) -> float:
        found = by(solved(tmp_path, text.replace(old, new)), "cutaneous-single", "left", "left")
        assert found.margin_mm is not None
        return found.margin_mm

    by_wall = abs(margin("wall_mm = 20", "wall_mm = 21") - margin("wall_mm = 20", "wall_mm = 19"))
    by_pivot = abs(
        margin("pivot_mm = 60", "pivot_mm = 61") - margin("pivot_mm = 60", "pivot_mm = 59")
    )
    draws = np.random.default_rng(20260101).standard_normal((2000, 5))
    assert wall.contributions[0].sd_mm / draws[:, 1].std() == pytest.approx(by_wall / 2, rel=0.02)
    assert pivot.contributions[0].sd_mm / draws[:, 2].std() == pytest.approx(by_pivot / 2, rel=0.02)


def test_a_surplus_is_said_to_be_redundant(tmp_path: Path) -> None:
    route = by(solved(tmp_path, TWO.replace("pivot_mm = 60", "pivot_mm = 0", 1)),
               "cutaneous-single", "left", "left")  # fmt: skip
    tight = by(solved(tmp_path, TWO), "cutaneous-single", "left", "left")
    assert route.margin_mm is not None
    assert tight.margin_mm is not None
    assert any("buckle" in said for said in route.cautions) == (route.margin_mm > 40)
    assert not any("buckle" in said for said in tight.cautions) or tight.margin_mm > 40


def test_an_end_within_the_clearance_keeps_its_place_without_figures(tmp_path: Path) -> None:
    body = '[[obstacle]]\nkind = "sphere"\nat_mm = [40, 21, -60]\nradius_mm = 20\n'
    route = by(solved(tmp_path, TWO + body), "cutaneous-single", "left", "left")
    assert route.required_mm is None
    assert route.margin_mm is None
    assert route.to_json()["points_mm"] is None
    assert "pivot" in route.cautions[0]


def test_a_conduit_without_its_base_is_said_and_with_it_is_reached(tmp_path: Path) -> None:
    head = 'diversions = ["ileal-conduit"]\n'
    without = solved(tmp_path, head + TWO)
    assert all(item.required_mm is None for item in without)
    assert all("base" in item.cautions[0] for item in without)
    base = (
        '[[conduit]]\nsite = "right"\nbase_mm = [-20, -30, -130]\nleft_passage_mm = [0, 10, -120]\n'
    )
    results = solved(tmp_path, head + TWO + base)
    left = by(results, "ileal-conduit", "left", "right")
    assert left.required_mm is not None
    assert left.points_mm is not None
    passage = np.array([0.0, 10, -120])
    assert np.linalg.norm(left.points_mm - passage, axis=1).min() < 1.0
    least = np.linalg.norm(passage - [40, 0, -60]) + np.linalg.norm(passage - [-20, -30, -130])
    assert least < left.required_mm < least + 20


def test_without_bend_radius_the_waypoint_route_is_the_two_straight_lines(tmp_path: Path) -> None:
    text = 'diversions = ["ileal-conduit"]\n' + TWO.replace("least_bend_radius_mm = 8", "")
    base = (
        '[[conduit]]\nsite = "right"\nbase_mm = [-20, -30, -130]\nleft_passage_mm = [0, 10, -120]\n'
    )
    left = by(solved(tmp_path, "least_bend_radius_mm = 0\n" + text + base), "ileal-conduit", "left",
              "right")  # fmt: skip
    passage = np.array([0.0, 10, -120])
    exact = np.linalg.norm(passage - [40, 0, -60]) + np.linalg.norm(passage - [-20, -30, -130])
    assert left.required_mm == pytest.approx(float(exact), abs=1e-6)
    assert left.points_mm is not None
    assert left.points_mm[-1] == pytest.approx([-20, -30, -130], abs=1e-6)
