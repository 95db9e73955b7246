"""Contrast and the kidneys: limits on both sides, acute injury before any rate, nothing guessed.

Limits: ACR and NKF consensus (Davenport 2020, abstract: acute injury or a rate under 30; 30 to 44
singly), ESUR 2018 (metformin under 30: abstract; 45 for the first pass: from memory), groups of
gadolinium as in Kidney360, table 1.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from tests.support.fitness_witness import DAY, Answer, fact, one, person, rate

from thalweg.assess.fitness.inputs import FitnessInputs
from thalweg.record.case import Case, Person

STEADY: dict[str, Answer] = {"acute-kidney-injury": False, "takes-metformin": True}
INJURED: dict[str, Answer] = {"acute-kidney-injury": True, "takes-metformin": True}


def answer(key: str, gfr: float | None, answers: dict[str, Answer]) -> object:
    """Return what a rule comes to at a rate."""
    return one(person(answers, gfr=gfr), key).main.value


@pytest.mark.parametrize(
    ("key", "gfr", "expected"),
    [
        ("contrast-vein", 29.9, "at risk"),
        ("contrast-vein", 30.0, "weigh singly"),
        ("contrast-vein", 44.9, "weigh singly"),
        ("contrast-vein", 45.0, "no precaution for the kidneys"),
        ("contrast-artery", 44.9, "at risk"),
        ("contrast-artery", 45.0, "no precaution for the kidneys"),
        ("gadolinium-one", 29.9, "contraindicated"),
        ("gadolinium-one", 30.0, "caution"),
        ("gadolinium-one", 59.9, "caution"),
        ("gadolinium-one", 60.0, "not contraindicated by the kidneys"),
        ("gadolinium-two", 5.0, "may be given"),
        ("gadolinium-two", 90.0, "may be given"),
        ("gadolinium-three", 29.9, "weigh singly"),
        ("gadolinium-three", 30.0, "may be given"),
        ("metformin-vein", 29.9, "interrupt"),
        ("metformin-vein", 30.0, "continue"),
        ("metformin-artery", 44.9, "interrupt"),
        ("metformin-artery", 45.0, "continue"),
    ],
)
def test_limits(key: str, gfr: float, expected: str) -> None:
    assert answer(key, gfr, STEADY) == expected


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("contrast-vein", "at risk"),
        ("contrast-artery", "at risk"),
        ("gadolinium-one", "contraindicated"),
        ("gadolinium-two", "may be given"),
        ("gadolinium-three", "weigh singly"),
        ("metformin-vein", "interrupt"),
        ("metformin-artery", "interrupt"),
    ],
)
@pytest.mark.parametrize("gfr", [None, 25.0, 90.0])
def test_acute_injury_goes_before_any_rate(key: str, expected: str, gfr: float | None) -> None:
    assert answer(key, gfr, INJURED) == expected


@pytest.mark.parametrize(
    "key", ["contrast-vein", "contrast-artery", "gadolinium-one", "metformin-vein"]
)
def test_without_a_rate_nothing_is_decided(key: str) -> None:
    found = one(person(STEADY, gfr=None), key).main
    assert found.value == "not decidable"
    assert "creatinine" in found.missing


def test_whether_the_kidneys_are_steady_must_be_known_to_allow_but_not_to_warn() -> None:
    silent: dict[str, Answer] = {}
    assert answer("contrast-vein", 50.0, silent) == "not decidable"
    assert one(person(silent, gfr=50.0), "contrast-vein").main.missing == (
        "creatinine",
        "acute-kidney-injury",
    )
    low = one(person(silent, gfr=25.0), "contrast-vein")
    assert low.main.value == "at risk"
    # The reason given is the rate that is known, not the injury that is not.
    assert low.says.startswith("Rate under 30")


def test_metformin_matters_only_to_those_who_take_it() -> None:
    assert answer("metformin-vein", 20.0, {**STEADY, "takes-metformin": False}) == "does not apply"
    unsaid: dict[str, Answer] = {"acute-kidney-injury": False}
    assert answer("metformin-vein", 20.0, unsaid) == "not decidable"


def test_an_earlier_reaction() -> None:
    key = "contrast-reaction-before"
    assert answer(key, 90.0, {}) == "not decidable"
    assert answer(key, 90.0, {"contrast-reaction": True}) == "ask an allergist first"
    assert answer(key, 90.0, {"contrast-reaction": False}) == "none recorded as severe"


def test_a_rate_close_to_a_limit_says_so() -> None:
    near = " ".join(one(person(STEADY, gfr=31.0), "contrast-vein").main.cautions)
    assert "31.0 lies within 10 % of the limit of 30" in near
    far = " ".join(one(person(STEADY, gfr=38.0), "contrast-vein").main.cautions)
    assert "within 10 %" not in far


def test_nobody_is_told_a_dose() -> None:
    from thalweg.assess.fitness.rulebook import rulebook

    words = " ".join(
        text
        for rule in rulebook().rules
        for item in rule.items
        for level in item.levels
        for text in (level.says, *rule.method.cautions)
    )
    assert not any(unit in words for unit in (" mg ", " mL ", "mL/kg", "mg/kg", " IU"))


def test_the_one_rule_of_injury_goes_before_the_record() -> None:
    # Stages by hand from KDIGO's table: 180 against 100 within a day is 1.8 times, stage 1.
    noon = datetime(2026, 3, 1, 12, tzinfo=UTC)
    results = tuple(
        fact("creatinine", (umol_l, "umol/L"), noon - timedelta(hours=hours))
        for umol_l, hours in (("100", 24), ("180", 0))
    )
    born = Person("T-1", "Invented", date(1956, 3, 1), "male")
    denied = fact("acute-kidney-injury", False)
    case = Case("c1", born, (*results, denied))
    inputs = FitnessInputs.from_case(case, rate(80.0), DAY)
    found = one(inputs, "contrast-vein").main
    assert found.value == "at risk"
    assert results[1] in found.all_facts
    steady = FitnessInputs.from_case(Case("c1", born, (results[0], denied)), rate(80.0), DAY)
    assert one(steady, "contrast-vein").main.value == "no precaution for the kidneys"
