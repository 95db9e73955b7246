"""Writing a plan: whole or not at all, by the unit's own rules where it has them."""

from __future__ import annotations

import errno
import os
from typing import TYPE_CHECKING

import pytest
from tests.support.commands import thalweg
from tests.support.printed import pages, text_of, words
from tests.support.smallcase import CASE_TOML, DAY, SECRETS, write_small_case

from thalweg.errors import InputError
from thalweg.service.protocol import read_protocol
from thalweg.service.safefile import replace_files

if TYPE_CHECKING:
    from pathlib import Path


HOLDS = (
    'finding = "gfr-to-rely-on", called = "GFR", at_least = 95, unit = "mL/min/{1.73_m2}", '
    'needs = ["creatinine"], settled_by = ["measured-gfr"]'
)
CRITERION = f"""\
[criterion.gfr-lower-limit]
sentence = "Kidney function is above this unit's own limit"
strength = "required"
holds = {{ {HOLDS} }}
source = "Invented Hospital, guideline 12, 2026-01-01"
"""
RULE = """\
[upper-tract-imaging]
title = "Ultrasound of the kidneys"
what = "Both kidneys"
who = "urology"
why = "This unit looks sooner."
diversions = ["all"]
at = ["5 weeks"]
window_days = [7, 7]
source = "Invented Hospital, guideline 14, 2026-01-01"
standing = "common practice"
"""


def full_after(monkeypatch: pytest.MonkeyPatch, writes: int) -> None:
    """Let the disk be full after so many files."""
    calls, real = iter(range(10_000)), os.fsync

    def full(handle: int) -> None:
        if next(calls) >= writes:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", full)


@pytest.mark.parametrize("writes", [0, 1])
def test_files_that_belong_together_come_together_or_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, writes: int
) -> None:
    one, two = tmp_path / "plan.html", tmp_path / "plan.pdf"
    replace_files({one: b"old", two: b"old"})
    full_after(monkeypatch, writes)
    with pytest.raises(InputError, match="the disk is full; make room and try again"):
        replace_files({one: b"new", two: b"new"})
    assert sorted(tmp_path.iterdir()) == [one, two]
    assert (one.read_bytes(), two.read_bytes()) == (b"old", b"old")


def test_a_folder_in_the_way_of_one_file_stops_all(tmp_path: Path) -> None:
    one, two = tmp_path / "plan.html", tmp_path / "plan.pdf"
    two.mkdir()
    with pytest.raises(InputError, match=r"plan\.pdf: cannot be written"):
        replace_files({one: b"new", two: b"new"})
    assert list(tmp_path.iterdir()) == [two]


def test_a_document_is_as_open_as_the_user_s_other_files(tmp_path: Path) -> None:
    ordinary = tmp_path / "ordinary"
    ordinary.touch()
    replace_files({tmp_path / "plan": b""})
    assert tmp_path.joinpath("plan").stat().st_mode == ordinary.stat().st_mode


def bare(tmp_path: Path) -> tuple[str, ...]:
    """Take in a case without images, and return how to name it."""
    folder = write_small_case(tmp_path / "in", images=False)
    where = ("--home", str(tmp_path / "home"), "--on", DAY.isoformat())
    case_id = thalweg("intake", folder, *where, "--json").json["case"]
    return (case_id, *where)


def test_a_full_disk_leaves_no_half_plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    named = bare(tmp_path)
    full_after(monkeypatch, 1)
    line = thalweg("plan", *named, "--out", tmp_path / "out", "--json").refusal(*SECRETS)
    assert "the disk is full; make room and try again" in line
    assert list((tmp_path / "out").iterdir()) == []


def test_a_plan_where_none_can_be_written(tmp_path: Path) -> None:
    named = bare(tmp_path)
    tmp_path.joinpath("file").touch()
    line = thalweg("plan", *named, "--out", tmp_path / "file").refusal(*SECRETS)
    assert "cannot be written" in line
    assert str(tmp_path / "file") in line


def test_without_images_the_plan_says_what_is_missing(tmp_path: Path) -> None:
    named = bare(tmp_path)
    done = thalweg("plan", *named, "--out", tmp_path / "out", "--json").json
    assert done["routes"] == []
    assert done["problems"] == ["Reach was not computed: no ureter could be freed on paper."]
    rows = {row["key"]: row for row in done["appraisal"]["diversions"]}
    assert rows["cutaneous-single"]["verdict"] == "not yet decidable"
    assert "ureter-left" in rows["cutaneous-single"]["missing"]
    # The same is said on the page and on paper.
    page = words(text_of(tmp_path / "out" / f"plan-{named[0]}.html"))
    paper = words(" ".join(pages(tmp_path / "out" / f"plan-{named[0]}.pdf")))
    for said in ("no ureter could be freed on paper", "not yet decidable"):
        assert said in page
        assert said in paper
    listed = thalweg("cases", *named[1:], "--json").json["cases"]
    assert "images" in listed[0]["lacks"]


def protocol(tmp_path: Path, **tables: str) -> Path:
    """Write a unit's protocol folder."""
    folder = tmp_path / "protocol"
    folder.mkdir()
    for name, text in tables.items():
        folder.joinpath(f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def test_the_unit_s_own_rule_changes_the_verdict_and_is_said(tmp_path: Path) -> None:
    named = bare(tmp_path)
    own = protocol(tmp_path, catalogue=CRITERION, calendar=RULE)
    ours = thalweg("plan", *named, "--out", tmp_path / "ours", "--json").json
    theirs = thalweg("plan", *named, "--out", tmp_path / "theirs", "--protocol", own, "--json").json

    def verdict(done: dict[str, dict[str, list[dict[str, str]]]]) -> str:
        rows = done["appraisal"]["diversions"]
        return next(row["verdict"] for row in rows if row["key"] == "continent-pouch")

    # The rate to rely on is 78 mL/min/1.73 m²: above our limit of 35, below this unit's 95.
    assert verdict(ours) == "not yet decidable"
    assert verdict(theirs) == "closed"
    assert any("gfr-lower-limit" in notice for notice in theirs["appraisal"]["protocol"])
    for kind in ("html", "pdf"):
        path = tmp_path / "theirs" / f"plan-{named[0]}.{kind}"
        shown = words(text_of(path) if kind == "html" else " ".join(pages(path)))
        assert (
            "This unit's own protocol is used for catalogue (criterion): gfr-lower-limit" in shown
        )
        assert "This unit's own protocol is used for the calendar: upper-tract-imaging" in shown
        assert "Invented Hospital, guideline 12" in shown
        assert "Invented Hospital, guideline 14" in shown
    plain = words(text_of(tmp_path / "ours" / f"plan-{named[0]}.html"))
    assert "own protocol is used" not in plain
    assert "Invented Hospital" not in plain


def test_every_command_goes_by_the_unit_s_own_rules(tmp_path: Path) -> None:
    named = bare(tmp_path)
    own = ("--protocol", str(protocol(tmp_path, catalogue=CRITERION, calendar=RULE)), "--json")
    planned = thalweg("plan", *named, "--out", tmp_path / "out", *own).json
    assert thalweg("appraise", *named, *own).json == planned["appraisal"]
    calendar = thalweg("calendar", *named, *own).json
    (visit,) = (one for one in calendar["visits"] if one["title"] == "Ultrasound of the kidneys")
    # Five weeks after the operation of 20 April.
    assert visit["due"] == "2026-05-25"
    assert any("own protocol" in notice for notice in calendar["notices"])
    shown = thalweg("calendar", *named, *own[:2]).out
    assert "This unit's own protocol is used for the calendar: upper-tract-imaging." in shown


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"catalog": CRITERION}, ("catalog.toml", "catalogue.toml")),
        ({"catalogue": CRITERION.replace("source =", "sauce =")}, ("gfr-lower-limit", "source")),
        ({"catalogue": "[criterion"}, ("catalogue.toml", "TOML")),
        (
            {"catalogue": CRITERION.replace("at_least = 95", "at_least = '95'")},
            ("gfr-lower-limit", "'95' is not a number"),
        ),
        ({"catalogue": "[criteria.x]\nsource = 'a'"}, ("criteria", "[criterion.…]")),
        ({"calendar": RULE.replace("5 weeks", "soon")}, ("upper-tract-imaging", "soon")),
        ({}, ("holds no rules", "catalogue.toml")),
    ],
)
def test_a_protocol_that_cannot_be_used(
    tmp_path: Path, tables: dict[str, str], said: tuple[str, ...]
) -> None:
    named = bare(tmp_path)
    own = protocol(tmp_path, **tables)
    ran = thalweg("plan", *named, "--out", tmp_path / "out", "--protocol", own, "--json")
    line = ran.refusal(*SECRETS)
    assert all(part in line for part in said), line
    assert not (tmp_path / "out").exists()


def test_no_protocol_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such folder"):
        read_protocol(tmp_path / "none")


def test_known_on_a_day_before_the_results(tmp_path: Path) -> None:
    """What came later does not count for a day before it."""
    folder = write_small_case(
        tmp_path / "in",
        case_toml=CASE_TOML.replace("at = 2026-03-02", "at = 2026-02-02"),
        images=False,
    )
    home = ("--home", tmp_path / "home")
    case_id = thalweg("intake", folder, *home, "--on", DAY.isoformat(), "--json").json["case"]
    course = thalweg("case", case_id, *home, "--on", "2026-02-15", "--json").json
    assert {fact["at"] for fact in course["facts"]} == {"2026-02-02"}
    rate = next(one for one in course["findings"] if one["name"] == "gfr-to-rely-on")
    assert rate["value"] is None
