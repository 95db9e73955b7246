"""Acute injury from a case: baseline, gaps, both columns of KDIGO's table, and what is open.

Stages by hand from KDIGO's table (Kidney Int Suppl 2012;2:19).
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from tests.support.kidney_case import NOON, hours_on, kidney_case, known

from thalweg.assess.injury.report import injury_findings
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.rules import kidney_rules
from thalweg.errors import InputError
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

DAY = NOON.date()


def found_in(*facts: Fact, at: date = DAY, born: date = date(1956, 3, 10)) -> dict[str, Finding]:
    """Return the injury findings by name."""
    return {one.name: one for one in injury_findings(kidney_case(*facts, born=born), at)}


def creatinine(value: str, hours: float, unit: str = "umol/L") -> Fact:
    """Return a result so many hours after the first noon."""
    return known("creatinine", value, unit, hours_on(hours))


def emptied(hourly_ml: str, hours: range) -> list[Fact]:
    """Return a bag emptied every hour."""
    return [known("urine-emptied", hourly_ml, "mL", hours_on(hour)) for hour in hours]


def said(finding: Finding) -> str:
    """Return all cautions as one text."""
    return " ".join(finding.all_cautions)


def test_the_result_before_the_operation_is_the_baseline() -> None:
    operation = known("operation-date", (DAY - timedelta(days=1)).isoformat())
    before = known("creatinine", "80", "umol/L", DAY - timedelta(days=20))
    found = found_in(operation, before, creatinine("165", 0), creatinine("170", 20))
    assert found["injury-baseline"].value == 80
    assert "before the operation" in said(found["injury-baseline"])
    # 170/80 = 2.1; against the lowest of the week (165) nothing would be seen.
    assert found["injury-stage-creatinine"].value == "stage 2"
    assert found["injury-stage"].value == "at least stage 2"
    assert "urine-emptied" in found["injury-stage"].missing
    assert found["injury-now"].value is Truth.MET


def test_without_an_operation_the_lowest_of_the_week_is_and_it_is_said() -> None:
    found = found_in(creatinine("0.9", -24, "mg/dL"), creatinine("1.2", 0, "mg/dL"))
    assert found["injury-baseline"].value == pytest.approx(79.56, abs=0.01)
    assert "lowest of the 7 days" in said(found["injury-baseline"])
    assert found["injury-stage-creatinine"].value == "stage 1"


def test_a_month_after_the_operation_its_baseline_no_longer_makes_a_rise_acute() -> None:
    operation = known("operation-date", (DAY - timedelta(days=30)).isoformat())
    before = known("creatinine", "80", "umol/L", DAY - timedelta(days=40))
    found = found_in(operation, before, creatinine("165", -24), creatinine("165", 0))
    assert found["injury-stage-creatinine"].value == "no injury shown"


def test_urine_decides_where_creatinine_does_not() -> None:
    weight = known("weight", "70", "kg")
    facts = [weight, creatinine("80", -24), creatinine("80", 0), *emptied("34", range(-13, 1))]
    found = found_in(*facts)
    assert found["injury-stage-creatinine"].value == "no injury shown"
    # 13 covered hours (the first bag has no start) of 34 mL at 70 kg: 0.486 mL/kg/h.
    assert found["injury-stage-urine"].value == "stage 2, up to 3 not excluded"
    assert found["injury-stage"].value == "at least stage 2"
    assert "blocked or kinked" in said(found["injury-stage"])


def test_two_bags_emptied_at_one_moment_are_one_person_s_urine() -> None:
    weight = known("weight", "70", "kg")
    right = emptied("20", range(-13, 1))
    left = [known("urine-emptied", "18", "mL", fact.at) for fact in right]
    found = found_in(weight, *right, *left)
    # 38 mL/h at 70 kg is 0.54: enough, where either bag alone would be stage 2.
    assert str(found["injury-stage-urine"].value).startswith("none shown")


def test_a_bag_not_emptied_for_a_day_is_a_gap() -> None:
    weight = known("weight", "70", "kg")
    late = known("urine-emptied", "300", "mL", hours_on(30))
    found = found_in(weight, *emptied("60", range(-8, 1)), late, at=hours_on(30).date())
    assert "left out" in said(found["injury-stage-urine"])
    begun = known("urine-emptied", "300", "mL", hours_on(30), hours_on(0).isoformat())
    told = found_in(weight, *emptied("60", range(-8, 1)), begun, at=hours_on(30).date())
    # 10 mL/h over 30 h at 70 kg: below 0.3 mL/kg/h for a day.
    assert told["injury-stage-urine"].value == "stage 3"


def test_a_start_that_is_no_time_is_refused() -> None:
    bad = known("urine-emptied", "300", "mL", hours_on(3), "this morning")
    with pytest.raises(InputError, match="label of urine-emptied"):
        found_in(known("weight", "70", "kg"), bad)


def test_without_weight_the_weight_is_what_is_missing() -> None:
    found = found_in(*emptied("20", range(-8, 1)))
    assert "weight" in found["injury-stage"].missing
    assert "injury-stage-urine" not in found


def test_renal_replacement_is_stage_3() -> None:
    started = known("renal-replacement-started", True, None, DAY)
    found = found_in(creatinine("200", 0), started)
    assert found["injury-stage"].value == "stage 3"
    assert found["injury-now"].value is Truth.MET
    assert not found_in(started, creatinine("500", 0), known("on-dialysis", True, None, DAY))


def test_a_child_by_the_bedside_rate() -> None:
    # 0.413 x 110 / 1.4 is 32.5 mL/min/1.73 m² (Schwartz 2009); the rise is 1.75 times: stage 1.
    results = (creatinine("0.8", -30, "mg/dL"), creatinine("1.4", 0, "mg/dL"))
    tall = known("height", "110", "cm")
    found = found_in(tall, *results, born=date(2019, 3, 10))
    assert found["injury-stage-creatinine"].value == "stage 3"
    small = found_in(*results, born=date(2019, 3, 10))
    assert small["injury-stage-creatinine"].value == "stage 1, up to 3 not excluded"
    assert "height" in said(small["injury-stage-creatinine"])


def test_outpatient_results_months_apart_say_nothing_of_injury() -> None:
    assert found_in(creatinine("80", -24 * 90), creatinine("95", 0)) == {}


def test_one_result_after_the_operation_is_not_enough() -> None:
    operation = known("operation-date", (DAY - timedelta(days=2)).isoformat())
    found = found_in(operation, creatinine("90", 0))
    assert found["injury-stage"].value == "none shown, not excluded"
    assert found["injury-now"].value is Truth.NOT_KNOWN
    assert found["injury-now"].missing == ("creatinine", "acute-kidney-injury")


def test_two_results_at_one_moment_that_contradict_are_not_used() -> None:
    found = found_in(
        creatinine("80", -24), creatinine("80", 0), creatinine("150", 0), creatinine("82", 12)
    )
    assert found["injury-stage-creatinine"].value == "no injury shown"
    assert "two different creatinines" in said(found["injury-stage-creatinine"])


def test_no_estimate_is_relied_on_during_an_injury_but_a_measured_rate_is() -> None:
    rising = (creatinine("80", -24), creatinine("150", 0))
    inputs = KidneyInputs.from_case(kidney_case(*rising), DAY)
    relied = {one.name: one for one in kidney_findings(inputs)}["gfr-to-rely-on"]
    assert relied.value is None
    assert relied.missing == ("measured-gfr",)
    assert "unsteady" in said(relied)
    measured = known("measured-gfr", "31", "mL/min/{1.73_m2}", DAY)
    inputs = KidneyInputs.from_case(kidney_case(*rising, measured), DAY)
    assert {one.name: one for one in kidney_findings(inputs)}["gfr-to-rely-on"].value == 31
    steady = KidneyInputs.from_case(kidney_case(creatinine("80", -24), creatinine("82", 0)), DAY)
    held = {one.name: one for one in kidney_findings(steady)}["gfr-to-rely-on"]
    assert isinstance(held.value, float)


def test_an_injury_that_the_clinic_recorded_counts() -> None:
    told = known("acute-kidney-injury", True, None, DAY - timedelta(days=2))
    assert found_in(creatinine("90", 0), told)["injury-now"].value is Truth.MET
    old = known("acute-kidney-injury", True, None, DAY - timedelta(days=20))
    assert found_in(creatinine("90", 0), old)["injury-now"].value is Truth.NOT_KNOWN


def test_a_unit_s_own_threshold_takes_the_place_of_ours() -> None:
    own = {"injury-rise": {"umol_l": 44, "hours": 48, "source": "unit guideline 2026"}}
    case = kidney_case(creatinine("80", -24), creatinine("110", 0))
    ours, theirs = (
        {one.name: one.value for one in injury_findings(case, DAY, rules)}
        for rules in (None, kidney_rules(own))
    )
    assert ours["injury-stage-creatinine"] == "stage 1"
    assert theirs["injury-stage-creatinine"] == "no injury shown"


@pytest.mark.parametrize(
    ("own", "expected"),
    [
        ({"injury-rise": {"umol_l": 44, "hours": 48}}, "names no source"),
        ({"injury-raise": {"source": "x"}}, "not a rule of ours"),
        ({"injury-rise": {"umol_l": "44", "hours": 48, "source": "x"}}, "umol_l is '44'"),
        ({"injury-rise": {"umol_l": 44, "source": "x"}}, "hours is missing"),
        ({"decline-thresholds": {"gfr": [], "horizon_years": 5, "source": "x"}}, "not a list"),
    ],
)
def test_a_faulty_protocol_is_refused(own: dict[str, dict[str, object]], expected: str) -> None:
    with pytest.raises(InputError, match=expected):
        kidney_rules(own)
