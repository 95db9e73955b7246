"""Shares entered and computed: brought together by day, and never one silently for the other."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.kidney_case import kidney_case, known

from thalweg.assess.kidney.course import kidney_course
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.kidney.shares import SHARE, Shares, shares_over_time
from thalweg.assess.rules import kidney_rules
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.record.fact import Fact

DAY = date(2026, 3, 10)
COUNTED = Method("invented", "invented", "counted", "tests", ("thalweg-engineering",))


def computed(percent: float | None, on: date = DAY) -> Finding:
    """Return a share as a renogram's counts give it."""
    around = None if percent is None else (percent - 3.0, percent + 3.0)
    return Finding(
        name="renogram-share-left",
        title="Left kidney's share",
        value=percent,
        unit="%",
        at=on,
        method=COUNTED,
        interval=around,
        cautions=("no uptake",) if percent is None else (),
    )


def entered(percent: str, on: date = DAY) -> Fact:
    """Return a share as a report states it."""
    return known(SHARE, percent, "%", on)


def brought(facts: list[Fact], findings: list[Finding]) -> Shares:
    """Return both brought together by our own rules."""
    return shares_over_time(facts, findings, kidney_rules())


def test_a_computed_share_answers_with_its_interval_and_its_day() -> None:
    found = brought([entered("47", DAY - timedelta(days=700))], [computed(36.0)])
    assert [one.percent for one in found.all] == [47.0, 36.0]
    assert found.contradictions == ()
    relied = found.to_rely_on
    assert relied is not None
    assert (relied.name, relied.value, relied.unit) == (SHARE, 36.0, "%")
    assert relied.interval == (33.0, 39.0)
    assert relied.at == DAY
    assert [one.name for one in relied.findings] == ["renogram-share-left"]
    assert relied.facts == ()


@pytest.mark.parametrize(("reported", "agrees"), [("41", True), ("41.1", False), ("31", True)])
def test_a_report_of_about_the_same_day_agrees_within_five_points(
    reported: str, agrees: bool
) -> None:
    fact = entered(reported, DAY + timedelta(days=7))
    found = brought([fact], [computed(36.0)])
    relied = found.to_rely_on
    assert relied is not None
    assert fact in relied.facts
    if agrees:
        assert relied.value == 36.0
        assert len(found.all) == 1
        assert found.contradictions == ()
    else:
        assert relied.value is None
        assert relied.interval is None
        assert relied.missing == (SHARE,)
        assert found.all == ()
        assert found.latest is None
        (sentence,) = found.contradictions
        assert "36 %" in sentence
        assert "41.1 %" in sentence
        assert "neither is used" in sentence
        assert sentence in relied.cautions


def test_a_report_of_another_week_is_a_study_of_its_own() -> None:
    later = entered("50", DAY + timedelta(days=8))
    found = brought([later], [computed(36.0)])
    assert [one.percent for one in found.all] == [36.0, 50.0]
    relied = found.to_rely_on
    assert relied is not None
    # The latest counts, here the one entered, with its own day.
    assert (relied.value, relied.at, relied.facts) == (50.0, later.at, (later,))
    assert relied.findings == ()


def test_a_contradiction_of_the_past_does_not_hide_the_latest() -> None:
    past = DAY - timedelta(days=400)
    found = brought([entered("60", past)], [computed(40.0, past), computed(36.0)])
    assert [one.percent for one in found.all] == [36.0]
    assert found.to_rely_on is not None
    assert found.to_rely_on.value == 36.0
    assert found.contradictions == found.to_rely_on.cautions
    assert len(found.contradictions) == 1


def test_only_entered_shares_answer_for_themselves() -> None:
    found = brought([entered("38")], [computed(None)])
    assert found.to_rely_on is None
    assert found.latest is not None
    assert found.latest.percent == 38.0


def test_two_entered_for_one_moment_are_not_used() -> None:
    found = brought([entered("38"), entered("52")], [])
    assert found.all == ()
    assert "38 % and 52 %" in found.contradictions[0]
    # One result written twice is one.
    assert len(brought([entered("38"), entered("38.1")], []).all) == 1


@given(
    st.lists(
        st.tuples(st.integers(0, 100), st.integers(0, 900)), max_size=6, unique_by=lambda t: t[1]
    ),
    st.lists(
        st.tuples(st.integers(0, 100), st.integers(0, 900)), max_size=3, unique_by=lambda t: t[1]
    ),
)
def test_every_share_is_used_or_said(
    reports: list[tuple[int, int]], counted: list[tuple[int, int]]
) -> None:
    facts = [entered(str(share), DAY - timedelta(days=back)) for share, back in reports]
    findings = [computed(float(share), DAY - timedelta(days=back)) for share, back in counted]
    found = brought(facts, findings)
    kept = {fact.id for one in found.all for fact in one.facts}
    own = [one.finding for one in found.all if one.finding is not None]
    # What is not used stands in a sentence.
    for fact in facts:
        assert fact.id in kept or any(f"{fact.value} %" in each for each in found.contradictions)
    assert len(own) + sum("computed" in each for each in found.contradictions) == len(findings)
    assert [one.at for one in found.all] == sorted(one.at for one in found.all)


def test_the_kidneys_over_time_use_it() -> None:
    facts = (
        *(
            known("creatinine", "1.0", "mg/dL", DAY - timedelta(days=days))
            for days in (725, 400, 0)
        ),
        entered("50", DAY - timedelta(days=730)),
    )
    case, rules = kidney_case(*facts), kidney_rules()
    kidney = kidney_findings(KidneyInputs.from_case(case, DAY, rules), rules)
    relied = next(one for one in kidney if one.name == "gfr-to-rely-on")
    whole = relied.value
    assert isinstance(whole, float)
    course = kidney_course(case, DAY, relied, rules, [computed(30.0)])
    found = {one.name: one for one in course}
    assert found[SHARE].value == 30.0
    assert found["gfr-left-kidney"].value == pytest.approx(0.3 * whole)
    assert "renogram-share-left" in {one.name for one in found["gfr-left-kidney"].findings}
    assert found["gfr-split-change"].value.name == "MET"  # type: ignore[union-attr]
    # Against a report of the same day, no kidney's own rate is told.
    disputed = kidney_case(*facts, entered("45"))
    names = {one.name: one for one in kidney_course(disputed, DAY, relied, rules, [computed(30.0)])}
    assert names[SHARE].value is None
    assert "gfr-left-kidney" not in names
