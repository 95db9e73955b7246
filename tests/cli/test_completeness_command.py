"""`thalweg case` tells what the work-up lacks: in JSON, at the keyboard, by a unit's own rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import write_small_case

if TYPE_CHECKING:
    from pathlib import Path

CASE = """\
[person]
reference = "SU-0418"
name = "Ben Sample"
born = 1950-01-02
sex = "male"

[course]
at = 2026-03-02
indication = "bladder cancer"
kidneys-present = "both"
bladder-kept = false
operation-date = 2026-06-10
diabetes = "none"
urine-culture = "no growth"
"""
LABS = """\
test,value,unit,taken
creatinine,1.0,mg/dL,2026-03-01T08:30+01:00
hba1c,61,mmol/mol,2026-03-01T08:30+01:00
haemoglobin,13,g/dL,2025-11-01
"""
OURS = """\
[item.haemoglobin]
words = "haemoglobin"
group = "fitness"
parts = ["haemoglobin"]
old_after_days = 365
serves = "fitness"
effort = "blood or urine test"
source = "Our clinic, 2026"
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return a record with one small case, and the case's id."""
    folder = tmp_path_factory.mktemp("complete")
    write_small_case(folder / "case", case_toml=CASE, labs=LABS, images=False)
    record = folder / "record"
    taken = thalweg("intake", folder / "case", "--home", record, "--on", "2026-04-01", "--json")
    return record, taken.json["case"]


def test_json_carries_every_item_and_what_it_could_change(home: tuple[Path, str]) -> None:
    record, case_id = home
    shown = thalweg("case", case_id, "--home", record, "--on", "2026-04-01", "--json").json
    whole = shown["completeness"]
    assert whole["operation_date"] == "2026-06-10"
    assert sum(whole["counts"].values()) == len(whole["items"])
    items = {item["key"]: item for item in whole["items"]}
    # 101 days from 1 March to 10 June; 90 are allowed.
    assert items["creatinine"]["state"] == "due again"
    assert items["creatinine"]["days_over"] == 11
    assert items["creatinine"]["answers"][0]["said"] == "1.0 mg/dL"
    assert items["haemoglobin"]["state"] == "too old"
    assert items["diabetes"]["state"] == "contradicting"
    assert [clash["key"] for clash in whole["contradictions"]] == ["no-diabetes-but-hba1c"]
    fit = items["fit-for-bowel"]["could_change"]
    assert {"diversion": "ileal-conduit", "after": "closed"}.items() <= fit[0].items()
    assert set(whole["settle_first"]) == {
        key for key, item in items.items() if item["state"] not in ("done", "not asked")
    }
    found = checked_findings(shown["findings"])["workup-complete"]
    assert found["value"] == "not met"
    assert "urea" in found["missing"]


def test_at_the_keyboard_the_first_five_then_counts(home: tuple[Path, str]) -> None:
    record, case_id = home
    told = thalweg("case", case_id, "--home", record, "--on", "2026-04-01").out.splitlines()
    (start,) = [number for number, line in enumerate(told) if line.startswith("Work-up on ")]
    assert "for an operation on 2026-06-10" in told[start]
    assert "1 too old" in told[start]
    numbered = [
        line for line in told[start:] if line.lstrip()[:2] in ("1.", "2.", "3.", "4.", "5.")
    ]
    assert len(numbered) == 5
    assert any(line.startswith("! No diabetes, yet") for line in told)


def test_a_units_own_rules_take_the_place_of_ours(home: tuple[Path, str], tmp_path: Path) -> None:
    record, case_id = home
    (tmp_path / "workup.toml").write_text(OURS, encoding="utf-8")
    asked = ("case", case_id, "--home", record, "--on", "2026-04-01", "--protocol", tmp_path)
    whole = thalweg(*asked, "--json").json["completeness"]
    item = next(item for item in whole["items"] if item["key"] == "haemoglobin")
    assert item["state"] == "done"
    assert item["source"] == "Our clinic, 2026"
    assert any("own protocol" in caution for caution in whole["cautions"])
    (tmp_path / "workup.toml").write_text(OURS.replace("fitness", "liver", 1), encoding="utf-8")
    line = thalweg(*asked, "--json").refusal("SU-0418", "Sample")
    assert "[item.haemoglobin]" in line
    assert "liver" in line


def test_an_operation_that_is_past_is_said(home: tuple[Path, str]) -> None:
    record, case_id = home
    shown = thalweg("case", case_id, "--home", record, "--on", "2026-07-01", "--json").json
    whole = shown["completeness"]
    assert whole["operation_date"] is None
    assert any("has passed" in caution for caution in whole["cautions"])
