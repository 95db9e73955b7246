"""A scene is read as written, and every fault is said by its key."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thalweg.errors import InputError
from thalweg.plan.reach import read_scene, scene_from
from thalweg.plan.reach.centreline import Helix

HERE = Path()
PLAIN: dict[str, Any] = {
    "least_bend_radius_mm": 12,
    "clearance_mm": 3,
    "ureter": {
        "left": {
            "points_mm": [[0, 0, 0], [0, 0, -200]],
            "pivot_mm": 50,
            "division_mm": 200,
            "trim_mm": 10,
        }
    },
    "site": [
        {
            "name": "left lower",
            "point_mm": [60, -120, -180],
            "normal": [0, -2, 0],
            "wall_mm": 30,
            "height_mm": 10,
        }
    ],
    "obstacle": [
        {"kind": "capsule", "from_mm": [0, 40, 100], "to_mm": [0, 40, -300], "radius_mm": 25}
    ],
}


def changed(*path: str | int, value: object = None) -> dict[str, Any]:
    """Return the plain scene with one entry set, or removed where the value is None."""
    table = copy.deepcopy(PLAIN)
    inner: Any = table
    for step in path[:-1]:
        inner = inner[step]
    if value is None:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return table


def test_a_plain_scene_is_read_as_written() -> None:
    scene = scene_from(PLAIN, HERE)
    ureter, site = scene.ureters[0], scene.sites[0]
    assert ureter.free_mm == 140.0
    assert ureter.line.point(50.0) == pytest.approx([0, 0, -50])
    assert ureter.line.heading(50.0) == pytest.approx([0, 0, -1])
    assert site.normal == pytest.approx([0, -1, 0])
    assert site.inner == pytest.approx([60, -90, -180])
    assert scene.side_of(site) == "left"
    assert scene.cautions == ()


@pytest.mark.parametrize(
    ("where", "table"),
    [
        ("colour", changed("colour", value=1)),
        ("site[0].colour", changed("site", 0, "colour", value=1)),
        ("site[0].normal", changed("site", 0, "normal", value=[0, 0, 0])),
        ("site[0].normal", changed("site", 0, "normal", value=[0, 1])),
        ("site[0].wall_mm", changed("site", 0, "wall_mm", value=-1)),
        ("site[0].wall_mm", changed("site", 0, "wall_mm")),
        ("site[0].wall_mm", changed("site", 0, "wall_mm", value="30")),
        ("site[0].point_mm[1]", changed("site", 0, "point_mm", value=[0.0, float("nan"), 0])),
        ("obstacle[0].radius_mm", changed("obstacle", 0, "radius_mm", value=-2)),
        ("obstacle[0]", changed("obstacle", 0, "kind", value="cone")),
        ("ureter.left.pivot_mm", changed("ureter", "left", "pivot_mm", value=200)),
        ("ureter.left.division_mm", changed("ureter", "left", "division_mm", value=201)),
        ("ureter.left.trim_mm", changed("ureter", "left", "trim_mm", value=150)),
        ("ureter.left.points_mm", changed("ureter", "left", "points_mm", value=[[0, 0, 0]])),
        ("diversions", changed("diversions", value=["cutaneous-triple"])),
        ("no ureter", changed("ureter")),
        ("no site", changed("site")),
        ("site[0].point_mm", changed("site", 0, "point_mm", value=[0, 40, -200])),
        ("ureter.left.pivot_mm", changed("obstacle", 0, "from_mm", value=[0, 0, -50])),
    ],
)
def test_a_fault_is_said_by_its_key(where: str, table: dict[str, Any]) -> None:
    with pytest.raises(InputError) as caught:
        scene_from(table, HERE)
    assert where in str(caught.value)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


def test_what_is_left_out_is_said() -> None:
    table = changed("ureter", "left", value={"points_mm": [[0, 0, 0], [0, 0, -200]]})
    del table["least_bend_radius_mm"], table["clearance_mm"], table["site"][0]["height_mm"]
    scene = scene_from(table, HERE)
    assert scene.ureters[0].free_mm == 200.0
    assert len(scene.ureters[0].cautions) == 3
    assert len(scene.sites[0].cautions) == 1
    assert len(scene.cautions) == 2


@pytest.mark.parametrize("text", ["= 3", "\xff"])
def test_a_file_that_is_not_toml_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "scene.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match=r"scene\.toml"):
        read_scene(path)
    with pytest.raises(InputError, match=r"absent\.toml"):
        read_scene(tmp_path / "absent.toml")


def test_a_helix_has_the_length_and_headings_of_the_textbook() -> None:
    """A helix of radius r and rise h over a full turn is √((2πr)² + h²) long."""
    curve = {
        "kind": "helix",
        "centre_mm": [0, 0, 0],
        "start_mm": [30, 0, 0],
        "axis": [0, 0, -1],
        "angle_deg": 360,
        "rise_mm": 80,
    }
    table = changed("ureter", "left", value={"curve": curve, "pivot_mm": 20, "trim_mm": 0})
    line = scene_from(table, HERE).ureters[0].line
    whole = float(np.hypot(60 * np.pi, 80))
    assert isinstance(line, Helix)
    assert line.length == pytest.approx(whole)
    assert line.point(whole) == pytest.approx([30, 0, -80])
    assert line.point(whole / 4) == pytest.approx([0, -30, -20], abs=1e-9)
    ahead = (line.point(20.001) - line.point(19.999)) / 0.002
    assert line.heading(20.0) == pytest.approx(ahead, abs=1e-6)


def test_a_number_beyond_any_body_is_refused(tmp_path: Path) -> None:
    scene = tmp_path / "scene.toml"
    scene.write_text(
        "[ureter.left]\npoints_mm = [[0, 0, 0], [0, 0, -1e300]]\n"
        '[[site]]\nname = "a"\npoint_mm = [60, -120, -180]\nnormal = [0, -1, 0]\nwall_mm = 30\n'
    )
    with pytest.raises(InputError, match=r"ureter\.left\.points_mm\[1\]\[2\].*beyond any body"):
        read_scene(scene)
