"""Decline from a case: what is left out, what is judged, and when a limit would be met.

Cases are built backwards: results are made from wished filtration rates by inverting CKD-EPI 2021
(Inker LA et al. N Engl J Med 2021;385:1737) above its knee, so that the true course is known.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from tests.support.kidney_case import kidney_case, known

from thalweg.assess.decline.report import decline_findings, decline_of
from thalweg.assess.rules import kidney_rules
from thalweg.record.case import age_in_years
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

BORN = date(1956, 3, 10)
FIRST = date(2020, 3, 10)
AT = date(2026, 6, 1)


def result(rate: float, day: date) -> Fact:
    """Return the creatinine of a woman born on `BORN` that gives a rate, all above the knee."""
    age = age_in_years(BORN, day)
    creatinine = 0.7 * (142.0 * 0.9938**age * 1.012 / rate) ** (1 / 1.2)
    return known("creatinine", f"{creatinine:.6f}", "mg/dL", day)


def yearly(*rates: float, first: date = FIRST, step: float = 365.25) -> list[Fact]:
    """Return results so many days apart."""
    return [result(r, first + timedelta(days=round(n * step))) for n, r in enumerate(rates)]


def found_in(*facts: Fact, at: date = AT) -> dict[str, Finding]:
    """Return the findings by name."""
    return {one.name: one for one in decline_findings(kidney_case(*facts, born=BORN), at)}


def said(finding: Finding) -> str:
    """Return all cautions as one text."""
    return " ".join(finding.all_cautions)


def test_a_straight_course_is_read_back() -> None:
    found = found_in(*yearly(70, 68, 66, 64, 62, 60, 58))
    slope = found["gfr-slope"]
    assert slope.value == pytest.approx(-2.0, abs=0.01)
    assert slope.unit == "mL/min/{1.73_m2}/a"
    # Eriksen 2020 (abstract): healthy women -0.92 a year.
    assert found["gfr-slope-beyond-ageing"].value == pytest.approx(-1.08, abs=0.01)
    assert found["gfr-rapid-decline"].value is Truth.NOT_MET
    # 58 on 2026-03-10, 2 a year: 50 after 4 years, 45 after 6.5, 40 after 9, 30 after 14.
    assert str(found["gfr-reaches-50"].value).startswith("2030-03 to 2030-03")
    assert "2032-09" in str(found["gfr-reaches-45"].value)
    assert "2035-03" in str(found["gfr-reaches-40"].value)
    assert found["gfr-reaches-30"].value == "not within 10 years"


@pytest.mark.parametrize(
    ("rates", "expected"),
    [
        # Worked by hand: 62 to 45 is -27.4 %, G2 to G3a; 62 to 58 is -6.5 %, G2 to G3a; 89 to 67 is
        # -24.7 % within G2; 120 to 90 is -25 % within G1.
        ((62, 55, 45), Truth.MET),
        ((62, 60, 58), Truth.NOT_MET),
        ((89, 80, 67), Truth.NOT_MET),
        ((80, 70, 60), Truth.NOT_MET),
        ((80, 70, 59.4), Truth.MET),
    ],
)
def test_certain_drop_needs_category_and_a_quarter(
    rates: tuple[float, ...], expected: Truth
) -> None:
    assert found_in(*yearly(*rates))["gfr-certain-drop"].value is expected


def test_rapid_decline_needs_a_year_and_three_results() -> None:
    rapid = found_in(*yearly(80, 70, 64, 59))["gfr-rapid-decline"]
    assert rapid.value is Truth.MET
    assert "hint" in said(rapid)
    short = found_in(*yearly(80, 70, 64, 59, step=90))["gfr-rapid-decline"]
    assert short.value is Truth.NOT_KNOWN
    assert found_in(*yearly(80, 70)) == {}


def test_the_change_from_the_last_result_and_its_usual_variation() -> None:
    wide = found_in(*yearly(70, 70, 55))["gfr-last-change"]
    assert wide.value == pytest.approx(100 * (55 - 70) / 70, abs=0.01)
    assert "obstruction" in said(wide)
    assert "Within the 20%" in said(found_in(*yearly(70, 70, 57))["gfr-last-change"])


def test_an_acute_injury_is_left_out_of_the_slope() -> None:
    steady = yearly(70, 68, 66, 64, 62, 60)
    spell = FIRST + timedelta(days=800)
    hurt = [result(65, spell), result(25, spell + timedelta(days=2))]
    healing = result(40, spell + timedelta(days=6))
    found = found_in(*steady, *hurt, healing)
    assert "3 result(s) of an acute kidney injury" in said(found["gfr-slope"])
    assert len(found["gfr-slope"].facts) == 6
    assert found["gfr-slope"].value == pytest.approx(-2.0, abs=0.15)


def test_cystatin_is_not_mixed_in_but_followed_where_creatinine_misleads() -> None:
    cystatins = [
        known("cystatin-c", value, "mg/L", FIRST + timedelta(days=365 * n))
        for n, value in enumerate(("1.0", "1.1", "1.2"))
    ]
    facts = [*yearly(70, 68, 66), *cystatins]
    found = found_in(*facts)
    assert {fact.concept for fact in found["gfr-slope"].facts} == {"creatinine"}
    assert "not mixed" in said(found["gfr-slope"])
    bowel = known("bowel-in-urinary-tract", True, None, FIRST)
    assert {f.concept for f in found_in(*facts, bowel)["gfr-slope"].facts} == {"cystatin-c"}


def test_the_operation_parts_the_course() -> None:
    operated = FIRST + timedelta(days=3 * 365)
    before = yearly(80, 79, 78)
    after = yearly(70, 66, 62, 58, first=operated + timedelta(days=120), step=182.6)
    early = result(50, operated + timedelta(days=30))
    word = known("operation-date", operated.isoformat(), None, FIRST)
    found = found_in(*before, early, *after, word)
    assert found["gfr-slope-before-operation"].value == pytest.approx(-1.0, abs=0.02)
    assert found["gfr-slope-after-operation"].value == pytest.approx(-8.0, abs=0.1)
    # What is followed now is the course after it, without the weeks of recovery.
    assert found["gfr-slope"].value == found["gfr-slope-after-operation"].value
    # Before the operation's own day it parts nothing.
    planned = known("operation-date", (AT + timedelta(days=9)).isoformat(), None, FIRST)
    assert "gfr-slope-before-operation" not in found_in(*before, planned)


def test_a_break_is_told_with_its_days() -> None:
    wobble = [0.4, -0.3, 0.2, -0.5, 0.3, 0.1, -0.2, 0.4, -0.1, 0.2, -0.3, 0.1]
    true = [78, 77.8, 77.5, 77.3, 77, 76.8, 70, 66, 62, 58, 54, 50]
    rates = [rate + shake for rate, shake in zip(true, wobble, strict=True)]
    found = found_in(*yearly(*rates, step=182.6))
    first, last = FIRST + timedelta(days=913), FIRST + timedelta(days=1096)
    assert found["gfr-break"].value == f"between {first.isoformat()} and {last.isoformat()}"


def test_few_results_have_no_interval_and_no_day_of_crossing() -> None:
    found = found_in(*yearly(70, 66, 62, 58))
    assert found["gfr-slope"].interval is None
    assert found["gfr-reaches-50"].value is None
    assert "Cannot be said" in said(found["gfr-reaches-50"])


def test_a_limit_already_passed_and_one_never_met() -> None:
    found = found_in(*yearly(44, 44.5, 45, 44.8, 45.2, 45.5, 46))
    assert found["gfr-reaches-50"].value == "already there"
    assert found["gfr-reaches-15"].value == "not within 10 years"


def test_the_order_of_the_record_does_not_matter() -> None:
    facts = yearly(70, 66, 67, 61, 60, 55, 56, 51)
    one = found_in(*facts)
    other = found_in(*reversed(facts))
    assert {k: (v.value, v.interval) for k, v in one.items()} == {
        k: (v.value, v.interval) for k, v in other.items()
    }


def test_under_fifty_no_ageing_is_taken_out() -> None:
    facts = yearly(70, 68, 66, first=date(2000, 3, 10))
    found = found_in(*facts, at=date(2003, 1, 1))
    assert found["gfr-slope-beyond-ageing"].value is None


def test_a_unit_may_ask_for_other_limits() -> None:
    own = {"decline-thresholds": {"gfr": [35], "horizon_years": 20, "source": "unit, 2026"}}
    case = kidney_case(*yearly(70, 68, 66, 64, 62, 60), born=BORN)
    names = {one.name for one in decline_findings(case, AT, kidney_rules(own))}
    assert {name for name in names if "reaches" in name} == {"gfr-reaches-35"}
    found = decline_of(case, AT, kidney_rules(own))
    assert found is not None
    assert found.horizon_years == 20
