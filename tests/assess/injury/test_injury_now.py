"""Whether the kidneys are being injured now: results, record and time, one rule for all.

Stages by hand from KDIGO's table (Kidney Int Suppl 2012;2:19): 1.5 times within 7 days, or
26.5 µmol/L within 48 hours.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from tests.support.kidney_case import NOON, hours_on, kidney_case, known

from thalweg.assess.injury.now import kidneys_now
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact

DAY = NOON.date()


def result(umol_l: str, hours_before: float) -> Fact:
    return known("creatinine", umol_l, "umol/L", hours_on(-hours_before))


def told(value: bool, days: int = 0) -> Fact:
    return known("acute-kidney-injury", value, None, DAY - timedelta(days=days))


def now(*facts: Fact, later_days: int = 0) -> Truth:
    return Truth(kidneys_now(kidney_case(*facts), DAY + timedelta(days=later_days)).value)


@pytest.mark.parametrize(
    ("earlier", "hours", "newest", "expected"),
    [
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
def test_rising_creatinine(earlier: str, hours: float, newest: str, expected: Truth) -> None:
    assert now(result(earlier, hours), result(newest, 0)) is expected


def test_one_result_says_nothing_of_change_and_both_ways_to_learn_are_named() -> None:
    found = kidneys_now(kidney_case(result("90", 0)), DAY)
    assert found.value is Truth.NOT_KNOWN
    assert found.missing == ("creatinine", "acute-kidney-injury")


HURT = (result("100", 24), result("180", 0))
QUIET = (result("100", 24), result("102", 0))
HEALED = (*HURT, known("creatinine", "101", "umol/L", hours_on(72)))


@pytest.mark.parametrize(
    ("facts", "later_days", "expected"),
    [
        # An injury that the newest result still shows counts for 14 days.
        (HURT, 14, Truth.MET),
        (HURT, 15, Truth.NOT_KNOWN),
        # One that has healed counts for the 7 days of its last staged result.
        (HEALED, 7, Truth.MET),
        (HEALED, 8, Truth.NOT_MET),
        (HEALED, 11, Truth.NOT_KNOWN),
        (QUIET, 7, Truth.NOT_MET),
        (QUIET, 8, Truth.NOT_KNOWN),
        ((told(True),), 14, Truth.MET),
        ((told(True),), 15, Truth.NOT_KNOWN),
        ((told(False),), 14, Truth.NOT_MET),
        ((told(False),), 15, Truth.NOT_KNOWN),
        ((known("renal-replacement-started", True, None, DAY),), 90, Truth.MET),
        ((known("renal-replacement-started", True, None, DAY),), 91, Truth.NOT_KNOWN),
        ((known("renal-replacement-started", False, None, DAY),), 0, Truth.NOT_KNOWN),
    ],
)
def test_how_long_it_counts(facts: tuple[Fact, ...], later_days: int, expected: Truth) -> None:
    assert now(*facts, later_days=later_days) is expected


@pytest.mark.parametrize(("results", "word"), [(HURT, False), (QUIET, True)])
def test_record_and_results_that_disagree_are_taken_as_injury(
    results: tuple[Fact, ...], word: bool
) -> None:
    found = kidneys_now(kidney_case(*results, told(word)), DAY)
    assert found.value is Truth.MET
    assert any("disagree" in caution for caution in found.cautions)
    assert told(word) in found.facts


def test_an_old_word_is_said_to_be_old() -> None:
    found = kidneys_now(kidney_case(*QUIET, told(True, 20)), DAY)
    assert found.value is Truth.NOT_MET
    assert any("more than 14 days old" in caution for caution in found.cautions)


def test_on_long_term_dialysis_results_are_not_looked_at() -> None:
    dialysis = known("on-dialysis", True, None, DAY)
    assert now(*HURT, dialysis) is Truth.NOT_KNOWN
    assert now(*HURT, dialysis, told(True)) is Truth.MET
