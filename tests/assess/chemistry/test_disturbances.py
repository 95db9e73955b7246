"""Which disturbance is named, what it rests on, what stays open.

Cases are worked by hand from the published rules (Winters; Narins and Emmett's slopes; Figge's
correction; the delta ratio's bands) or taken from the papers named beside them.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.support.chemistry_people import (
    DAY,
    arterial,
    chem_fact,
    ions,
    report,
    told,
)

from thalweg.record.truth import Truth


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


@pytest.mark.parametrize(
    ("pco2", "acidosis", "alkalosis"),
    [
        (29.0, Truth.NOT_KNOWN, Truth.NOT_KNOWN),
        (33.1, Truth.NOT_KNOWN, Truth.NOT_MET),
        (33.3, Truth.MET, Truth.NOT_MET),
        (24.9, Truth.NOT_MET, Truth.NOT_KNOWN),
        (24.7, Truth.NOT_MET, Truth.MET),
    ],
)
def test_a_capillary_gas_judges_breathing_away_from_the_limits(
    pco2: float, acidosis: Truth, alkalosis: Truth
) -> None:
    # Bicarbonate 14: Winters' 27 to 31 mmHg. Zavorsky 2007: mean bias from the fingertip 2.2.
    gas: dict[str, str | bool] = {"ph-capillary": "7.30", "pco2-capillary": f"{pco2}mmHg"}
    found = report(ions(138, 112, 14) | gas)
    assert found["respiratory-acidosis"].value is acidosis
    assert found["respiratory-alkalosis"].value is alkalosis
    head = found["acid-base-disturbance"]
    assert "capillary" in told(head).lower()
    assert ("pco2-arterial" in head.missing) == (Truth.NOT_KNOWN in (acidosis, alkalosis))


def test_of_gases_of_one_day_the_nearest_to_arterial_counts() -> None:
    both: dict[str, str | bool] = {
        "ph-capillary": "7.30",
        "pco2-capillary": "40mmHg",
        "ph-venous": "7.28",
        "pco2-venous": "36mmHg",
    }
    assert report(ions(138, 112, 14) | both)["respiratory-acidosis"].value is Truth.MET
    found = report(ions(138, 112, 14) | both | arterial(7.3, 29))
    assert found["respiratory-acidosis"].value is Truth.NOT_MET


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
