"""The report: which disturbance is named, what it rests on, what stays open.

Cases are worked by hand from the published rules (Winters; Narins and Emmett's slopes; Figge's
correction; the delta ratio's bands) or taken from the papers named beside them.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thalweg.assess.chemistry.report import ChemistryInputs, chemistry_findings, chemistry_rules
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography, cite
from thalweg.record.case import Case, Person
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Moment, Origin
from thalweg.record.truth import Truth
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.record.finding import Finding

DAY = date(2026, 3, 2)
HERE = Origin("by hand")
PERSON = Person("SU-1", "Nobody", date(1960, 1, 1), "female")
PH = {"ph-arterial", "ph-venous", "ph"}


def chem_fact(key: str, value: str | bool, at: Moment = DAY) -> Fact:
    """Return a fact from what a test writes, such as ``"137mmol/L"``."""
    if isinstance(value, bool) or (not value[0].isdigit() and value[0] != "-"):
        return Fact(key, value, None, at, HERE)
    number, unit = (Decimal(value), "[pH]") if key in PH else parse_quantity(value)
    return Fact(key, number, unit, at, HERE)


def report(given: Mapping[str, str | bool], *more: Fact, at: date = DAY) -> dict[str, Finding]:
    """Return the findings by name, of a case with the given facts of one day and some more."""
    facts = (*(chem_fact(key, value) for key, value in given.items()), *more)
    inputs = ChemistryInputs.from_case(Case("c", PERSON, facts), at)
    return {finding.name: finding for finding in chemistry_findings(inputs)}


def ions(sodium: float, chloride: float, base: float, albumin: float | None = 40) -> dict[str, Any]:
    """Return the three ions of the gap, and albumin where it is given."""
    found = {
        "sodium": f"{sodium}mmol/L",
        "chloride": f"{chloride}mmol/L",
        "bicarbonate": f"{base}mmol/L",
    }
    return found if albumin is None else found | {"albumin": f"{albumin}g/L"}


def arterial(ph: float, pco2: float) -> dict[str, str]:
    """Return an arterial blood gas."""
    return {"ph-arterial": f"{ph}", "pco2-arterial": f"{pco2}mmHg"}


def told(finding: Finding) -> str:
    """Return all cautions as one text."""
    return " ".join(finding.all_cautions)


@pytest.mark.parametrize(
    ("given", "name"),
    [
        (ions(138, 112, 14), "metabolic acidosis, normal gap (hyperchloraemic); presumed"),
        (
            ions(138, 112, 14) | arterial(7.31, 29),
            "metabolic acidosis, normal gap (hyperchloraemic)",
        ),
        (ions(135, 100, 10) | arterial(7.25, 23), "metabolic acidosis, high gap"),
        (
            ions(136, 108, 16, 20) | arterial(7.32, 32),
            "mixed metabolic acidosis, high gap and normal gap",
        ),
        (
            ions(135, 100, 10) | arterial(7.02, 40),
            "metabolic acidosis, high gap, with respiratory acidosis",
        ),
        (
            ions(138, 112, 14) | arterial(7.38, 24),
            "metabolic acidosis, normal gap (hyperchloraemic), with respiratory alkalosis",
        ),
        # A low bicarbonate that long over-breathing explains: 24 − 0.5 × 12 = 18.
        (ions(140, 111, 18) | arterial(7.43, 28), "respiratory alkalosis"),
        # A high bicarbonate that long under-breathing explains: 24 + 0.35 × 20 = 31.
        (ions(140, 98, 31) | arterial(7.34, 60), "respiratory acidosis"),
        (ions(138, 92, 35) | arterial(7.48, 48), "metabolic alkalosis"),
        (
            ions(138, 92, 35) | arterial(7.38, 60),
            "metabolic alkalosis, with respiratory acidosis",
        ),
        # The gap of 26 with bicarbonate 24: acidosis and alkalosis hide each other.
        (ions(140, 90, 24) | arterial(7.40, 40), "metabolic acidosis, high gap, with metabolic"),
        # Bicarbonate 24 is too low for a carbon dioxide of 70: at least 24 + 3 − 2 = 25.
        (
            ions(140, 107, 24) | arterial(7.15, 70),
            "metabolic acidosis, normal gap (hyperchloraemic), with respiratory acidosis",
        ),
        (ions(140, 104, 25) | arterial(7.40, 41), "no disturbance"),
        (ions(140, 104, 25), "no metabolic disturbance; breathing not judged"),
    ],
)
def test_the_disturbance_is_named(given: dict[str, str], name: str) -> None:
    shown = report(given)["acid-base-disturbance"].shown()
    assert shown.startswith(name)
    assert len(shown) == len(name) or "presumed" in shown or "alkalosis" in shown


def test_without_bicarbonate_nothing_is_named() -> None:
    found = report({"sodium": "138mmol/L"})
    first = found["acid-base-disturbance"]
    assert first.value is None
    assert first.missing == ("bicarbonate",)
    assert found["chemistry-level"].value is None
    assert "anion-gap" in found
    assert set(found["anion-gap"].missing) == {"chloride", "bicarbonate"}


def test_unknown_albumin_widens_the_gap_and_is_never_taken_for_normal() -> None:
    # Gap 12; with albumin between 50 and 20 g/L corrected 9.5 to 17 (Figge, by hand).
    found = report(ions(138, 112, 14, None))
    assert found["anion-gap-corrected"].value is None
    assert found["anion-gap-corrected"].missing == ("albumin",)
    assert "Between 9.5 and 17.0" in told(found["anion-gap-corrected"])
    assert found["normal-gap-acidosis"].value is Truth.NOT_KNOWN
    assert "albumin" in found["acid-base-disturbance"].missing
    # A gap of 25 is high for any albumin.
    assert report(ions(135, 100, 10, None))["high-gap-acidosis"].value is Truth.MET


def test_a_gap_near_its_limit_is_not_settled_unless_the_ratio_settles_it() -> None:
    # 14.0 is the limit of 12 and the error of 2; ratio (14 − 12)/(24 − 20) = 0.5.
    near = report(ions(138, 104, 20) | arterial(7.36, 38))
    assert near["high-gap-acidosis"].value is Truth.NOT_KNOWN
    beyond = report(ions(138.1, 104, 20) | arterial(7.36, 38))
    assert beyond["high-gap-acidosis"].value is Truth.MET
    # 13 with bicarbonate 13: ratio 1/11 below 0.4, so the gap explains almost nothing.
    assert report(ions(138, 112, 13))["normal-gap-acidosis"].value is Truth.MET


def test_delta_ratio_undefined_is_said() -> None:
    delta = report(ions(140, 104, 24))["delta-ratio"]
    assert delta.value is None
    assert "Undefined" in told(delta)


@pytest.mark.parametrize(
    ("pco2", "acidosis", "alkalosis"),
    [
        (31.0, Truth.NOT_MET, Truth.NOT_MET),
        (31.01, Truth.MET, Truth.NOT_MET),
        (27.0, Truth.NOT_MET, Truth.NOT_MET),
        (26.99, Truth.NOT_MET, Truth.MET),
    ],
)
def test_the_ends_of_winters_band(pco2: float, acidosis: Truth, alkalosis: Truth) -> None:
    # Bicarbonate 14: 29 ± 2 mmHg.
    found = report(ions(138, 112, 14) | arterial(7.3, pco2))
    assert found["respiratory-acidosis"].value is acidosis
    assert found["respiratory-alkalosis"].value is alkalosis


def test_a_venous_gas_does_not_judge_breathing() -> None:
    gas: dict[str, str | bool] = {"ph-venous": "7.28", "pco2-venous": "36mmHg"}
    found = report(ions(138, 112, 14) | gas)
    assert found["respiratory-acidosis"].value is Truth.NOT_KNOWN
    assert "venous" in told(found["acid-base-disturbance"])
    assert "pco2-arterial" in found["acid-base-disturbance"].missing
    # Kelly, papers to 2012: venous carbon dioxide below 45 mmHg excludes that it is held back.
    well: dict[str, str | bool] = {"ph-venous": "7.37", "pco2-venous": "44.9mmHg"}
    assert report(ions(140, 104, 25) | well)["respiratory-acidosis"].value is Truth.NOT_MET
    well["pco2-venous"] = "45mmHg"
    assert report(ions(140, 104, 25) | well)["respiratory-acidosis"].value is Truth.NOT_KNOWN


def test_a_gas_that_contradicts_the_measured_bicarbonate_is_said() -> None:
    # pH 7.20 and 40 mmHg make 15.3 mmol/L; the laboratory's 10 cannot be of the same sample.
    found = report(ions(135, 100, 10) | arterial(7.2, 40))
    assert "5.3 apart" in told(found["bicarbonate-from-gas"])
    assert "apart" not in told(
        report(ions(138, 112, 14) | arterial(7.3, 29))["bicarbonate-from-gas"]
    )


def test_total_co2_stands_in_and_says_so() -> None:
    given = {"total-co2" if k == "bicarbonate" else k: v for k, v in ions(138, 112, 14).items()}
    found = report(given)
    assert found["anion-gap"].value == 12.0
    assert "Total CO2 stands in" in told(found["acid-base-disturbance"])
    both = report(ions(138, 112, 14) | {"total-co2": "15mmol/L"})
    assert {fact.concept for fact in both["anion-gap"].facts} == {
        *("sodium", "chloride", "bicarbonate")
    }


def test_ions_of_different_days_make_no_gap() -> None:
    older = chem_fact("sodium", "140mmol/L", DAY - timedelta(days=2))
    given = {k: v for k, v in ions(138, 112, 14).items() if k != "sodium"}
    gap = report(given, older)["anion-gap"]
    assert gap.value is None
    assert "2 days apart" in told(gap)
    yesterday = chem_fact("sodium", "138mmol/L", DAY - timedelta(days=1))
    assert report(given, yesterday)["anion-gap"].value == 12.0


def test_contradicting_results_are_not_used() -> None:
    second = chem_fact("bicarbonate", "22mmol/L")
    found = report(ions(138, 112, 14), second)
    assert found["acid-base-disturbance"].value is None
    assert "Two different values at one time" in told(found["acid-base-disturbance"])


def test_an_old_result_is_said() -> None:
    found = report(ions(138, 112, 14), at=DAY + timedelta(days=91))
    assert "91 days old" in told(found["acid-base-disturbance"])
    assert "days old" not in told(
        report(ions(138, 112, 14), at=DAY + timedelta(days=90))["acid-base-disturbance"]
    )


def test_the_size_of_a_deficit_is_a_range_and_no_dose() -> None:
    found = report(ions(138, 112, 14) | {"weight": "70kg"})["bicarbonate-deficit"]
    assert (found.value, found.interval) == (350.0, (280.0, 420.0))
    assert "never a dose" in told(found)
    # At 5 mmol/L Fernandez' space, 0.92, goes beyond 0.6.
    deep = report(ions(138, 112, 5) | {"weight": "70kg"})["bicarbonate-deficit"]
    assert deep.interval is not None
    assert deep.interval[1] == pytest.approx(0.92 * 70 * 19)
    assert report(ions(138, 112, 14))["bicarbonate-deficit"].missing == ("weight",)


URINE: dict[str, str | bool] = {
    "urine-sodium": "40mmol/L",
    "urine-potassium": "30mmol/L",
    "urine-chloride": "90mmol/L",
}


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


def test_every_finding_says_source_unit_and_facts() -> None:
    given = ions(138, 112, 14) | arterial(7.31, 29) | URINE
    more: dict[str, str | bool] = {
        "weight": "70kg",
        "calcium": "2.2mmol/L",
        "potassium": "3.4mmol/L",
    }
    osmoles: dict[str, str | bool] = {
        "glucose": "5mmol/L",
        "urea": "9mmol/L",
        "osmolality": "305mOsm/kg",
        "bowel-segment": "none",
    }
    found = report(given | more | osmoles)
    assert found["osmolal-gap"].value == pytest.approx(305 - (2 * 138 + 5 + 9))
    assert found["calcium-adjusted"].value == pytest.approx(2.2)
    for finding in found.values():
        row = finding.to_json(cite)
        assert row["source"]
        assert set(finding.method.sources) <= set(bibliography())
        if finding.name not in ("traps-not-known", "segment-mimics"):
            assert row["facts"], finding.name
        if isinstance(finding.value, float):
            assert finding.unit


@settings(max_examples=15, deadline=None)
@given(
    st.floats(110, 160), st.floats(85, 125), st.floats(5, 40), st.floats(15, 50), st.floats(15, 80)
)
def test_units_do_not_change_what_is_found(
    sodium: float, chloride: float, base: float, albumin: float, pco2: float
) -> None:
    first = {
        "sodium": f"{sodium:.3f}mmol/L",
        "chloride": f"{chloride:.3f}mmol/L",
        "bicarbonate": f"{base:.3f}mmol/L",
        "albumin": f"{albumin:.3f}g/L",
        "ph-arterial": "7.33",
        "pco2-arterial": f"{pco2:.3f}mmHg",
    }
    second = {
        **{key: text.replace("mmol/L", "meq/L") for key, text in first.items()},
        "albumin": f"{Decimal(f'{albumin:.3f}') / 10}g/dL",
        "pco2-arterial": f"{round(pco2, 3) * 0.1333223684:.9f}kPa",
    }
    one, other = report(first), report(second)
    assert list(one) == list(other)
    for name, finding in one.items():
        if isinstance(finding.value, float):
            assert other[name].value == pytest.approx(finding.value, rel=1e-6, abs=1e-6), name
        else:
            assert other[name].value == finding.value, name


def test_a_unit_s_own_limit_goes_before_ours() -> None:
    own = {
        "threshold": {
            "bicarbonate-below-22": {
                "level": "urgent",
                "sentence": "Bicarbonate is below 23 mmol/L",
                "when": {"quantity": "bicarbonate", "below": 23, "unit": "mmol/L"},
                "source": "Own protocol of 2026",
            }
        }
    }
    inputs = ChemistryInputs.from_facts([chem_fact("bicarbonate", "22.5mmol/L")], DAY)
    found = {f.name: f for f in chemistry_findings(inputs, chemistry_rules(own))}
    assert found["chemistry-level"].value == "urgent"
    assert "Own protocol of 2026" in told(found["limit-bicarbonate-below-22"])
    assert "own protocol is used for chemistry (threshold)" in told(found["acid-base-disturbance"])


@pytest.mark.parametrize(
    ("own", "said"),
    [
        ({"limits": {}}, "limits is not a part"),
        ({"reference": {"gold": {"unit": "mmol/L", "low": 1, "high": 2, "source": "x"}}}, "'gold'"),
        ({"setting": {"old-days": {"value": 10}}}, "names no source"),
        ({"setting": {"old-days": {"value": "ten", "source": "x"}}}, "old-days"),
        ({"setting": {"old-days": {"value": 1, "valeu": 2, "source": "x"}}}, "valeu"),
        (
            {"reference": {"sodium": {"unit": "mmol/L", "low": 9, "high": 2, "source": "x"}}},
            "low = 9 lies above high = 2",
        ),
        (
            {"trap": {"t": {"when": {"fact": "gold", "is": True}, "sentence": "s", "source": "x"}}},
            "[trap.t]: 'gold' is not something Thalweg records",
        ),
        (
            {"trap": {"t": {"when": {}, "sentence": "s", "source": "x"}}},
            "exactly one of",
        ),
        (
            {
                "threshold": {
                    "t": {
                        "level": "flag",
                        "sentence": "s",
                        "when": {"quantity": "sodium", "unit": "kPa", "below": 1},
                        "source": "x",
                    }
                }
            },
            "'sodium' cannot be in kPa",
        ),
        (
            {
                "threshold": {
                    "t": {
                        "level": "flag",
                        "sentence": "s",
                        "when": {"fact": "diarrhoea", "is": True},
                        "source": "x",
                    }
                }
            },
            "not one bound on a recorded quantity",
        ),
        (
            {"trap": {"t": {"when": {"disturbance": "gout"}, "sentence": "s", "source": "x"}}},
            "'gout' is not a disturbance",
        ),
        (
            {"trap": {"t": {"when": {"touched_by_bowel": 1}, "sentence": "s", "source": "x"}}},
            "neither true nor false",
        ),
    ],
)
def test_a_unit_s_bad_entry_is_said(own: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as refused:
        chemistry_rules(own)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_whatever_a_living_person_can_have_makes_a_report(data: st.DataObject) -> None:
    facts = []
    for key in (
        "sodium",
        "chloride",
        "bicarbonate",
        "potassium",
        "albumin",
        "base-excess",
        "ph-arterial",
        "pco2-arterial",
        "weight",
        "calcium",
        "magnesium",
    ):
        if data.draw(st.booleans()):
            row = concept(key)
            assert row.possible is not None
            value = data.draw(st.decimals(*map(Decimal, row.possible), places=2))
            facts.append(Fact(key, value, row.unit, DAY, HERE))
    found = report({}, *facts)
    assert "acid-base-disturbance" in found
    for finding in found.values():
        finding.to_json(cite)
