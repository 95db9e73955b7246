"""`intake`, `cases`, `case`, `verify`, `appraise`, `plan`, `calendar` on a small case."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import pytest
from icalendar import Calendar
from tests.support.commands import checked_findings, strict_json, thalweg
from tests.support.smallcase import DAY, SECRETS, true_length_mm, write_small_case

from thalweg.plan.catalogue import catalogue

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

VERDICTS = {"open", "open with cautions", "closed", "not yet decidable"}
ON = ("--on", DAY.isoformat())


def head(home: Path) -> dict[str, Any]:
    """Return entries and head hash of the audit trail."""
    checked: dict[str, Any] = thalweg("verify", "--home", home, "--json").json
    assert checked.pop("problems") == []
    return checked


def test_intake_twice_is_once(small: OnRecord) -> None:
    before = head(small.home)
    report = thalweg("intake", small.folder, *small.where, "--json").json
    assert report["case"] == small.case_id
    assert not report["opened"]
    assert (report["new_facts"], report["new_series"]) == ([], [])
    assert len(report["known_series"]) == 1
    assert head(small.home) == before


def test_one_more_result_is_one_more_fact(small: OnRecord, tmp_path: Path) -> None:
    labs = "test,value,unit,taken\nurea,6.0,mmol/L,2026-03-20\n"
    folder = write_small_case(tmp_path / "more", labs=labs, images=False)
    report = thalweg("intake", folder, *small.where, "--json").json
    assert report["case"] == small.case_id
    assert len(report["new_facts"]) == 1
    shown = thalweg("intake", folder, *small.where)
    assert shown.code == 0
    assert f"thalweg plan {small.case_id}" in shown.out


def test_cases_lists_what_is_lacking(small_once: OnRecord) -> None:
    (row,) = thalweg("cases", *small_once.where, "--json").json["cases"]
    assert row["id"] == small_once.case_id
    assert row["phantom"] is True
    assert row["lacks"] == []
    shown = thalweg("cases", *small_once.where)
    assert small_once.case_id in shown.out
    assert "ready to plan" in shown.out


def test_no_case_yet(tmp_path: Path) -> None:
    assert thalweg("cases", "--home", tmp_path / "new", "--json").json == {"cases": []}
    assert "thalweg intake FOLDER" in thalweg("cases", "--home", tmp_path / "new").out


def test_case_shows_facts_and_findings(small_once: OnRecord) -> None:
    course = thalweg("case", small_once.case_id, *small_once.where, "--json").json
    assert course["id"] == small_once.case_id
    for fact in course["facts"]:
        assert fact["at"]
        assert fact["origin"]
    found = checked_findings(course["findings"])
    planned = checked_findings(small_once.payload["findings"])
    assert found == planned
    length = found["ureter-length-left"]
    low, high = length["interval"]
    assert low < true_length_mm() < high
    assert length["value"] == pytest.approx(true_length_mm(), rel=0.01)
    assert length["date"].startswith("2026-03-02")


def test_explain_walks_down_to_fact_and_publication(small_once: OnRecord) -> None:
    ran = thalweg("case", small_once.case_id, *small_once.where, "--explain", "gfr-to-rely-on")
    assert ran.code == 0
    lines = ran.out.splitlines()
    # From the choice, to the equation it chose, to the result it rests on, each further in.
    equation = next(i for i, line in enumerate(lines) if line.startswith("  eGFR by creatinine"))
    fact = next(i for i, line in enumerate(lines) if line.lstrip().startswith("creatinine, blood"))
    assert 0 < equation < fact
    assert "106.08" in lines[fact]
    assert "2026-03-01" in lines[fact]
    assert "labs.csv row 2" in lines[fact + 1]
    assert "N Engl J Med" in ran.out or "New England Journal of Medicine" in ran.out


def test_explain_what_is_not_there(small_once: OnRecord) -> None:
    ran = thalweg("case", small_once.case_id, *small_once.where, "--explain", "gfr", "--json")
    line = ran.refusal(*SECRETS)
    assert "no finding 'gfr'" in line
    assert "gfr-to-rely-on" in line


def test_appraise_judges_every_diversion(small_once: OnRecord) -> None:
    appraised = thalweg("appraise", small_once.case_id, *small_once.where, "--json").json
    assert appraised == small_once.payload["appraisal"]
    rows = appraised["diversions"]
    assert {row["key"] for row in rows if row["nearest"]} == {
        row["key"] for row in rows if row["verdict"] == "closed"
    }
    loop = next(row for row in rows if row["key"] == "cutaneous-loop")["nearest"]
    assert (loop["can_change"], loop["steps"][0]["limit"]) == ("not changeable", 18.0)
    assert loop["steps"][0]["unit"] == "a"
    assert [row["key"] for row in rows] == [row.key for row in catalogue().diversions]
    for row in rows:
        assert row["name"]
        assert row["verdict"] in VERDICTS
        assert row["criteria"]
        for one in row["criteria"]:
            assert one["key"]
            assert one["truth"] in {"met", "not met", "not known"}
            assert one["source"]
            assert one["facts"] or one["findings"] or one["missing"] or one["truth"] == "met"
    shown = thalweg("appraise", small_once.case_id, *small_once.where)
    assert all(row["name"] in shown.out for row in rows)
    assert "does not replace licensed judgement" in shown.out


def test_plan_writes_whole_documents_the_same_to_the_byte_again(
    small_once: OnRecord, small: OnRecord
) -> None:
    small.out.mkdir()
    small.document("html").write_text("an older plan", encoding="utf-8")
    done = thalweg("plan", small.case_id, *small.where, "--out", small.out, "--json").json
    assert [f"plan-{small.case_id}.html", f"plan-{small.case_id}.pdf"] == [
        path.rsplit("/", 1)[-1] for path in done["files"][:2]
    ]
    assert sorted(map(str, small.out.iterdir())) == sorted(done["files"])
    checked_findings(done["findings"])
    assert small.document("html").read_bytes().startswith(b"<!doctype html>")
    assert small.document("pdf").read_bytes().startswith(b"%PDF-")
    for kind in ("html", "pdf"):
        first, second = small_once.document(kind).read_bytes(), small.document(kind).read_bytes()
        assert hashlib.sha256(first).hexdigest() == hashlib.sha256(second).hexdigest()


def uids(path: Path) -> list[str]:
    """Return the UIDs of a calendar file's events."""
    events = Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    return [str(event["UID"]) for event in events]


def test_calendar_and_its_file_issued_twice(small_once: OnRecord, tmp_path: Path) -> None:
    file = tmp_path / "follow.ics"
    asked = ("calendar", small_once.case_id, *small_once.where, "--ics", file, "--json")
    first = thalweg(*asked).json
    events = uids(file)
    assert events
    assert len(set(events)) == len(events)
    second = thalweg(*asked).json
    assert second == first
    assert uids(file) == events
    assert first["diversion"] == "cutaneous-single"
    assert len(first["visits"]) >= len(events)
    checked_findings(first["findings"])
    for visit in first["visits"]:
        assert visit["why"]
        assert visit["due"] is None or visit["due"] >= "2026-04-20"


def test_calendar_for_another_diversion(small_once: OnRecord) -> None:
    ran = thalweg(
        "calendar", small_once.case_id, *small_once.where, "--diversion", "ileal-conduit", "--json"
    )
    assert ran.json["diversion"] == "ileal-conduit"
    refused = thalweg(
        "calendar", small_once.case_id, *small_once.where, "--diversion", "magic", "--json"
    )
    assert "ileal-conduit" in refused.refusal(*SECRETS)


def test_calendar_file_in_place_of_a_folder(small_once: OnRecord, tmp_path: Path) -> None:
    ran = thalweg("calendar", small_once.case_id, *small_once.where, "--ics", tmp_path)
    assert str(tmp_path) in ran.refusal(*SECRETS)
    assert list(tmp_path.iterdir()) == []


def test_verify_says_what_is_broken(small: OnRecord) -> None:
    assert "The record is whole" in thalweg("verify", "--home", small.home).out
    stored = max((small.home / "images").rglob("*"), key=lambda path: path.stat().st_size)
    stored.chmod(0o600)
    stored.write_bytes(stored.read_bytes()[:-2] + b"\0\1")
    ran = thalweg("verify", "--home", small.home, "--json")
    assert ran.code == 1
    assert len(strict_json(ran.out)["problems"]) == 1


@pytest.mark.parametrize("command", ["case", "kidney", "appraise", "plan", "calendar"])
def test_no_such_case(small_once: OnRecord, command: str) -> None:
    line = thalweg(command, "none-such", *small_once.where).refusal(*SECRETS)
    assert "there is no case 'none-such'" in line
    assert "thalweg cases" in line


@pytest.mark.parametrize(
    "arguments",
    [
        ("bogus",),
        ("cases", "--bogus"),
        ("case",),
        ("cases", "--on", "2026-13-01"),
        ("intake", "nowhere"),
        ("plan",),
    ],
)
def test_misuse_is_one_line(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    assert thalweg(*arguments, *(["--home", tmp_path] if len(arguments) > 1 else [])).refusal()


def test_a_home_that_cannot_be(tmp_path: Path) -> None:
    tmp_path.joinpath("file").touch()
    assert "store" in thalweg("cases", "--home", tmp_path / "file").refusal()
