"""Visits as findings and as appointments: nothing without method, source, date and caution."""

from __future__ import annotations

from datetime import date

import pytest

from thalweg.care.calendar import (
    appointments_of,
    calendar_rules,
    findings_of,
    lay_out,
)
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.record.fact import Fact, Origin
from thalweg.record.truth import Truth

OPERATION = date(2026, 1, 31)
FACT = Fact("operation-date", "2026-01-31", None, OPERATION, Origin("by hand"))
DONE = Fact(
    "visit-done", True, None, date(2026, 8, 20), Origin("by hand"), label="upper-tract-imaging"
)
RULES = calendar_rules()
CALENDAR = lay_out(
    "colon-conduit",
    OPERATION,
    {"bladder-cancer": Truth.MET},
    RULES,
    today=date(2026, 9, 1),
    facts=(DONE,),
    operation_fact=FACT,
)


def test_every_visit_is_a_finding_with_date_source_and_caution() -> None:
    findings = findings_of(CALENDAR)
    assert len(findings) == len(CALENDAR.visits) + len(CALENDAR.undecided)
    for finding in findings:
        plain = finding.to_json(cite)
        assert plain["source"]
        assert plain["cautions"]
        if finding.value is None:
            assert plain["missing"]
        else:
            assert date.fromisoformat(str(plain["value"])) > OPERATION
            assert FACT in finding.facts


def test_a_done_visit_rests_on_what_shows_it_done() -> None:
    (finding,) = [f for f in findings_of(CALENDAR) if f.name == "calendar-upper-tract-imaging-1"]
    assert finding.value == "2026-07-31"
    assert finding.facts == (FACT, DONE)
    assert finding.at == date(2026, 8, 20)
    assert finding.title == "Imaging of the kidneys and ureters, 6 months after operation"
    assert "Done." in finding.cautions


def test_common_practice_is_called_that() -> None:
    by_name = {f.name: f for f in findings_of(CALENDAR)}
    assert any("common practice" in c for c in by_name["calendar-stoma-review-1"].all_cautions)


def test_an_undated_visit_is_a_finding_without_value_that_asks_for_the_date() -> None:
    relative = lay_out("colon-conduit", None, {}, RULES, today=OPERATION, horizon_years=1)
    finding = findings_of(relative)[0]
    assert finding.value is None
    assert finding.missing == ("operation-date",)
    assert any("1 week after operation" in caution for caution in finding.cautions)


def test_appointments_keep_key_number_and_day_and_name_nobody() -> None:
    entries = appointments_of(CALENDAR)
    assert [(e.rule_key, e.number, e.due) for e in entries] == [
        (v.rule.key, v.number, v.due) for v in CALENDAR.visits
    ]
    for entry in entries:
        assert "Source: " in entry.description
        assert "Caution: " in entry.description
        assert "Why: " in entry.description
    assert not any(e.tentative for e in entries)
    labelled = appointments_of(CALENDAR, label="U-17")
    assert all(e.summary.startswith("U-17: ") for e in labelled)


def test_appointments_before_the_operation_are_tentative() -> None:
    planned = lay_out("colon-conduit", OPERATION, {}, RULES, today=date(2026, 1, 2))
    assert all(entry.tentative for entry in appointments_of(planned))


def test_appointments_do_not_change_from_day_to_day() -> None:
    again = lay_out(
        "colon-conduit",
        OPERATION,
        {"bladder-cancer": Truth.MET},
        RULES,
        today=date(2026, 11, 11),
        facts=(DONE,),
        until=date(2036, 9, 1),
        operation_fact=FACT,
    )
    assert appointments_of(again) == appointments_of(CALENDAR)


def test_without_a_date_there_are_no_appointments() -> None:
    relative = lay_out("colon-conduit", None, {}, RULES, today=OPERATION)
    with pytest.raises(InputError, match="record the date of operation"):
        appointments_of(relative)


def test_a_units_own_rule_names_the_unit_as_its_source() -> None:
    row = {
        "title": "T", "what": "W", "who": "N", "why": "Y.", "diversions": ["all"],
        "at": ["1 year"], "window_days": [3, 4], "source": "Local guideline U7, 2026",
    }  # fmt: skip
    calendar = lay_out(
        "nephrostomy", OPERATION, {}, calendar_rules({"local": row}), today=OPERATION
    )
    (finding,) = [f for f in findings_of(calendar) if f.name == "calendar-local-1"]
    assert any("Local guideline U7, 2026" in caution for caution in finding.all_cautions)
    assert cite(finding.method.sources[0])
