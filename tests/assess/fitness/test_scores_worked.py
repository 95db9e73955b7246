"""Worked examples and limits of each score and category, on both sides.

Sources: the tables named in the bibliography beside each rule, worked out by hand; WHO 2011 for
anaemia; GLIM (Cederholm 2019); NRS 2002 as in Clin Epidemiol 2010;2:209, table 1.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.fitness_witness import DAY, Answer, fact, one, person, span

from thalweg.assess.fitness.inputs import FitnessInputs
from thalweg.record.case import Chosen
from thalweg.record.truth import Truth

CLEAN_HEART: dict[str, Answer] = dict.fromkeys(
    ("ischaemic-heart-disease", "heart-failure", "cerebrovascular-disease",
     "insulin-treated-diabetes"),
    False,
)  # fmt: skip
HEALTHY_LUNGS: dict[str, Answer] = {
    "respiratory-infection-month": False,
    "operation-incision": "peripheral or lower abdominal",
    "operation-emergency": False,
}


def name_of(inputs: FitnessInputs, key: str) -> object:
    """Return the value of a category's finding."""
    return one(inputs, key).main.value


def test_conduit_with_creatinine_of_2_3_is_class_three() -> None:
    fit = {**CLEAN_HEART, "creatinine": ("2.3", "mg/dL"), "planned-diversion": "ileal-conduit"}
    found = one(person(fit), "rcri")
    assert (found.result.least, found.result.most) == (2, 2)
    assert [band.name for band in found.result.bands] == ["class III"]
    # The operation is nobody's record: it follows from the diversion, and says so.
    assert "uses bowel" in " ".join(found.main.all_cautions)


def test_ureterostomy_leaves_the_operation_open_until_it_is_said() -> None:
    fit = {**CLEAN_HEART, "creatinine": ("1.0", "mg/dL"), "planned-diversion": "cutaneous-single"}
    assert span(person(fit), "rcri") == (0, 1)
    assert one(person(fit), "rcri").result.missing == ("operation-intraperitoneal",)
    assert span(person({**fit, "operation-intraperitoneal": False}), "rcri") == (0, 0)


def test_what_is_recorded_goes_before_what_follows() -> None:
    odd: dict[str, Answer] = {
        "planned-diversion": "nephrostomy",
        "operation-intraperitoneal": True,
        **CLEAN_HEART,
        "creatinine": ("1.0", "mg/dL"),
    }
    assert span(person(odd), "rcri") == (1, 1)


@given(st.decimals(min_value="0.3", max_value="6", places=2))
def test_creatinine_counts_alike_in_either_unit(mg_dl: object) -> None:
    # 113.118 g/mol: 1 mg/dL is 88.403 µmol/L.
    umol = float(str(mg_dl)) * 1e4 / 113.118
    if abs(float(str(mg_dl)) - 2.0) < 1e-9:
        return
    pair = [
        span(person({**CLEAN_HEART, "creatinine": given_as}), "rcri")
        for given_as in ((str(mg_dl), "mg/dL"), (f"{umol:.6f}", "umol/L"))
    ]
    assert pair[0] == pair[1]


@pytest.mark.parametrize(
    ("age", "saturation", "haemoglobin", "hours", "points", "band"),
    [
        # Worked by hand from the points of Trials 2019, table 1.
        ("72", "95", "12", "4", 3 + 8 + 23, "intermediate"),
        ("84", "90", "9.5", "1.5", 16 + 24 + 11, "high"),
        ("50", "97", "14", "2", 0, "low"),
        # 50 completed years are not yet 51.
        ("50.9", "96", "10.1", "2.0", 0, "low"),
        ("51", "95", "10.0", "2.5", 3 + 8 + 11 + 16, "intermediate"),
        ("80.9", "96", "14", "3.0", 3 + 16, "low"),
        ("81", "96", "14", "3.1", 16 + 23, "intermediate"),
    ],
)
def test_ariscat(
    age: str, saturation: str, haemoglobin: str, hours: str, points: int, band: str
) -> None:
    answers: dict[str, Answer] = {
        **HEALTHY_LUNGS,
        "oxygen-saturation": (saturation, "%"),
        "haemoglobin": (haemoglobin, "g/dL"),
        "operation-hours": (hours, "h"),
    }
    found = one(person(answers, age=age), "ariscat")
    assert (found.result.least, found.result.most) == (points, points)
    assert [one.name for one in found.result.bands] == [band]


@pytest.mark.parametrize(("umol", "points"), [("176", 0), ("176.8", 0), ("177", 1)])
def test_the_limit_of_creatinine_is_the_published_one_in_mg_dl(umol: str, points: int) -> None:
    # 2.0 mg/dL are 176.81 µmol/L at 113.118 g/mol.
    inputs = person({**CLEAN_HEART, "creatinine": (umol, "umol/L")})
    assert span(inputs, "rcri")[0] == points


def test_haemoglobin_counts_alike_in_either_unit() -> None:
    for g_dl, g_l in (("10", "100"), ("10.1", "101"), ("9.9", "99")):
        pair = [
            span(person({**HEALTHY_LUNGS, "haemoglobin": answer}), "ariscat")
            for answer in ((g_dl, "g/dL"), (g_l, "g/L"))
        ]
        assert pair[0] == pair[1]


def test_no_known_thrombophilia_answers_all_seven_and_a_found_one_counts() -> None:
    low, high = span(person({}), "caprini")
    less_low, less_high = span(person({"thrombophilia-known": False}), "caprini")
    assert (less_low, less_high) == (low, high - 7 * 3)
    assert span(person({"factor-v-leiden": True}), "caprini")[0] == low + 3


def test_cancer_follows_from_the_indication() -> None:
    low, _ = span(person({}), "caprini")
    assert span(person({"indication": "bladder cancer"}), "caprini")[0] == low + 2
    assert span(person({"indication": "neurogenic bladder"}), "caprini")[0] == low


@pytest.mark.parametrize(
    ("age", "points"),
    [("49", 0), ("50", 1), ("59", 1), ("60", 2), ("69", 2), ("70", 3), ("79", 3), ("80", 4)],
)
def test_decades_of_the_age_adjusted_index(age: str, points: int) -> None:
    # Charlson 1994: a point for each decade from 50.
    inputs = person({}, age=age)
    assert span(inputs, "charlson-age")[0] == span(inputs, "charlson")[0] + points


def test_the_worse_of_a_pair_counts_alone() -> None:
    both: dict[str, Answer] = {"metastases": True, "other-tumour": True}
    low, _ = span(person({}), "charlson")
    assert span(person(both), "charlson")[0] == low + 6
    # Spread not known: the other cancer counts at least.
    assert span(person({"other-tumour": True}), "charlson")[0] == low + 2


def test_moderate_kidney_disease_by_creatinine_dialysis_or_transplant() -> None:
    low, high = span(person({"creatinine": ("3.1", "mg/dL")}), "charlson")
    assert low == 2
    # At 3.0 only the transplant is still open: a rate of 80 excludes dialysis.
    at_limit: dict[str, Answer] = {"creatinine": ("3.0", "mg/dL"), "kidney-transplant": False}
    assert span(person(at_limit), "charlson") == (0, high - 2)


G8: dict[str, Answer] = {
    "g8-food": "no less",
    "g8-weight-loss": "none",
    "g8-mobility": "goes out",
    "g8-mind": "none",
    "height": ("170", "cm"),
    "weight": ("70", "kg"),
    "g8-medicines": False,
    "g8-health-felt": "better",
    "indication": "bladder cancer",
}


def test_g8_runs_from_0_to_17_and_14_is_the_limit() -> None:
    # Bellera 2012: total 0 to 17, at most 14 calls for full assessment.
    assert span(person(G8, age="72"), "g8") == (17, 17)
    worst: dict[str, Answer] = {
        **G8,
        "g8-food": "severely less",
        "g8-weight-loss": "over 3 kg",
        "g8-mobility": "bed or chair",
        "g8-mind": "severe",
        "weight": ("50", "kg"),
        "g8-medicines": True,
        "g8-health-felt": "not as good",
    }
    assert span(person(worst, age="86"), "g8") == (0, 0)
    # 17 less 1 (moderately less food), 1 (medicines), 1 (as good as others): 14.
    near: dict[str, Answer] = {
        **G8, "g8-food": "moderately less", "g8-medicines": True, "g8-health-felt": "as good"
    }  # fmt: skip
    at_limit = one(person(near, age="72"), "g8")
    assert at_limit.main.value == 14.0
    assert [band.name[:10] for band in at_limit.result.bands] == ["14 or less"]
    # With "does not know" for one's health half a point less; with "better" one more.
    half: dict[str, Answer] = {**near, "g8-health-felt": "does not know"}
    assert one(person(half, age="72"), "g8").main.shown() == "13.5 points"
    above: dict[str, Answer] = {**near, "g8-health-felt": "better"}
    assert [b.name for b in one(person(above, age="72"), "g8").result.bands] == ["above 14"]


@pytest.mark.parametrize(
    ("weight", "points"),
    [("54.90", 0), ("54.91", 1), ("60.68", 1), ("60.69", 2), ("66.46", 2), ("66.47", 3)],
)
def test_g8_body_mass_limits(weight: str, points: int) -> None:
    # At 170 cm, 19, 21 and 23 kg/m² are 54.91, 60.69 and 66.47 kg.
    inputs = person({**G8, "weight": (weight, "kg")}, age="72")
    assert span(inputs, "g8") == (14 + points, 14 + points)


def test_g8_was_not_made_for_the_young() -> None:
    young = one(person(G8, age="60"), "g8")
    assert young.result.applies is Truth.NOT_MET
    assert any("not one of them" in caution for caution in young.main.cautions)
    assert one(person(G8, age="72"), "g8").result.applies is Truth.MET


@pytest.mark.parametrize(
    ("sex", "haemoglobin", "expected"),
    [
        # WHO 2011: women 120, men 130; moderate under 110, severe under 80 g/L.
        ("female", "120", "none"),
        ("female", "119.9", "mild"),
        ("male", "130", "none"),
        ("male", "129.9", "mild"),
        ("male", "110", "mild"),
        ("female", "109.9", "moderate"),
        ("male", "80", "moderate"),
        ("female", "79.9", "severe"),
    ],
)
def test_anaemia(sex: str, haemoglobin: str, expected: str) -> None:
    assert name_of(person({"haemoglobin": (haemoglobin, "g/L")}, sex=sex), "anaemia") == expected


def test_unknown_haemoglobin_is_not_normal() -> None:
    found = one(person({}), "anaemia").main
    assert found.value is None
    assert found.missing == ("haemoglobin",)


def test_asa_is_entered_and_never_worked_out() -> None:
    ill: dict[str, Answer] = {"heart-failure": True, "on-dialysis": True}
    assert name_of(person(ill), "asa") is None
    assert name_of(person({**ill, "asa-class": "IV"}), "asa") == (
        "IV: severe systemic disease that is a constant threat to life"
    )


def test_nutrition_screening_worked() -> None:
    # Status: 6 kg of 66 kg lost in 3 months is 9.1 %, more than 5: mild, 1. Severity: an operation
    # in the peritoneal cavity, 2. Age 70: 1. Total 4, at risk from 3.
    answers: dict[str, Answer] = {
        "weight": ("60", "kg"),
        "height": ("170", "cm"),
        "weight-loss-1-month": ("1", "kg"),
        "weight-loss-2-months": ("2", "kg"),
        "weight-loss-3-months": ("6", "kg"),
        "general-condition-impaired": False,
        "food-intake-week": "over 75 %",
        "operation-intraperitoneal": True,
        "intensive-care": False,
    }
    found = one(person(answers, age="70"), "nrs-2002")
    assert (found.result.least, found.result.most) == (4, 4)
    assert found.result.bands[0].name == "3 or more: at nutritional risk"
    assert span(person(answers, age="69"), "nrs-2002") == (3, 3)
    # 12 kg of 72 are 16.7 %, over 15 in 3 months: severe.
    worse: dict[str, Answer] = {**answers, "weight-loss-3-months": ("12", "kg")}
    assert span(person(worse, age="69"), "nrs-2002") == (5, 5)


@pytest.mark.parametrize(
    ("age", "weight", "expected"),
    [
        # At 170 cm, 20 and 22 kg/m² are 57.8 and 63.58 kg.
        ("69", "57.79", "criteria met"),
        ("69", "57.80", "criteria not met"),
        ("70", "63.57", "criteria met"),
        ("70", "63.58", "criteria not met"),
    ],
)
def test_glim_needs_a_sign_and_a_cause(age: str, weight: str, expected: str) -> None:
    answers: dict[str, Answer] = {
        "height": ("170", "cm"),
        "weight": (weight, "kg"),
        "weight-loss-3-months": ("0", "kg"),
        "weight-loss-6-months": ("0", "kg"),
        "muscle-mass-reduced": False,
        "indication": "bladder cancer",
    }
    assert name_of(person(answers, age=age), "glim") == expected
    no_cause: dict[str, Answer] = {
        **answers,
        "indication": "neurogenic bladder",
        "malignancy-ever": False,
        "food-intake-half-week": False,
        "short-bowel": False,
        "inflammatory-bowel-disease": False,
        "sepsis-month": False,
    }
    assert name_of(person(no_cause, age=age), "glim") == "criteria not met"


def test_what_held_within_a_month_does_not_hold_for_ever() -> None:
    asked: dict[str, Answer] = {**HEALTHY_LUNGS, "respiratory-infection-month": True}
    low, high = span(person(asked), "ariscat")
    for days, expected in ((31, (low, high)), (32, (low - 17, high))):
        later = person(asked, at=DAY + timedelta(days=days))
        later = FitnessInputs(
            {key: Chosen(fact(key, answer)) for key, answer in asked.items()},
            later.age,
            later.sex,
            later.gfr,
            later.at,
            later.injury,
        )
        assert span(later, "ariscat") == expected


def test_an_old_result_is_used_and_called_old() -> None:
    def caution(days: int) -> str:
        inputs = person({}, at=DAY + timedelta(days=days))
        kept = {"haemoglobin": Chosen(fact("haemoglobin", ("118", "g/L")))}
        inputs = FitnessInputs(kept, inputs.age, inputs.sex, inputs.gfr, inputs.at, inputs.injury)
        found = one(inputs, "anaemia").main
        assert found.value == "mild"
        return " ".join(found.cautions)

    assert "is old: 91 days" in caution(91)
    assert "is old" not in caution(90)


def test_two_results_that_contradict_each_other_are_not_chosen_between() -> None:
    rivals = tuple(fact("haemoglobin", (value, "g/L")) for value in ("75", "125"))
    inputs = person({})
    kept = {"haemoglobin": Chosen(None, rivals)}
    inputs = FitnessInputs(kept, inputs.age, inputs.sex, inputs.gfr, inputs.at, inputs.injury)
    found = one(inputs, "anaemia").main
    assert found.value is None
    assert set(rivals) <= set(found.all_facts)


def test_every_finding_says_where_it_comes_from() -> None:
    from thalweg.evidence.bibliography import bibliography

    known = bibliography()
    for age, answers in (("72", G8), ("40", {})):
        for found in (
            finding
            for key in ("rcri", "ariscat", "caprini", "charlson", "g8", "glim", "contrast-vein")
            for finding in one(person(answers, age=age), key).findings
        ):
            assert set(found.method.sources) <= set(known), found.name
            assert found.at <= date(2026, 3, 1)
            if isinstance(found.value, float):
                assert found.unit
