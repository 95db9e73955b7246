"""Facts that exclude one another: every rule both ways, tolerances and days on both sides."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from tests.support.workup_case import RECENT, TODAY, kidneys_of, one_of, stated, told, whole_case

from thalweg.plan.workup.clashes import clashes
from thalweg.plan.workup.rulebook import workup_rules
from thalweg.record.case import Case, Person

if TYPE_CHECKING:
    from thalweg.record.fact import Fact

MAN = Person("M-1", "Invented Person", date(1960, 5, 4), "male")
RULES = workup_rules()


def found(*facts: Fact, at: date = TODAY, person: Person = MAN) -> list[str]:
    """Return the keys of the clashes among some facts alone."""
    case = Case("c", person, facts)
    return [clash.key for clash in clashes(case, kidneys_of(case, at), RULES, at)]


# What cannot be, and the nearest thing that can: one answer of each pair is changed.
EXCLUDED: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "no-diabetes-but-treated": (
        {"diabetes": "none", "takes-metformin": True},
        {"diabetes": "with organ damage"},
    ),
    # 48 mmol/mol and above is diagnostic: WHO 2011, read as quoted.
    "no-diabetes-but-hba1c": ({"diabetes": "none", "hba1c": "48"}, {"hba1c": "47"}),
    "infarction-month-never": (
        {"heart-infarction-month": True, "heart-infarction-ever": False},
        {"heart-infarction-ever": True},
    ),
    "failure-month-never": (
        {"heart-failure-month": True, "heart-failure": False},
        {"heart-failure": True},
    ),
    "stroke-month-never": (
        {"stroke-month": True, "cerebrovascular-disease": False},
        {"stroke-month": False},
    ),
    "liver": ({"liver-failure": True, "liver-disease": "none"}, {"liver-disease": "mild"}),
    "cancer-never": (
        {"indication": "bladder cancer", "malignancy-ever": False},
        {"indication": "failed bladder"},
    ),
    "spread-never-cancer": (
        {"metastases": True, "malignancy-ever": False},
        {"malignancy-ever": True},
    ),
    "male-pregnancy": ({"pregnancy-month": True}, {"pregnancy-month": False}),
    "neobladder-no-urethra": (
        {"planned-diversion": "neobladder", "urethra-kept": False},
        {"urethra-kept": True},
    ),
    "neobladder-margin": (
        {"planned-diversion": "neobladder", "urethral-margin-tumour": True},
        {"planned-diversion": "ileal-conduit"},
    ),
    "neobladder-bladder-kept": (
        {"planned-diversion": "neobladder", "bladder-kept": True},
        {"bladder-kept": False},
    ),
    "suprapubic-no-bladder": (
        {"planned-diversion": "suprapubic-cystostomy", "bladder-kept": False},
        {"bladder-kept": True},
    ),
    "catheter-refused": (
        {"planned-diversion": "continent-pouch", "accepts-catheterisation": False},
        {"accepts-catheterisation": True},
    ),
    "single-with-two": (
        {"planned-diversion": "cutaneous-single", "kidneys-present": "both"},
        {"kidneys-present": "left only"},
    ),
    "two-with-single": (
        {"planned-diversion": "cutaneous-bilateral", "kidneys-present": "left only"},
        {"planned-diversion": "cutaneous-single"},
    ),
    "left-only-share": (
        {"kidneys-present": "left only", "split-function-left": "97"},
        {"split-function-left": "98"},
    ),
    "right-only-share": (
        {"kidneys-present": "right only", "split-function-left": "3"},
        {"split-function-left": "2"},
    ),
    # Complete: nothing kept in S4-S5 (impairment scale, grade A; read as tabulated).
    "cord-walking": (
        {"spinal-lesion": "complete, thoracic", "walking": "walks unaided"},
        {"spinal-lesion": "incomplete"},
    ),
    "bed-walking": (
        {"bed-rest": "in bed for more than 72 hours", "walking": "walks unaided"},
        {"bed-rest": "no"},
    ),
    "inflamed-bowel": (
        {"inflammatory-bowel-disease": True, "bowel-disease": False, "colon-usable": True},
        {"colon-usable": False},
    ),
    "dialysis-rate": ({"on-dialysis": True, "measured-gfr": "60"}, {"measured-gfr": "59"}),
}


def test_every_rule_stands_in_the_table() -> None:
    assert set(EXCLUDED) == {rule.key for rule in RULES.excludes}


@pytest.mark.parametrize("key", EXCLUDED)
def test_each_rule_finds_what_cannot_be_and_nothing_beside_it(key: str) -> None:
    wrong, change = EXCLUDED[key]
    assert key in found(*(stated(k, v) for k, v in wrong.items()))
    assert key not in found(*(stated(k, v) for k, v in (wrong | change).items()))
    for left_out in wrong:
        fewer = {k: v for k, v in wrong.items() if k != left_out}
        # What nobody recorded excludes nothing.
        assert key not in found(*(stated(k, v) for k, v in fewer.items()))


@pytest.mark.parametrize(("apart", "clash"), [(365, True), (366, False)])
def test_facts_too_far_apart_exclude_nothing(apart: int, clash: bool) -> None:
    old = stated("hba1c", "60", RECENT - timedelta(days=apart))
    keys = found(old, stated("diabetes", "none"))
    assert ("no-diabetes-but-hba1c" in keys) is clash


NINE = datetime(2026, 2, 20, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    ("key", "first", "second", "hours", "clash"),
    [
        # More than 60 % of the greater within a day: 100 and 251, not 100 and 250.
        ("creatinine", "100", "251", 24, "blood"),
        ("creatinine", "100", "250", 24, ""),
        ("creatinine", "100", "251", 25, ""),
        ("creatinine", "251", "100", 1, "blood"),
        # Sodium by more than 13 mmol/L: the example of a laboratory society's page on delta checks.
        ("sodium", "130", "144", 20, "salts"),
        ("sodium", "130", "143", 20, ""),
        ("potassium", "3.1", "5.2", 20, "potassium"),
        ("potassium", "3.1", "5.1", 20, ""),
        ("weight", "60", "71", 7 * 24, "weight"),
        ("weight", "60", "70", 7 * 24, ""),
        ("height", "160", "167", 30 * 24, "height"),
        ("split-function-left", "40", "56", 30 * 24, "share"),
        ("split-function-left", "40", "55", 30 * 24, ""),
    ],
)
def test_two_values_of_one_thing(key: str, first: str, second: str, hours: int, clash: str) -> None:
    later = NINE + timedelta(hours=hours)
    keys = found(stated(key, first, NINE), stated(key, second, later), at=date(2026, 4, 1))
    assert keys == ([clash] if clash else [])


def test_units_do_not_matter() -> None:
    # 251 µmol/L is 2.839 mg/dL (creatinine 113.12 g/mol).
    later = NINE + timedelta(hours=3)
    typed = stated("creatinine", "2.8393", later, "mg/dL")
    assert found(stated("creatinine", "100", NINE), typed) == ["blood"]
    assert (
        found(stated("creatinine", "100", NINE), stated("creatinine", "2.82", later, "mg/dL")) == []
    )


def test_only_the_youngest_is_compared_for_nothing_rests_on_older_ones() -> None:
    # An acute injury that passed: the two far apart lie months before the latest.
    before = [
        stated("creatinine", v, NINE - timedelta(days=d)) for v, d in (("90", 100), ("400", 99))
    ]
    assert found(*before, stated("creatinine", "95", NINE)) == []


def test_answers_of_one_day_that_differ_and_of_one_moment() -> None:
    yes, no = (stated("obstruction", value=v, at=NINE) for v in (True, False))
    assert found(yes, no) == ["one-moment"]
    later = stated("obstruction", value=False, at=NINE + timedelta(hours=24))
    assert found(yes, later) == ["answers"]
    assert found(yes, stated("obstruction", value=False, at=NINE + timedelta(hours=25))) == []
    # What comes and goes within a day is no contradiction.
    assert (
        found(
            stated("vomiting", value=True, at=NINE),
            stated("vomiting", value=False, at=NINE + timedelta(hours=9)),
        )
        == []
    )


def test_ever_cannot_become_never_and_never_can_become_ever() -> None:
    early, late = NINE - timedelta(days=900), NINE
    yes_then_no = [
        stated("thrombosis-ever", value=v, at=t) for v, t in ((True, early), (False, late))
    ]
    assert found(*yes_then_no) == ["ever"]
    no_then_yes = [
        stated("thrombosis-ever", value=v, at=t) for v, t in ((False, early), (True, late))
    ]
    assert found(*no_then_yes) == []


@pytest.mark.parametrize(
    ("left", "right", "clash"), [("40", "62", False), ("40", "62.1", True), ("40", "57.9", True)]
)
def test_shares_add_up_to_a_hundred_within_two(left: str, right: str, clash: bool) -> None:
    keys = found(stated("split-function-left", left), stated("split-function-right", right))
    assert ("share" in keys) is clash


def test_a_measured_rate_far_from_the_computed_one() -> None:
    # CKD-EPI 2021, man of 65, creatinine 1.0 mg/dL: 83 mL/min/1.73 m² (worked by hand:
    # 142 × (1/0.9)^-1.2 × 0.9938^65 = 83.5). 30 % of the greater: 58.4 and 119.3 are the edges.
    creatinine = stated("creatinine", "1.0", unit="mg/dL")
    for rate, clash in (("58", True), ("59", False), ("118", False), ("121", True)):
        keys = found(creatinine, stated("measured-gfr", rate))
        assert ("measured-and-creatinine" in keys) is clash, rate
    old = stated("measured-gfr", "40", RECENT - timedelta(days=91))
    assert "measured-and-creatinine" not in found(creatinine, old)


def test_urea_given_twice_in_two_ways() -> None:
    # 20 mg/dL of urea nitrogen is 7.14 mmol/L of urea (28.01 g of nitrogen a mole).
    twice = stated("urea-nitrogen", "20")
    assert found(stated("urea", "7.1"), twice) == []
    assert found(stated("urea", "9"), twice) == ["urea-twice"]


def test_a_contradiction_stands_before_everything_else_and_names_facts_and_days() -> None:
    case = whole_case({"diabetes": "none", "hba1c": "60"})
    whole = told(case)
    one = one_of(whole, "diabetes")
    assert one.state == "contradicting"
    assert "60 mmol/mol (2026-02-20)" in one.because
    assert "Settle which is right." in one.because
    assert one_of(whole, "hba1c").state == "contradicting"
    assert any("60 mmol/mol" in caution for caution in whole.finding().cautions)
