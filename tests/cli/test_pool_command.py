"""`thalweg pool` through the real command line."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from tests.support.commands import checked_findings, thalweg

if TYPE_CHECKING:
    from pathlib import Path

# The worked set of tube-free renal units, pooled by metafor 3.8-1: REML, mu 1.63594553, as a share
# 83.698 %; DerSimonian and Laird by hand: 83.68 %.
TABLE = """series,year,n,events,follow_up,follow_up_kind,group
First,2006,124,102,23 months,median,older
Second,2006,45,35,23 months,median,older
Third,2023,78,56,44 months,mean,newer
Fourth,2023,98,89,44 months,mean,newer
Fifth,2025,90,82,8.5 years,median,newer
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "series.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_published_hernias_beside_the_unit_s_own(tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text(
        "outcome,definition,diversion,population,from,to,year,n,events,follow_up,follow_up_kind\n"
        "parastomal-hernia,hernia-found-clinically,ileal-conduit,adult,2015,2024,2026,60,40,"
        "31 months,median\n",
        encoding="utf-8",
    )
    drawn = tmp_path / "forest.svg"
    found = thalweg(
        *("pool", "--outcome", "parastomal-hernia", "--diversion", "ileal-conduit"),
        *("--definition", "hernia-found-clinically", "--population", "adult"),
        *("--unit-series", own, "--picture", drawn, "--on", "2026-11-01", "--json"),
    ).json
    share = checked_findings(found["findings"])["pooled-share"]
    (one,) = found["pools"]
    assert share["unit"] == "%"
    assert share["value"] == one["pooled"]["share_percent"]
    assert [row["events_count"] for row in one["series"]] == [19, 115, 43]
    assert one["pooled"]["events_count"] == 177
    assert one["own"][0]["own"] is True
    assert one["compared"][0]["standing"] == "above"
    assert "contradict each other" in one["left_out"][0]["left_out_because"]
    assert {row["source"] for row in one["series"]} <= set(found["sources"])
    assert drawn.read_text(encoding="utf-8").startswith("<?xml")


def test_a_table_of_one_s_own(table: Path) -> None:
    found = thalweg("pool", table, "--on", "2026-11-01", "--json").json
    (one,) = found["pools"]
    assert one["pooled"]["share_percent"] == pytest.approx(83.6982, abs=1e-3)
    assert one["pooled"]["method"] == "reml"
    assert one["series"][4]["follow_up_months"] == pytest.approx(102)
    assert [group["definition"] for group in found["groups"]] == ["older", "newer"]
    assert 0 < found["between_groups"]["chance"] < 1
    by_hand = thalweg("pool", table, "--method", "dl", "--on", "2026-11-01", "--json").json
    assert by_hand["pools"][0]["pooled"]["share_percent"] == pytest.approx(83.68, abs=5e-3)


def test_people_read_the_same(table: Path) -> None:
    ran = thalweg("pool", table, "--on", "2026-11-01")
    assert ran.code == 0
    assert "102 of 124" in ran.out
    assert "83.7 % (70.5 to 91.7)" in ran.out
    assert "a further place of the same kind: 49.5 to 96.4 %" in ran.out
    assert "taken on trust" in ran.out
    assert "does not replace licensed judgement" in ran.out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "either a table or --outcome"),
        (("--outcome", "stenosis"), "not known"),
        (("--outcome", "stone", "--diversion", "ileal"), "not a diversion"),
        (("--outcome", "stone", "--definition", "stenosis-treated"), "not known"),
        (("--outcome", "stone", "--counted", "kidney"), "not known"),
        (("--outcome", "stone", "--population", "old"), "not known"),
        (("--outcome", "stone", "--method", "best"), "not known"),
        (("--outcome", "stone", "--diversion", "nephrostomy", "--counted", "ureter"), "nothing on"),
        (("--outcome", "stone", "--picture", "x.svg"), "choose by --definition"),
        (
            ("--outcome", "leak", "--diversion", "ileal-conduit", "--picture", "x.bmp"),
            "ending|.bmp",
        ),
    ],
)
def test_what_cannot_be_pooled_is_said(words: tuple[str, ...], sentence: str) -> None:
    assert re.search(sentence, thalweg("pool", *words).refusal())


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("102,23 months", "125,23 months", "125 events of 124"),
        ("102,23 months", "x,23 months", "not a whole number"),
        ("102,23 months", "102,23", "row 2"),
        ("First,2006", "First,1066", "cannot be meant"),
        ("First,2006", "First,2099", "cannot be meant"),
        ("23 months,median,older\nSecond", ",median,older\nSecond", "kind of a follow-up"),
        ("year,n", "year,m", "unknown column"),
    ],
)
def test_a_table_that_cannot_be_used(table: Path, old: str, new: str, sentence: str) -> None:
    table.write_text(TABLE.replace(old, new), encoding="utf-8")
    assert sentence in thalweg("pool", table, "--on", "2026-11-01").refusal()


def test_a_table_and_a_choice_of_published_ones_do_not_go_together(table: Path) -> None:
    assert "not both" in thalweg("pool", table, "--outcome", "stone").refusal()
    assert "as it stands" in thalweg("pool", table, "--population", "adult").refusal()
    table.write_text(TABLE + TABLE.splitlines()[1] + "\n", encoding="utf-8")
    assert "stands twice" in thalweg("pool", table, "--on", "2026-11-01").refusal()


def test_a_unit_s_own_rule_is_used_and_said(table: Path, tmp_path: Path) -> None:
    folder = tmp_path / "protocol"
    folder.mkdir()
    rule = '[sparse]\nleast_events = 1000\nsource = "our audit of 2026"\n'
    (folder / "pooling-methods.toml").write_text(rule, encoding="utf-8")
    found = thalweg("pool", table, "--protocol", folder, "--on", "2026-11-01", "--json").json
    assert found["pools"][0]["pooled"]["method"] == "exact"
    assert any("own protocol" in one for one in found["pools"][0]["cautions"])
