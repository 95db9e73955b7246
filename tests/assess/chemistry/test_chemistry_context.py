"""What the bowel, the limits and the traps add to a disturbance; worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.support.chemistry_people import (
    DAY,
    HERE,
    URINE,
    chem_fact,
    ions,
    report,
    told,
)

from thalweg.record.fact import Fact


def test_the_size_of_a_deficit_is_a_range_and_no_dose() -> None:
    found = report(ions(138, 112, 14) | {"weight": "70kg"})["bicarbonate-deficit"]
    assert (found.value, found.interval) == (350.0, (280.0, 420.0))
    assert "never a dose" in told(found)
    # At 5 mmol/L Fernandez' space, 0.92, goes beyond 0.6.
    deep = report(ions(138, 112, 5) | {"weight": "70kg"})["bicarbonate-deficit"]
    assert deep.interval is not None
    assert deep.interval[1] == pytest.approx(0.92 * 70 * 19)
    assert report(ions(138, 112, 14))["bicarbonate-deficit"].missing == ("weight",)


@pytest.mark.parametrize(
    ("bowel", "value", "missing"),
    [
        ({"bowel-in-urinary-tract": True}, None, ()),
        ({"bowel-segment": "ileum"}, None, ()),
        ({"bowel-in-urinary-tract": False}, -20.0, ()),
        ({"bowel-segment": "none"}, -20.0, ()),
        ({}, -20.0, ("bowel-in-urinary-tract",)),
    ],
)
def test_urine_from_bowel_is_not_read(
    bowel: dict[str, str | bool], value: float | None, missing: tuple[str, ...]
) -> None:
    found = report(ions(138, 112, 14) | URINE | bowel)["urine-anion-gap"]
    assert (found.value, found.missing) == (value, missing)
    if value is None:
        assert "has lain in bowel" in told(found)
    elif missing:
        assert "without a meaning yet" in told(found)
    else:
        assert "answer with ammonium" in told(found)


@pytest.mark.parametrize(
    ("segment", "given", "verdict"),
    [
        ("ileum", ions(138, 112, 14) | {"potassium": "3.6mmol/L"}, "fits, does not prove: 4 of 4"),
        ("colon", ions(138, 112, 14) | {"potassium": "3.2mmol/L"}, "fits, does not prove: 4 of 4"),
        ("colon", ions(138, 112, 14) | {"potassium": "5.6mmol/L"}, "fits in part: 3 of 4"),
        ("ileum", ions(135, 100, 10) | {"potassium": "4mmol/L"}, "does not fit"),
        ("ileum", ions(140, 104, 25) | {"potassium": "4mmol/L"}, "not developed"),
        # Golimbu and Morales 1975: low sodium and chloride, high potassium and urea, acidosis.
        (
            "jejunum",
            ions(126, 92, 17, 30) | {"potassium": "6.1mmol/L", "urea": "21mmol/L"},
            "fits, does not prove: 5 of 5",
        ),
        # Kurzrock 1998: chloride falls and bicarbonate rises, sodium and potassium as before.
        ("stomach", ions(140, 93, 36) | {"potassium": "3.9mmol/L"}, "fits, does not prove: 4 of 4"),
        ("none", ions(138, 112, 14), "none expected"),
    ],
)
def test_the_segment_s_pattern(segment: str, given: dict[str, str], verdict: str) -> None:
    found = report({**given, "bowel-segment": segment})["segment-pattern"]
    assert found.shown().startswith(verdict)
    assert "bowel-segment" in {fact.concept for fact in found.facts}


def test_an_unmeasured_item_of_a_pattern_is_not_known() -> None:
    found = report(ions(138, 112, 14) | {"bowel-segment": "ileum"})["segment-pattern"]
    assert found.shown() == "fits, does not prove: 3 of 4 agree, 0 contradict"
    assert found.missing == ("potassium",)
    assert "potassium low or normal: not known" in told(found)


@pytest.mark.parametrize(
    ("operated", "verdict"), [("2025-11-03", "Pattern of the segment: ileum"), ("2026-05-01", "")]
)
def test_the_segment_is_concluded_only_from_a_diversion_made(operated: str, verdict: str) -> None:
    diversion: dict[str, str | bool] = {
        "planned-diversion": "ileal-conduit",
    }
    when = Fact("operation-date", operated, None, DAY, HERE)
    found = report(ions(138, 112, 14) | diversion, when)
    assert (found["segment-pattern"].title if "segment-pattern" in found else "") == verdict
    if verdict:
        assert "Concluded from the ileal-conduit" in told(found["segment-pattern"])


def test_mimics_are_recorded_denied_or_not_known() -> None:
    given: dict[str, str | bool] = {"diarrhoea": True, "saline-infusion": False}
    found = report(ions(138, 112, 14) | given)["segment-mimics"]
    assert found.shown() == "1 recorded, 1 denied, 5 not known"
    assert "Recorded: Diarrhoea" in told(found)
    assert "Much saline" not in told(found)
    assert "urine-leak" in found.missing
    assert "segment-mimics" not in report(ions(140, 104, 25) | given)


def test_a_urine_leak_as_published() -> None:
    # Kidney Week 2025, SA-PO0069: sodium 116, potassium 6.4, bicarbonate 15 mmol/L; the chloride
    # is invented.
    leak = report(ions(116, 90, 15) | {"potassium": "6.4mmol/L", "urine-leak": True})
    assert "Recorded: A leak of urine" in told(leak["segment-mimics"])
    assert leak["trap-potassium-high"].value == "applies"
    assert leak["chemistry-level"].value == "urgent"


@pytest.mark.parametrize(
    ("base", "level"),
    [
        ("22", "no limit crossed"),
        ("21.9", "flag"),
        ("21", "flag"),
        ("20.9", "flag; review if a second result agrees"),
        ("18", "flag; review if a second result agrees"),
        ("17.9", "urgent"),
    ],
)
def test_limits_at_their_edges(base: str, level: str) -> None:
    found = report({"bicarbonate": f"{base}mmol/L", "potassium": "4.2mmol/L"})
    assert found["chemistry-level"].value == level


def test_two_results_make_a_review() -> None:
    now = {"bicarbonate": "20mmol/L"}

    def level(value: str, days: int) -> object:
        earlier = chem_fact("bicarbonate", value, DAY - timedelta(days=days))
        return report(now, earlier)["chemistry-level"].value

    assert level("20.5mmol/L", 30) == "review"
    assert level("20.5mmol/L", 120) == "review"
    assert level("20.5mmol/L", 121) == "flag; review if a second result agrees"
    assert level("23mmol/L", 30) == "flag; review if a second result agrees"
    # Two results of one day are one state.
    morning = chem_fact("bicarbonate", "20mmol/L", datetime(2026, 3, 2, 6, tzinfo=UTC))
    noon = chem_fact("bicarbonate", "20.4mmol/L", datetime(2026, 3, 2, 12, tzinfo=UTC))
    assert report({}, morning, noon)["chemistry-level"].value == (
        "flag; review if a second result agrees"
    )


def test_the_course_of_bicarbonate_is_the_line_through_it() -> None:
    # Exactly 1 mmol/L less every 30.4375 days would be a slope of −1; days are whole, so near it.
    facts = [
        chem_fact(
            "bicarbonate", f"{24 - month}mmol/L", DAY - timedelta(days=round(30.4375 * (3 - month)))
        )
        for month in range(4)
    ]
    trend = report({}, *facts)["bicarbonate-trend"]
    assert trend.value == pytest.approx(-1, abs=0.01)
    assert trend.unit == "mmol/L/mo"
    assert "bicarbonate-trend" not in report({}, *facts[2:])


def test_traps_apply_only_where_they_do() -> None:
    low: dict[str, str | bool] = {"potassium": "3.9mmol/L", "magnesium": "1.3meq/L"}
    found = report(ions(138, 112, 14) | low)
    assert {"trap-potassium-falls", "trap-magnesium-low"} <= set(found)
    well = report(ions(138, 112, 14) | {"potassium": "4.0mmol/L", "magnesium": "1.4meq/L"})
    assert not {"trap-potassium-falls", "trap-magnesium-low", "trap-potassium-high"} & set(well)
    assert "ionised-calcium" in well["traps-not-known"].missing
    # Without a disturbance potassium is no trap of correction.
    assert "trap-potassium-falls" not in report(ions(140, 104, 25) | low)


@pytest.mark.parametrize(
    ("fact", "trap"),
    [
        ("lithium-taken", "trap-lithium"),
        ("phenytoin-taken", "trap-phenytoin"),
        ("methotrexate-taken", "trap-methotrexate"),
        ("liver-failure", "trap-ammonia-liver"),
        ("confusion-new", "trap-ammonia-confusion"),
    ],
)
def test_drugs_and_ammonia_come_back_only_from_bowel(fact: str, trap: str) -> None:
    well = ions(140, 104, 25)
    assert trap in report({**well, fact: True, "bowel-segment": "ileum"})
    assert trap not in report({**well, fact: True, "bowel-segment": "none"})
    assert trap not in report({**well, fact: False, "bowel-segment": "ileum"})
    assert fact in report({**well, "bowel-segment": "ileum"})["traps-not-known"].missing
