"""A course placed by hand, from the command line and from a case file to the plan.

The truth is the length of the small abdomen's ureter, summed from its own dense points.
"""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import (
    CASE_TOML,
    DAY,
    LABS_CSV,
    MARKS_TOML,
    SECRETS,
    true_length_mm,
    write_small_case,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

HEIGHTS = (*range(49, -69, -10), -69)
POINTS = [(30.0 - 10.0 * float(np.sin(np.pi * (54 - z) / 128)), 0.0, float(z)) for z in HEIGHTS]
LISTED = "[" + ", ".join(f"[{x:.2f}, {y}, {z}]" for x, y, z in POINTS) + "]"
TO_TRACE = "start_mm = [28.8, 0, 49]\nend_mm = [28.8, 0, -69]"
BY_HAND = MARKS_TOML.replace(TO_TRACE, f"points_mm = {LISTED}\nby_hand = true")
ON_AIR = MARKS_TOML.replace("start_mm = [28.8, 0, 49]", "start_mm = [-70, -50, 49]")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the small case folder."""
    return write_small_case(tmp_path_factory.mktemp("byhand") / "case")


def told(points: Sequence[tuple[float, float, float]]) -> list[str]:
    """Return the options that place a course."""
    start, *via, end = (f"{x:.2f},{y},{z}" for x, y, z in points)
    return [
        *("--start", start),
        *(part for point in via for part in ("--via", point)),
        *("--end", end),
        "--by-hand",
        "--json",
    ]


def test_options_and_a_file_give_the_same_course_with_the_same_keys(
    whole: Path, tmp_path: Path
) -> None:
    table = tmp_path / "course.csv"
    rows = [f"{number};{x:.2f};{y};{z}" for number, (x, y, z) in enumerate(POINTS)]
    table.write_text("\n".join(["name;x_mm;y_mm;z_mm", *rows, ""]), encoding="utf-8-sig")
    by_options = thalweg("trace", whole / "ct", *told(POINTS)).json
    assert thalweg("trace", whole / "ct", "--points", table, "--json").json == by_options
    ends = ("--start", "28.8,0,49", "--end", "28.8,0,-69", "--json")
    traced = thalweg("trace", whole / "ct", *ends).json
    assert by_options.keys() == traced.keys()
    assert (by_options["by_hand"], traced["by_hand"]) == (True, False)
    assert by_options["length_mm"] == pytest.approx(true_length_mm(), abs=1.0)
    assert by_options["calibre_mm"].count(None) < 30
    findings = checked_findings(by_options["findings"])
    assert findings["ureter-length"]["method"] == "ureter-length-by-hand"
    methods = {name: finding["method"] for name, finding in findings.items()}
    own = {"length", "chord", "tortuosity", "calibre", "least-bend-radius"}
    compared = [one for one in traced["findings"] if one["name"].removeprefix("ureter-") in own]
    assert len(compared) == len(own)
    for finding in compared:
        assert methods[finding["name"]] != finding["method"]


def test_without_images_the_length_is_still_given() -> None:
    found = thalweg("trace", *told(POINTS)).json
    assert found["length_mm"] == pytest.approx(true_length_mm(), abs=1.0)
    assert set(found["calibre_mm"]) == {None}
    assert any("No images were given" in caution for caution in found["cautions"])
    assert thalweg("trace", *told([POINTS[0], POINTS[-1]])).json["length_sd_mm"] > 5


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("1,2,3\n4,5,6\n", "x_mm"),
        ("x_mm,y_mm,z_mm\n1,2,3\n1,2\n", "row 3"),
        ("x_mm,y_mm,z_mm\n1,2,3\n1,2,nan\n", "row 3"),
        ("x_mm,y_mm,z_mm\n1,2,3\n", "two points"),
        ("x_mm,y_mm,z_mm\n1,2,3\n1,2,3\n", "point 2"),
        ("", "x_mm"),
    ],
)
def test_a_file_that_is_no_course_is_refused(tmp_path: Path, content: str, said: str) -> None:
    table = tmp_path / "course.csv"
    table.write_text(content, encoding="utf-8")
    assert said in thalweg("trace", "--points", table).refusal()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--start", "0,0,0", "--end", "0,0,-50"), "no images"),
        (("--by-hand", "--start", "0,0,0"), "--end"),
        (("--points", "x.csv", "--start", "0,0,0"), "twice"),
        (("--points", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_options_that_do_not_go_together(options: tuple[str, ...], said: str) -> None:
    assert said in thalweg("trace", *options).refusal()


def planned(folder: Path, home: Path, out: Path) -> dict[str, Any]:
    """Take a folder in and write its plan."""
    where = ("--home", home, "--on", DAY.isoformat(), "--json")
    case_id = thalweg("intake", folder, *where).json["case"]
    written: dict[str, Any] = thalweg("plan", case_id, *where, "--out", out).json
    return written


def length_of(plan: dict[str, Any]) -> dict[str, Any]:
    findings = plan["findings"]
    length: dict[str, Any]
    (length,) = [one for one in findings if one["name"] == "ureter-length-left"]
    return length


def test_a_ureter_that_cannot_be_traced_is_placed_by_hand_and_the_plan_goes_on(
    whole: Path, tmp_path: Path
) -> None:
    folder, home = tmp_path / "in", tmp_path / "home"
    shutil.copytree(whole, folder)
    folder.joinpath("case.toml").write_text(CASE_TOML + ON_AIR, encoding="utf-8")
    refused = planned(folder, home, tmp_path / "first")
    (untraced, _) = refused["problems"]
    mend = "place the course by hand (points_mm = [[x, y, z], …] under [ureter.left] in case.toml)."
    assert untraced.endswith(f", or {mend}")
    assert untraced.count(". ") == 0
    # The same date and images: the course by hand stands before the marks that could not be traced.
    folder.joinpath("case.toml").write_text(CASE_TOML + BY_HAND, encoding="utf-8")
    plan = planned(folder, home, tmp_path / "second")
    assert plan["problems"] == []
    length = length_of(plan)
    assert length["method"] == "ureter-length-by-hand"
    assert length["value"] == pytest.approx(true_length_mm(), abs=1.0)
    (fact,) = length["facts"]
    assert fact["concept"] == "ureter-course-left"
    routes = plan["routes"]
    assert any(route["margin_mm"] is not None for route in routes)
    (page,) = tmp_path.joinpath("second").glob("plan-*.html")
    assert "placed by hand" in page.read_text(encoding="utf-8")


def test_without_its_series_a_course_by_hand_still_gives_a_plan(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    site = "point_mm = [30, -43, 5]"
    marks = BY_HAND.replace(site, f"{site}\nnormal = [0, -1, 0]\nwall_mm = 25")
    folder.joinpath("case.toml").write_text(CASE_TOML + marks, encoding="utf-8")
    folder.joinpath("labs.csv").write_text(LABS_CSV, encoding="utf-8")
    plan = planned(folder, tmp_path / "home", tmp_path / "out")
    length = length_of(plan)
    assert length["value"] == pytest.approx(true_length_mm(), abs=1.0)
    assert length["date"] == "2026-03-02"
    said = " ".join(length["cautions"])
    assert "stands without its image" in said
    routes = plan["routes"]
    reached = [route for route in routes if route["margin_mm"] is not None]
    assert reached
    assert any("Bone and vessels were not looked for" in c for c in reached[0]["cautions"])


@pytest.mark.parametrize(
    ("ureter", "said"),
    [
        (f"points_mm = {LISTED}\nby_hand = false", "by_hand = true"),
        (f"points_mm = {LISTED}\nstart_mm = [1, 2, 3]", "start_mm"),
        ("points_mm = [[28.8, 0, 49]]", "fewer than 2"),
        ("points_mm = [[28.8, 0, 49], [28.8, 0, 49]]", "the same"),
        (f"{TO_TRACE}\nby_hand = 1", "by_hand"),
        ("points_mm = [[28.8, 0, 49], [900, 0, -69]]", "outside its images"),
    ],
)
def test_marks_that_are_no_course(whole: Path, tmp_path: Path, ureter: str, said: str) -> None:
    folder = tmp_path / "in"
    shutil.copytree(whole, folder)
    text = CASE_TOML + MARKS_TOML.replace(TO_TRACE, ureter)
    folder.joinpath("case.toml").write_text(text, encoding="utf-8")
    where = ("--home", tmp_path / "home", "--on", DAY.isoformat())
    assert said in thalweg("intake", folder, *where).refusal(*SECRETS)
