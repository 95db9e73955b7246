"""`thalweg reach` where geometry has an exact answer.

Without obstacles and without a least bend radius the shortest route from the pivot to the wall's
inner face is the straight line (Euclid); the wall is then crossed along its normal.
"""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg

if TYPE_CHECKING:
    from pathlib import Path

SCENE = """\
least_bend_radius_mm = 0
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
"""
OBSTACLE = """
[[obstacle]]
kind = "capsule"
from_mm = [0, 40, 100]
to_mm = [0, 40, -300]
radius_mm = 25
"""


def reach(folder: Path, text: str) -> list[dict[str, Any]]:
    """Return the routes of a scene, their margins checked as findings."""
    scene = folder / "scene.toml"
    scene.write_text(text, encoding="utf-8")
    payload = thalweg("reach", scene, "--json").json
    known = [route for route in payload["routes"] if route["margin_mm"] is not None]
    assert len(checked_findings(payload["findings"])) == len(known)
    return list(payload["routes"])


def test_a_straight_route_is_exact(tmp_path: Path) -> None:
    (route,) = reach(tmp_path, SCENE)
    # From the pivot, 50 mm down, to the inner face, 30 mm below the skin.
    straight = hypot(60, 120 - 30, 180 - 50)
    assert route["required_mm"] == pytest.approx(straight + 30 + 10, abs=1e-6)
    assert route["free_mm"] == pytest.approx(200 - 50 - 10, abs=1e-9)
    assert route["margin_mm"] == pytest.approx(140 - 40 - straight, abs=1e-6)
    assert route["diversion"] == "cutaneous-bilateral"
    assert (route["side"], route["site"]) == ("left", "left lower")
    assert 0 <= route["probability_reaches"] <= 1
    low, high = route["margin_interval_mm"]
    assert low < route["margin_mm"] < high
    assert route["points_mm"][0] == pytest.approx([0, 0, -50], abs=1e-6)


def test_an_obstacle_behind_the_route_changes_nothing(tmp_path: Path) -> None:
    (free,), (beside,) = reach(tmp_path, SCENE), reach(tmp_path, SCENE + OBSTACLE)
    assert beside["required_mm"] == pytest.approx(free["required_mm"], abs=1e-6)


def test_a_stiffer_ureter_needs_more(tmp_path: Path) -> None:
    (free,) = reach(tmp_path, SCENE)
    stiff = SCENE.replace("least_bend_radius_mm = 0", "least_bend_radius_mm = 12")
    (route,) = reach(tmp_path, stiff)
    assert route["required_mm"] > free["required_mm"]
    assert route["least_bend_radius_mm"] >= 12 - 1e-6


def test_the_same_scene_gives_the_same_to_the_last_digit(tmp_path: Path) -> None:
    assert reach(tmp_path, SCENE + OBSTACLE) == reach(tmp_path, SCENE + OBSTACLE)


def test_people_read_the_margin_and_its_cautions(tmp_path: Path) -> None:
    scene = tmp_path / "scene.toml"
    scene.write_text(SCENE, encoding="utf-8")
    ran = thalweg("reach", scene)
    assert ran.code == 0
    assert "left to left lower: margin" in ran.out
    assert "does not replace licensed judgement" in ran.out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("pivot_mm = 50", "pivot_mm = 250", "pivot"),
        ("wall_mm = 30", "wall_mm = -3", "wall_mm"),
        ("normal = [0, -1, 0]", "normal = [0, 0, 0]", "normal"),
        ("height_mm = 10", "hieght_mm = 10", "hieght_mm"),
        ('"cutaneous-bilateral"', '"magic"', "magic"),
        ("trim_mm = 10", "trim_mm = nan", "trim"),
        ("[ureter.left]", "[ureter.left", "TOML"),
    ],
)
def test_a_scene_that_cannot_be(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in SCENE
    scene = tmp_path / "scene.toml"
    scene.write_text(SCENE.replace(old, new), encoding="utf-8")
    line = thalweg("reach", scene).refusal()
    assert said in line
    assert "scene.toml" in line


def test_no_scene(tmp_path: Path) -> None:
    line = thalweg("reach", tmp_path / "none.toml").refusal()
    assert "none.toml" in line
