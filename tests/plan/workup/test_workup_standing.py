"""How each item stands: boundary days, parts, measures, and that adding never undoes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.workup_case import (
    ANSWERS,
    RESULTS,
    TODAY,
    URETERS,
    UROGRAM,
    one_of,
    stated,
    states,
    told,
    whole_case,
)

from thalweg.record.case import Case
from thalweg.record.concept import concept
from thalweg.record.truth import Truth


def test_everything_known_is_done_or_not_asked() -> None:
    whole = told(whole_case(), operation=date(2026, 3, 2))
    assert {one.state for one in whole.standings} <= {"done", "not asked"}
    assert not whole.open
    assert not whole.clashes
    assert whole.finding().value is Truth.MET
    # A conduit is meant; what a pouch asks is asked as long as nothing rules the pouch out.
    assert one_of(whole, "accepts-catheter").state == "done"


def test_nothing_known_leaves_nothing_done() -> None:
    whole = told(Case("x", whole_case().person), measured={}, routes=())
    assert {one.state for one in whole.standings} <= {
        "missing",
        "not known whether asked",
        "not asked",
    }
    assert whole.finding().value is Truth.NOT_MET
    assert whole.counts["missing"] > 40


@pytest.mark.parametrize(
    ("days_ago", "operation_in", "state", "over"),
    [
        (90, None, "done", 0),
        (91, None, "too old", 1),
        (60, 30, "done", 0),
        (60, 31, "due again", 1),
        (91, 10, "too old", 1),
        (0, 90, "done", 0),
        (0, 91, "due again", 1),
    ],
)
def test_creatinine_keeps_ninety_days_to_the_day(
    days_ago: int, operation_in: int | None, state: str, over: int
) -> None:
    then = TODAY - timedelta(days=days_ago)
    case = whole_case({"creatinine": None}, stated("creatinine", 70, then))
    day = None if operation_in is None else TODAY + timedelta(days=operation_in)
    one = one_of(told(case, operation=day), "creatinine")
    assert (one.state, one.days_over) == (state, over)
    if state == "due again":
        assert f"Will be {90 + over} days old at the operation on {day}" in one.because
    if state == "too old":
        assert f"{days_ago} days old, where 90 are allowed: {over} over" in one.because


def test_a_limit_of_its_own_for_the_operation_goes_before_the_usual_one() -> None:
    # Haemoglobin keeps 90 days while planning and 30 at the operation: common practice.
    then = TODAY - timedelta(days=20)
    case = whole_case({"haemoglobin": None}, stated("haemoglobin", 130, then))
    assert one_of(told(case), "haemoglobin").state == "done"
    on = TODAY + timedelta(days=10)
    assert one_of(told(case, operation=on), "haemoglobin").state == "done"
    late = one_of(told(case, operation=on + timedelta(days=1)), "haemoglobin")
    assert late.state == "due again"


def test_the_oldest_part_tells_how_old_an_item_is() -> None:
    old = stated("sodium", 139, TODAY - timedelta(days=100))
    one = one_of(told(whole_case({"sodium": None}, old)), "electrolytes")
    assert (one.state, one.days_over) == ("too old", 10)


def test_a_part_that_lacks_is_named() -> None:
    one = one_of(told(whole_case({"chloride": None})), "electrolytes")
    assert one.state == "partly"
    assert one.lacking == (("chloride",),)
    assert concept("chloride").name in one.because


def test_any_of_several_concepts_answers_a_part() -> None:
    case = whole_case({"cystatin-c": None}, stated("measured-gfr", 80))
    assert one_of(told(case), "cystatin").state == "done"
    assert one_of(told(whole_case({"cystatin-c": None})), "cystatin").state == "missing"


def test_what_is_not_asked_says_why_and_what_would_tell_is_named() -> None:
    away = whole_case({"cystatin-c": None, "muscle-loss": False, "indication": "failed bladder"})
    person = replace(away.person, born=date(1980, 1, 1))
    one = one_of(told(replace(away, person=person)), "cystatin")
    assert one.state == "not asked"
    assert "no loss of muscle" in one.because
    unknown = whole_case({"cystatin-c": None, "muscle-loss": None, "indication": None})
    doubt = one_of(told(replace(unknown, person=person)), "cystatin")
    assert doubt.state == "not known whether asked"
    assert set(doubt.settled_by) == {"muscle-loss", "indication"}


def test_an_item_of_options_is_asked_only_while_one_is_in_question() -> None:
    gone = {"urethral-margin-tumour": None, "bowel-irradiated": True}
    one = one_of(told(whole_case(gone)), "urethral-margin")
    assert one.state == "not asked"
    meant = {**gone, "planned-diversion": "neobladder"}
    assert one_of(told(whole_case(meant)), "urethral-margin").state == "missing"


def test_an_answer_that_closes_what_asks_for_it_is_still_asked_again_when_old() -> None:
    # Not fit, 200 days ago, closes every operation on bowel, which are what ask for it.
    old = stated("fit-for-bowel-surgery", value=False, at=TODAY - timedelta(days=200))
    case = whole_case({"fit-for-bowel-surgery": None, "planned-diversion": "nephrostomy"}, old)
    assert one_of(told(case), "fit-for-bowel").state == "too old"


def test_a_marked_ureter_counts_once_it_is_measured() -> None:
    without = {key: one for key, one in URETERS.items() if key != "ureter-left"}
    assert one_of(told(whole_case(), measured=without), "ureter-left").state == "partly"
    done = one_of(told(whole_case()), "ureter-left")
    assert done.state == "done"
    assert [answer.said for answer in done.answers] == ["marked", "250 mm"]


@pytest.mark.parametrize(
    ("acquired", "state"),
    [("2025-09-02", "done"), ("2025-09-01", "too old"), ("", "too old")],
)
def test_images_age_from_the_day_they_were_taken(acquired: str, state: str) -> None:
    image = replace(UROGRAM, acquired=acquired)
    one = one_of(told(whole_case(images=(image,))), "urogram")
    assert one.state == state
    if not acquired:
        assert "not known" in one.because


def test_a_radiograph_is_no_urogram() -> None:
    film = replace(UROGRAM, modality="DX")
    assert one_of(told(whole_case(images=(film,)), measured={}), "urogram").state == "missing"


STATES_OF_LACK = {"missing", "partly", "not known whether asked"}
POOL = [*((key, str(value)) for key, value in RESULTS.items()), *ANSWERS.items()]


def _other_values(key: str) -> list[object]:
    row = concept(key)
    if row.kind == "yes-no":
        return [True, False]
    if row.kind == "choice":
        return list(row.choices)
    if row.kind == "quantity" and row.expected:
        low, high = row.expected
        return [Decimal(f"{low + (high - low) * part:.6g}") for part in (0.1, 0.5, 0.9)]
    return ["2026-04-01"]


def _without(dropped: frozenset[str]) -> Case:
    return whole_case(dict.fromkeys(dropped))


KEYS = [key for key, _ in POOL]


@settings(max_examples=40, deadline=None)
@given(
    dropped=st.frozensets(st.sampled_from(KEYS), max_size=6),
    added=st.sampled_from(KEYS),
    days_ago=st.integers(0, 400),
    data=st.data(),
)
def test_adding_a_fact_never_turns_done_into_lacking(
    dropped: frozenset[str], added: str, days_ago: int, data: st.DataObject
) -> None:
    value = data.draw(st.sampled_from(_other_values(added)))
    case = _without(dropped)
    before = states(case)
    fact = stated(added, value, TODAY - timedelta(days=days_ago))
    after = states(replace(case, facts=(*case.facts, fact)))
    turned = [k for k, state in before.items() if state == "done" and after[k] in STATES_OF_LACK]
    assert turned == []
