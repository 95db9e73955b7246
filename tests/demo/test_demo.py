"""The demonstration against the truth that its images were drawn from."""

from __future__ import annotations

import errno
import os
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg

from thalweg.phantom.scenario import adult
from thalweg.phantom.truth import PhantomTruth, truth_of
from thalweg.progress import silent
from thalweg.service.images import Images
from thalweg.service.sites import measured_sites
from thalweg.store import Store

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

    from thalweg.plan.staging import MeasuredSite

SIDES = ("left", "right")


@cache
def truth() -> PhantomTruth:
    """Return what is true of the demonstration's person."""
    return truth_of(adult())


@pytest.fixture(scope="module")
def traced(demonstration: OnRecord) -> dict[str, Any]:
    """Return both ureters as `thalweg trace` gives them, from the folder of images."""

    def point(name: str) -> str:
        return ",".join(f"{value:.1f}" for value in truth().landmarks[name])

    return {
        side: thalweg(
            "trace",
            demonstration.folder / "ct-urogram",
            *("--start", point(f"pelvi-ureteric junction, {side}")),
            *("--end", point(f"bladder hiatus, {side}")),
            "--json",
        ).json
        for side in SIDES
    }


@pytest.fixture(scope="module")
def sites(demonstration: OnRecord) -> tuple[MeasuredSite, ...]:
    """Return the demonstration's sites as measured on its images."""
    with Store(demonstration.home) as store:
        case = store.get_case(demonstration.case_id)
        found, problems = measured_sites(case, Images(case, store, silent))
    assert problems == []
    return found


@pytest.mark.parametrize("side", SIDES)
def test_lengths_are_true(traced: dict[str, Any], demonstration: OnRecord, side: str) -> None:
    true = truth().left.length_mm if side == "left" else truth().right.length_mm
    found = traced[side]
    assert found["length_mm"] == pytest.approx(true, rel=0.005)
    assert abs(found["length_mm"] - true) < 2 * found["length_sd_mm"]
    # The plan, which traced from the store, says the same to the last digit.
    planned = checked_findings(demonstration.payload["findings"])[f"ureter-length-{side}"]
    assert planned["value"] == found["length_mm"]
    assert planned["date"] == "2026-11-10T09:40:00+01:00"


@pytest.mark.parametrize("side", SIDES)
def test_trace_says_all_it_promises(traced: dict[str, Any], side: str) -> None:
    found = traced[side]
    count = len(found["points_mm"])
    assert count == len(found["station_mm"]) == len(found["calibre_mm"])
    assert found["station_mm"][0] == 0
    assert found["station_mm"][-1] == pytest.approx(found["length_mm"])
    assert found["tortuosity"] == pytest.approx(found["length_mm"] / found["chord_mm"])
    assert found["least_bend_radius_mm"] > 0
    assert found["phantom"] is True
    assert found["cautions"]
    checked_findings(found["findings"])


def test_the_gap_of_the_right_is_found(traced: dict[str, Any]) -> None:
    (gap,) = traced["right"]["gaps"]
    # 60 to 82 mm is without contrast, and half a slice of 1.5 mm is lost at each end.
    assert gap["from_mm"] == pytest.approx(60, abs=1.5)
    assert gap["to_mm"] == pytest.approx(82, abs=1.5)
    assert traced["right"]["narrowings"] == []
    assert traced["left"]["gaps"] == []


def test_the_narrowing_of_the_left_is_found(traced: dict[str, Any]) -> None:
    (narrowing,) = traced["left"]["narrowings"]
    assert narrowing["from_mm"] < 202
    assert narrowing["to_mm"] > 192
    middle = (narrowing["from_mm"] + narrowing["to_mm"]) / 2
    assert middle == pytest.approx(197, abs=5)
    assert narrowing["least_calibre_mm"] == pytest.approx(2.5, abs=0.5)
    assert narrowing["reference_calibre_mm"] > narrowing["least_calibre_mm"]


def test_skin_and_wall_at_the_sites(sites: tuple[MeasuredSite, ...]) -> None:
    assert len(sites) == 4
    for site in sites:
        x, y, z = site.point_mm
        assert abs(y - truth().wall.skin_point(x, z)[1]) < 1.5
        true = truth().wall.wall_thickness_mm(x, z)
        assert site.wall_sd_mm is not None
        assert abs(site.wall_mm - true) < max(2 * site.wall_sd_mm, 3.0)


def test_taking_it_in_again_changes_nothing(demonstration: OnRecord) -> None:
    before = thalweg("verify", "--home", demonstration.home, "--json").json
    report = thalweg("intake", demonstration.folder, *demonstration.where, "--json").json
    assert report["case"] == demonstration.case_id
    assert (report["new_facts"], report["new_series"]) == ([], [])
    assert (report["conflicts"], report["not_taken"]) == ([], [])
    assert thalweg("verify", "--home", demonstration.home, "--json").json == before
    assert before["problems"] == []


def test_the_same_again_gives_the_same_to_the_last_digit(demonstration: OnRecord) -> None:
    again = thalweg("appraise", demonstration.case_id, *demonstration.where, "--json").json
    assert again == demonstration.payload["appraisal"]
    kidney = thalweg("kidney", demonstration.case_id, *demonstration.where, "--json").json
    planned = checked_findings(demonstration.payload["findings"])
    for finding in kidney["findings"]:
        finding.pop("shown")
        assert finding == planned[finding["name"]]


def test_all_that_was_asked_is_said(demonstration: OnRecord) -> None:
    payload = demonstration.payload
    checked_findings(payload["findings"])
    assert payload["problems"] == []
    verdicts = {row["verdict"] for row in payload["appraisal"]["diversions"]}
    # The scenario is made so that every verdict occurs.
    assert verdicts == {"open", "open with cautions", "closed", "not yet decidable"}
    assert {route["side"] for route in payload["routes"]} == set(SIDES)
    for route in payload["routes"]:
        assert route["margin_mm"] == pytest.approx(route["free_mm"] - route["required_mm"])
    names = {path.name for path in demonstration.out.iterdir()}
    case_id = demonstration.case_id
    ways = {row["key"] for row in payload["appraisal"]["diversions"] if row["verdict"] != "closed"}
    sheets = (f"plan-{case_id}", f"consent-{case_id}", *(f"leaflet-{key}" for key in ways))
    wanted = {f"{name}.{kind}" for name in sheets for kind in ("html", "pdf")}
    assert names == {f"calendar-{case_id}.ics", *wanted}


def test_a_donor_that_stops_inside_is_not_said_to_reach_the_skin(demonstration: OnRecord) -> None:
    # What reaches the skin is what the routes straight to it say, not a join to the other ureter.
    reaches = {
        route["side"]
        for route in demonstration.payload["routes"]
        if route["diversion"] == "cutaneous-single"
        and route["site"] == "right upper"
        and route["margin_interval_mm"][0] >= 0
    }
    assert reaches == {"right"}
    page = next(demonstration.out.glob("plan-*.html")).read_text(encoding="utf-8")
    section = page.split('id="sites"')[1].split("</section>")[0]
    row = section.split("<td>right upper</td>")[1].split("</tr>")[0]
    assert row.rsplit("<td>", 1)[1] == "right</td>"
    assert "joins the right ureter, whose stoma is right upper" in page


def test_a_full_disk_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(folder: Path, **_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("thalweg.demo.run.write_case_folder", full)
    line = thalweg("demo", "--out", tmp_path / "demo").refusal()
    assert "the disk is full; make room and try again" in line
    assert str(tmp_path / "demo") in line
