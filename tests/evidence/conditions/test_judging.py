"""Three-valued judging: settled truths stand, bounds hold as arithmetic says, doubts are said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from thalweg.evidence.conditions.form import Bound
from thalweg.evidence.conditions.ground import FactAges, Ground, latest
from thalweg.evidence.conditions.judge import judge
from thalweg.evidence.conditions.reading import parse
from thalweg.record.case import Case, Chosen, Person
from thalweg.record.fact import Fact, Origin
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping

DAY = date(2026, 3, 1)
HAND = Origin("by hand")
GIVEN = Method("given", "given to the test", "given", "the test", ("kleene-1952",))
RATE = "mL/min/{1.73_m2}"


def recorded(key: str, value: Decimal | bool | str, unit: str | None = None, days: int = 0) -> Fact:
    return Fact(key, value, unit, DAY - timedelta(days=days), HAND)


def known(*facts: Fact, **more: Any) -> Ground:
    return Ground({fact.concept: Chosen(fact) for fact in facts}, DAY, **more)


def found(name: str, value: Any, unit: str | None = None, **more: Any) -> Finding:
    return Finding(name, name.capitalize(), value, unit, more.pop("at", DAY), GIVEN, **more)


def rate_of(value: float | None, **more: Any) -> Ground:
    return Ground({}, DAY, {"gfr": found("gfr", value, RATE, **more)})


@given(
    ends=st.tuples(st.integers(-20, 20), st.integers(-20, 20)),
    low=st.none() | st.integers(-20, 20),
    high=st.none() | st.integers(-20, 20),
    counts=st.tuples(st.booleans(), st.booleans()),
)
def test_bounds_agree_with_trying_every_value_of_the_interval(
    ends: tuple[int, int], low: int | None, high: int | None, counts: tuple[bool, bool]
) -> None:
    if low is not None and high is not None and low > high:
        low, high = high, low
    # Bounds that no value can keep are refused when they are read.
    assume(low is None or low != high or all(counts))
    start, stop = min(ends), max(ends)

    def kept(value: float) -> bool:
        above = low is None or (value >= low if counts[0] else value > low)
        return above and (high is None or (value <= high if counts[1] else value < high))

    # Steps of a quarter fall on every bound and between them.
    tried = {kept(quarter / 4) for quarter in range(4 * start, 4 * stop + 1)}
    expected = {
        frozenset({True}): Truth.MET,
        frozenset({False}): Truth.NOT_MET,
        frozenset({True, False}): Truth.NOT_KNOWN,
    }[frozenset(tried)]
    bound = Bound("gfr", low, high, RATE, *counts)
    assert bound.over(start, stop) is expected
    assert bound.holds(start) is kept(start)


YES_NO = ["bowel-disease", "short-bowel", "liver-failure", "obstruction"]
PLAIN = st.builds(
    lambda key, expected: {"fact": key, "is": expected}, st.sampled_from(YES_NO), st.booleans()
)
CONDITION: st.SearchStrategy[dict[str, Any]] = st.recursive(
    PLAIN,
    lambda parts: st.builds(
        lambda head, rows: {head: rows},
        st.sampled_from(["all_of", "any_of"]),
        st.lists(parts, min_size=1, max_size=3),
    ),
    max_leaves=8,
)


def plainly(row: dict[str, Any], values: Mapping[str, bool]) -> bool:
    """Return the two-valued truth of a condition, as a reader of it would find it."""
    if "fact" in row:
        return values[row["fact"]] is row["is"]
    if "all_of" in row:
        return all(plainly(part, values) for part in row["all_of"])
    return any(plainly(part, values) for part in row["any_of"])


@given(
    row=CONDITION,
    told=st.dictionaries(st.sampled_from(YES_NO), st.booleans()),
    rest=st.lists(st.booleans(), min_size=4, max_size=4),
)
@settings(max_examples=200, deadline=None)
def test_a_settled_truth_stands_whatever_the_unknown_turns_out_to_be(
    row: dict[str, Any], told: dict[str, bool], rest: list[bool]
) -> None:
    judged = judge(parse(row), known(*(recorded(key, value) for key, value in told.items())))
    completed = dict(zip(YES_NO, rest, strict=True)) | told
    assert judged.truth is Truth.NOT_KNOWN or judged.truth is Truth.of(plainly(row, completed))
    if judged.truth is Truth.NOT_KNOWN:
        assert judged.missing
        assert not set(judged.missing) & set(told)
        assert not judged.would_open
    if judged.truth is Truth.NOT_MET:
        assert judged.would_open
    assert {fact.concept for fact in judged.facts} <= set(told)


@pytest.mark.parametrize("turned", [False, True])
def test_of_two_ways_to_hold_the_one_less_in_doubt_is_relied_on(turned: bool) -> None:
    parts: list[dict[str, Any]] = [
        {"fact": "bowel-disease", "is": False, "max_age_days": 5},
        {"fact": "short-bowel", "is": False},
    ]
    row = {"any_of": parts[::-1] if turned else parts}
    facts = (recorded("bowel-disease", False, days=6), recorded("short-bowel", False, days=6))
    judged = judge(parse(row), known(*facts))
    assert judged.truth is Truth.MET
    assert judged.doubts == ()
    assert [fact.concept for fact in judged.facts] == ["short-bowel"]


def test_every_part_that_fails_says_what_would_change_it() -> None:
    row = {
        "all_of": [
            {"fact": "bowel-disease", "is": False},
            {"sex": "male"},
            {"fact": "obstruction", "is": False},
        ]
    }
    facts = (recorded("bowel-disease", True), recorded("obstruction", False))
    judged = judge(parse(row), known(*facts, sex="female"))
    assert judged.truth is Truth.NOT_MET
    assert judged.would_open.startswith("needs 'bowel disease")
    assert judged.would_open.endswith("now yes (2026-03-01); and needs male")
    assert judged.facts == facts[:1]


def test_sex_that_nobody_said_is_not_known() -> None:
    assert judge(parse({"sex": "male"}), known()).truth is Truth.NOT_KNOWN
    assert judge(parse({"sex": "male"}), known(sex="male")).truth is Truth.MET


# 177 µmol/L is 2.002 mg/dL with creatinine's 113.12 g/mol; 100 g/L is 10 g/dL by definition.
@pytest.mark.parametrize(
    ("row", "fact", "expected"),
    [
        (
            {"quantity": "creatinine", "above": 2.0, "unit": "mg/dL"},
            recorded("creatinine", Decimal(177), "umol/L"),
            Truth.MET,
        ),
        (
            {"quantity": "creatinine", "above": 2.0, "unit": "mg/dL"},
            recorded("creatinine", Decimal(176), "umol/L"),
            Truth.NOT_MET,
        ),
        (
            {"quantity": "haemoglobin", "at_least": 10, "unit": "g/dL"},
            recorded("haemoglobin", Decimal(100), "g/L"),
            Truth.MET,
        ),
        (
            {"quantity": "haemoglobin", "above": 10, "unit": "g/dL"},
            recorded("haemoglobin", Decimal(100), "g/L"),
            Truth.NOT_MET,
        ),
        (
            {"choice": "dexterity", "one_of": ["full"]},
            recorded("dexterity", "limited"),
            Truth.NOT_MET,
        ),
        # A fact of another kind than the concept's answers nothing.
        ({"fact": "obstruction", "is": True}, recorded("obstruction", "yes"), Truth.NOT_KNOWN),
    ],
)
def test_a_recorded_fact_is_compared_in_the_unit_of_the_bound(
    row: Any, fact: Fact, expected: Truth
) -> None:
    judged = judge(parse(row), known(fact))
    assert judged.truth is expected
    assert judged.facts == (fact,)
    assert bool(judged.missing) == (expected is Truth.NOT_KNOWN)


GFR = parse({"quantity": "gfr", "at_least": 30, "below": 45, "unit": RATE})


@pytest.mark.parametrize(
    ("value", "expected"),
    [(29.9, Truth.NOT_MET), (30.0, Truth.MET), (44.9, Truth.MET), (45.0, Truth.NOT_MET)],
)
def test_a_computed_value_against_its_bounds(value: float, expected: Truth) -> None:
    judged = judge(GFR, rate_of(value))
    assert judged.truth is expected
    assert [one.name for one in judged.findings] == ["gfr"]
    # Within a tenth of 30 (27 to 33) or of 45 (40.5 to 49.5) all of these are close.
    assert any("Close to its limit" in doubt for doubt in judged.doubts)


def test_only_what_is_far_from_every_bound_is_not_called_close() -> None:
    assert judge(GFR, rate_of(38.0)).doubts == ()
    (doubt,) = judge(GFR, rate_of(33.0)).doubts
    assert "GFR of 33.0 lies within 10 % of the limit of 30" in doubt


def test_an_interval_across_a_bound_settles_nothing_and_says_what_would() -> None:
    judged = judge(GFR, rate_of(31.0, interval=(26.0, 36.0)))
    assert judged.truth is Truth.NOT_KNOWN
    assert judged.missing == ("measured-gfr",)
    assert "Too close to call" in judged.doubts[0]
    assert judge(GFR, rate_of(35.0, interval=(31.0, 39.0))).truth is Truth.MET
    assert judge(GFR, rate_of(55.0, interval=(46.0, 66.0))).truth is Truth.NOT_MET


def test_what_is_not_computed_asks_for_what_would_make_it() -> None:
    assert judge(GFR, known()).missing == ("creatinine",)
    assert judge(GFR, rate_of(None, missing=("cystatin-c",))).missing == ("cystatin-c",)
    unsaid = rate_of(None, cautions=("The urine was not complete.",))
    assert judge(GFR, unsaid).missing == ("creatinine",)
    assert judge(GFR, unsaid).doubts == ("The urine was not complete.",)


def test_a_computed_value_in_another_kind_of_unit_is_not_compared() -> None:
    ground = Ground({}, DAY, {"gfr": found("gfr", 50.0, "mL/min")})
    judged = judge(GFR, ground)
    assert judged.truth is Truth.NOT_KNOWN
    assert "cannot be compared" in judged.doubts[0]


# "Over 80" of a score means the 81st birthday has passed; ages count in completed years.
@pytest.mark.parametrize(("years", "expected"), [(80.99, Truth.NOT_MET), (81.0, Truth.MET)])
def test_ages_count_in_completed_years(years: float, expected: Truth) -> None:
    ground = Ground({}, DAY, {"age": found("age", years, "a")})
    row = {"quantity": "age", "above": 80, "unit": "a"}
    assert judge(parse(row), ground).truth is expected


def test_a_computed_answer_goes_before_the_recorded_one() -> None:
    row = parse({"fact": "acute-kidney-injury", "is": False})
    fact = recorded("acute-kidney-injury", False)
    instead = {"acute-kidney-injury": found("acute-kidney-injury", Truth.MET)}
    judged = judge(row, replace(known(fact), instead=instead))
    assert (judged.truth, judged.facts) == (Truth.NOT_MET, ())
    assert judged.would_open.startswith("needs 'acute kidney injury")
    silent = {"acute-kidney-injury": found("acute-kidney-injury", None, missing=("creatinine",))}
    judged = judge(row, replace(known(fact), instead=silent))
    assert (judged.truth, judged.missing) == (Truth.NOT_KNOWN, ("creatinine",))


SHARE = {"quantity": "split-function-left", "at_least": 15, "at_most": 85, "unit": "%"}


@pytest.mark.parametrize(
    ("value", "interval", "expected"),
    [
        (36.0, (32.0, 40.0), Truth.MET),
        (16.0, (12.0, 20.0), Truth.NOT_KNOWN),
        (8.0, (5.0, 11.0), Truth.NOT_MET),
        (None, None, Truth.NOT_KNOWN),
    ],
)
def test_a_computed_quantity_goes_before_the_recorded_one_by_its_interval(
    value: float | None, interval: tuple[float, float] | None, expected: Truth
) -> None:
    row = parse({**SHARE, "max_age_days": 365})
    ground = known(recorded("split-function-left", Decimal(50), "%"))
    assert judge(row, ground).truth is Truth.MET
    answer = found("split-function-left", value, "%", interval=interval, cautions=("disputed",))
    judged = judge(row, replace(ground, instead={"split-function-left": answer}))
    assert (judged.truth, judged.facts, judged.findings) == (expected, (), (answer,))
    if expected is Truth.NOT_KNOWN:
        assert judged.missing == ("split-function-left",)
        assert ("disputed" if value is None else "Too close to call") in judged.doubts[0]
    # It ages as a fact does: by the day it speaks of.
    later = replace(ground, instead={"split-function-left": answer}, at=DAY + timedelta(days=366))
    assert value is None or any("is old: 366 days" in doubt for doubt in judge(row, later).doubts)


AGES = FactAges(365, {"haemoglobin": 90}, {"sepsis-month": 31}, ("heart-failure",))


@pytest.mark.parametrize(
    ("fact", "old", "expired"),
    [
        (recorded("haemoglobin", Decimal(99), "g/L", 90), False, False),
        (recorded("haemoglobin", Decimal(99), "g/L", 91), True, False),
        (recorded("obstruction", True, None, 365), False, False),
        (recorded("obstruction", True, None, 366), True, False),
        (recorded("sepsis-month", True, None, 31), False, False),
        (recorded("sepsis-month", True, None, 32), True, True),
        (recorded("heart-failure", True, None, 3000), False, False),
        (recorded("heart-failure", False, None, 3000), True, False),
    ],
)
def test_how_long_facts_keep(fact: Fact, old: bool, expired: bool) -> None:
    forms: dict[str, dict[str, Any]] = {
        "haemoglobin": {"quantity": "haemoglobin", "below": 110, "unit": "g/L"}
    }
    row = forms.get(fact.concept, {"fact": fact.concept, "is": True})
    judged = judge(parse(row), known(fact, ages=AGES))
    assert bool(judged.doubts) is old
    assert (judged.truth is Truth.NOT_KNOWN) is expired
    assert bool(judged.missing) is expired


def test_a_condition_s_own_age_limit_goes_before_the_usual_one() -> None:
    row = parse({"fact": "heart-failure", "is": True, "max_age_days": 10})
    fact = recorded("heart-failure", True, days=11)
    (doubt,) = judge(row, known(fact, ages=AGES)).doubts
    assert "is old: 11 days, where 10 are allowed" in doubt
    rate = parse({"quantity": "gfr", "at_least": 60, "unit": RATE, "max_age_days": 10})
    (doubt,) = judge(rate, rate_of(90.0, at=DAY - timedelta(days=11))).doubts
    assert doubt.startswith("GFR is old: 11 days")


def test_contradictions_and_questions_are_doubts() -> None:
    row = parse({"fact": "obstruction", "is": True})
    rivals = (recorded("obstruction", True), recorded("obstruction", False))
    judged = judge(row, Ground({"obstruction": Chosen(None, rivals)}, DAY))
    assert (judged.truth, judged.facts) == (Truth.NOT_KNOWN, rivals)
    assert judged.doubts[0].startswith("Two different values")
    asked = replace(rivals[0], questions=("another person's report",))
    assert judge(row, known(asked)).doubts == ("Questioned: another person's report",)


def test_what_a_case_says_later_is_left_out() -> None:
    facts = (
        recorded("obstruction", False, days=2),
        recorded("obstruction", True, days=-1),
        recorded("short-bowel", True, days=-1),
    )
    case = Case("c1", Person("T-1", "Invented", date(1960, 1, 1), "male"), facts)
    assert latest(case, DAY) == {"obstruction": Chosen(facts[0])}
