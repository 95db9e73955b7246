"""Contrast and the kidneys: limits on both sides, acute injury before any rate, nothing guessed.

Limits: ACR and NKF consensus (Davenport 2020, abstract: acute injury or a rate under 30; 30 to 44
singly), ESUR 2018 (metformin under 30: abstract; 45 for the first pass: from memory), groups of
gadolinium as in Kidney360, table 1.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from tests.support.fitness_witness import DAY, Answer, fact, one, person

from thalweg.assess.fitness.steady import kidneys_changing, rising
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact

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
    assert one(person(silent, gfr=50.0), "contrast-vein").main.missing == ("acute-kidney-injury",)
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


def creatinine(umol_l: str, hours_before: float) -> Fact:
    """Return a creatinine so many hours before noon of the day."""
    noon = datetime(2026, 3, 1, 12, tzinfo=UTC)
    return fact("creatinine", (umol_l, "umol/L"), noon - timedelta(hours=hours_before))


@pytest.mark.parametrize(
    ("earlier", "hours", "now", "expected"),
    [
        # KDIGO 2012 (from memory): 1.5 times within 7 days, or 26.5 µmol/L within 48 hours.
        ("100", 160, "150", Truth.MET),
        ("100", 169, "150", Truth.NOT_KNOWN),
        ("100", 48, "126.5", Truth.MET),
        ("100", 48, "126.4", Truth.NOT_MET),
        # Risen by so much over five days, it may all have come in the last two.
        ("100", 120, "126.5", Truth.NOT_KNOWN),
        ("100", 120, "126.4", Truth.NOT_MET),
        ("200", 24, "120", Truth.NOT_MET),
    ],
)
def test_rising_creatinine(earlier: str, hours: float, now: str, expected: Truth) -> None:
    results = (creatinine(earlier, hours), creatinine(now, 0))
    assert rising(results)[0] is expected


def test_one_result_says_nothing_of_change() -> None:
    assert rising((creatinine("90", 0),))[0] is Truth.NOT_KNOWN


def test_record_and_results_that_disagree_are_taken_as_injury() -> None:
    results = (creatinine("100", 24), creatinine("180", 0))
    said = fact("acute-kidney-injury", False)
    found = kidneys_changing(results, said, at=DAY, keeps_days=14)
    assert found.value is Truth.MET
    assert any("disagree" in caution for caution in found.cautions)


def test_old_results_and_old_words_say_nothing_of_now() -> None:
    results = (creatinine("100", 24), creatinine("180", 0))
    later = DAY + timedelta(days=15)
    said = fact("acute-kidney-injury", False)
    found = kidneys_changing(results, said, at=later, keeps_days=14)
    assert found.value is None
    assert found.missing == ("acute-kidney-injury",)


def test_rising_results_reach_the_rules() -> None:
    results = (creatinine("100", 24), creatinine("180", 0))
    inputs = person({}, gfr=80.0, creatinines=results)
    assert one(inputs, "contrast-vein").main.value == "at risk"
