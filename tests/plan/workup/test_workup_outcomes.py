"""What an item could change, against cases built by hand with every answer and appraised."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.workup_case import (
    ANSWERS,
    RESULTS,
    TODAY,
    UROGRAM,
    ample_routes,
    kidneys_of,
    open_one,
    rehearsal_of,
    stated,
    told,
    whole_case,
)

from thalweg.plan.appraise import appraise
from thalweg.plan.catalogue import catalogue
from thalweg.plan.criteria.reaches import RouteSummary
from thalweg.plan.workup.ends import values_of
from thalweg.plan.workup.printed import completeness_json, told_once
from thalweg.plan.workup.rehearse import KIDNEY_READS
from thalweg.plan.workup.rulebook import workup_rules
from thalweg.record.concept import concept, concepts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.plan.workup.report import Completeness, Open
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

Changes = set[tuple[str, str]]


def verdicts_by_hand(case: Case, routes: Sequence[RouteSummary]) -> dict[str, str]:
    """Return every verdict of a case, appraised afresh."""
    appraisal = appraise(case, kidneys_of(case), routes, catalogue(), TODAY)
    return {one.diversion.key: one.verdict for one in appraisal.diversions}


def with_answers(case: Case, *facts: Fact) -> Case:
    """Return a case with answers of today that stand alone for their concepts on that day."""
    return replace(case, facts=(*case.facts, *facts))


def changes_by_hand(case: Case, answers: Sequence[Sequence[Fact]]) -> Changes:
    """Return every verdict that any of some sets of answers changes."""
    before = verdicts_by_hand(case, ample_routes())
    changed = set()
    for facts in answers:
        after = verdicts_by_hand(with_answers(case, *facts), ample_routes())
        changed |= {(key, verdict) for key, verdict in after.items() if verdict != before[key]}
    return changed


def changes_told(one: Open) -> Changes:
    """Return every verdict that an item is said to change by itself."""
    return {(outcome.diversion, outcome.after) for outcome in one.alone}


def every_answer(key: str) -> list[Fact]:
    """Return every answer to a yes-no or choice concept, of today."""
    row = concept(key)
    values: tuple[Any, ...] = (True, False) if row.kind == "yes-no" else row.choices
    return [stated(key, value, TODAY) for value in values]


SINGLE = [
    *("kidneys-present", "bladder-kept", "obstruction", "bowel-disease", "short-bowel"),
    *("bowel-irradiated", "colon-usable", "liver-failure", "urethral-margin-tumour"),
    *("upper-tract-tumour", "urinary-stones", "stress-incontinence", "dexterity"),
    *("helper-at-home", "cognition-sufficient", "accepts-catheterisation", "bleeding-disorder"),
    *("fit-for-bowel-surgery", "lower-abdominal-surgery", "ureters-irradiated"),
]
ITEM_OF = {key: item.key for item in workup_rules().items for key in item.concepts}


MATTERS_IF: dict[str, dict[str, Any]] = {
    "dexterity": {"helper-at-home": False},
    "helper-at-home": {"dexterity": "limited"},
    "bleeding-disorder": {"intent": "temporary"},
    "lower-abdominal-surgery": {"bladder-kept": True},
}
"""What must be otherwise for some questions to matter."""


@pytest.mark.parametrize("key", SINGLE)
def test_every_answer_to_a_missing_question_tried_by_hand(key: str) -> None:
    case = whole_case({**MATTERS_IF.get(key, {}), key: None})
    one = open_one(told(case), ITEM_OF[key])
    expected = changes_by_hand(case, [[fact] for fact in every_answer(key)])
    assert changes_told(one) == expected
    assert expected, "the row shows nothing if nothing could change"


@pytest.mark.parametrize("days", [181, 400])
def test_an_old_judgement_repeated_tried_by_hand(days: int) -> None:
    old = stated("fit-for-bowel-surgery", value=True, at=TODAY - timedelta(days=days))
    case = whole_case({"fit-for-bowel-surgery": None}, old)
    one = open_one(told(case), "fit-for-bowel")
    assert one.standing.state == "too old"
    expected = changes_by_hand(case, [[f] for f in every_answer("fit-for-bowel-surgery")])
    assert changes_told(one) == expected
    # The conduit is open with the caution of an old judgement; repeated, it is open or closed.
    assert {("ileal-conduit", "open"), ("ileal-conduit", "closed")} <= expected


def test_two_parts_of_one_item_tried_together_by_hand() -> None:
    gone = {"retroperitoneal-fibrosis": None, "urinary-tuberculosis": None}
    case = whole_case(gone)
    one = open_one(told(case), "retroperitoneum")
    pairs = [
        (first, second)
        for first in every_answer("retroperitoneal-fibrosis")
        for second in every_answer("urinary-tuberculosis")
    ]
    assert changes_told(one) == changes_by_hand(case, pairs)
    # Either one alone could only close it; both together open it.
    assert ("transuretero-cutaneous", "open") in changes_told(one)


def test_creatinine_over_its_whole_range_tried_by_hand() -> None:
    case = whole_case({"creatinine": None, "cystatin-c": None})
    one = open_one(told(case), "creatinine")
    fine = [[stated("creatinine", value, TODAY)] for value in range(40, 601, 10)]
    assert changes_told(one) == changes_by_hand(case, fine)
    assert changes_told(one) >= {("neobladder", "closed"), ("neobladder", "open")}
    (rate,) = one.rates
    ends = []
    for end in ("600", "40"):
        found = kidneys_of(with_answers(case, stated("creatinine", end, TODAY)))
        ends.append(next(one.value for one in found if one.name == "gfr-to-rely-on"))
    assert (rate.least, rate.most) == pytest.approx(ends)
    assert rate.unit == "mL/min/{1.73_m2}"


def test_share_of_function_needs_the_middle_of_its_range() -> None:
    # Both ends of the share fail the criterion (15 to 85 %); only between them is it met.
    case = whole_case({"split-function-left": None})
    one = open_one(told(case), "split-function")
    assert ("transuretero-cutaneous", "open") in changes_told(one)
    told_words = next(o.when for o in one.alone if o.after == "open")
    assert "15 to 85 %" in told_words


@cache
def _lacking(keys: frozenset[str]) -> tuple[Case, Completeness]:
    case = whole_case(dict.fromkeys(keys))
    return case, told(case)


LEFT_OUT = st.frozensets(st.sampled_from([*ANSWERS, *RESULTS]), min_size=1, max_size=3)


@settings(max_examples=25, deadline=None)
@given(gone=LEFT_OUT, data=st.data())
def test_what_is_said_to_change_nothing_changes_nothing(
    gone: frozenset[str], data: st.DataObject
) -> None:
    case, whole = _lacking(gone)
    for one in whole.open:
        facts = []
        for key in sorted(set(one.standing.item.concepts) & gone):
            row = concept(key)
            if row.kind == "quantity":
                ends = workup_rules().ends.get(key, row.expected)
                assert ends is not None
                value = data.draw(st.floats(*ends), label=key)
                facts.append(stated(key, f"{value:.6g}", TODAY))
            elif row.kind in ("yes-no", "choice"):
                facts.append(data.draw(st.sampled_from(every_answer(key)), label=key))
        seen = changes_by_hand(case, [facts])
        assert seen <= changes_told(one), one.standing.item.key


def test_concepts_left_out_of_the_kidneys_do_not_touch_them() -> None:
    """Each value that could be tried of every other concept leaves the kidney findings alone."""
    case = whole_case()
    as_is = kidneys_of(case)
    rehearsal = rehearsal_of(case)
    for key in set(concepts()) - KIDNEY_READS - {"age"}:
        for value in values_of(key, workup_rules(), catalogue())[:2]:
            if concept(key).kind != "quantity" or isinstance(value, Decimal):
                assert kidneys_of(rehearsal.case_if({key: value})) == as_is, key


MARKS_GONE = dict.fromkeys(
    ("ureter-left", "ureter-right", "lower-pole-left", "lower-pole-right", "stoma-site")
)


def test_marks_change_something_only_together() -> None:
    whole = told(whole_case(MARKS_GONE), routes=(), measured={})
    one = open_one(whole, "ureter-left")
    assert not one.alone
    both = {o.after: o for o in one.together if o.diversion == "cutaneous-bilateral"}
    assert set(both) == {"open", "closed"}
    assert set(both["open"].together_with) == {
        "ureter-right",
        "lower-pole-left",
        "lower-pole-right",
        "stoma-site",
    }
    assert both["open"].when == "the ureters reach"
    assert both["closed"].when == "the ureters fall short"
    # By hand: with routes that reach, and with routes that do not.
    case = whole_case()
    short = tuple(
        RouteSummary(route.diversion, route.side, route.site, -40.0, (-50.0, -30.0), 0.0)
        for route in ample_routes()
    )
    assert verdicts_by_hand(case, ample_routes())["cutaneous-bilateral"] == "open"
    assert verdicts_by_hand(case, short)["cutaneous-bilateral"] == "closed"


def test_the_last_mark_missing_changes_it_alone() -> None:
    whole = told(whole_case({"stoma-site": None}), routes=())
    one = open_one(whole, "stoma-site")
    both = {o.after for o in one.alone if o.diversion == "cutaneous-bilateral"}
    assert both == {"open", "closed"}


def test_one_ureter_of_a_kidney_that_is_not_there_is_not_wanted() -> None:
    gone = {**MARKS_GONE, "kidneys-present": "left only", "planned-diversion": None}
    whole = told(whole_case(gone), routes=(), measured={})
    one = open_one(whole, "ureter-left")
    (only,) = {o.together_with for o in one.together if o.diversion == "cutaneous-single"}
    assert set(only) == {"lower-pole-left", "stoma-site"}


def test_without_images_the_images_are_wanted_too() -> None:
    whole = told(whole_case(images=()), routes=(), measured={})
    one = open_one(whole, "urogram")
    # All else is marked, so that the images alone bring reach.
    assert ("cutaneous-bilateral", "open") in changes_told(one)
    assert UROGRAM.is_volume


def test_hands_or_a_helper_settle_it_and_neither_alone_can_refuse() -> None:
    whole = told(whole_case({"dexterity": None, "helper-at-home": None}))
    hands = open_one(whole, "hands")
    assert ("neobladder", "open") in changes_told(hands)
    assert ("neobladder", "closed") not in changes_told(hands)
    # The caution of limited hands alone would leave it undecided still.
    (when,) = {o.when for o in hands.alone if o.diversion == "neobladder"}
    assert when == "use of the hands: full"


def test_what_only_waits_for_one_answer_stands_first() -> None:
    gone = {"accepts-catheterisation": None, "wishes": None, "albumin-creatinine-ratio": None}
    whole = told(whole_case(gone))
    assert [one.standing.item.key for one in whole.open] == [
        "accepts-catheter",
        "wishes",
        "urine-protein",
    ]
    assert {one.diversion: one.items for one in whole.waiting} == {
        "continent-pouch": ("accepts-catheter",),
        "neobladder": ("accepts-catheter",),
    }
    assert all(one.could_become == ("open", "closed") for one in whole.waiting)


def test_an_option_that_reaches_goes_before_one_that_may_not() -> None:
    """A conduit that reaches and waits for one answer, beside two that wait for reach as well."""
    gone = {"urinary-stones": None, "bowel-disease": None}
    conduit = [route for route in ample_routes() if route.diversion == "ileal-conduit"]
    order = [o.standing.item.key for o in told(whole_case(gone), routes=conduit).open]
    assert order.index("bowel-disease") < order.index("stones")


def test_what_waits_for_an_item_is_named_at_its_root() -> None:
    whole = told(whole_case({"albumin-creatinine-ratio": None}))
    names = [finding.name for finding in open_one(whole, "urine-protein").estimates]
    assert names == []
    poor = {"albumin-creatinine-ratio": None, "creatinine": "180", "cystatin-c": "2.2"}
    estimates = open_one(told(whole_case(poor)), "urine-protein").estimates
    assert {finding.name for finding in estimates} == {"kidney-failure-risk-5-years"}


def test_the_same_case_gives_the_same_to_the_last_letter() -> None:
    def once() -> Any:
        whole = told(whole_case({"creatinine": None, "dexterity": None}))
        return completeness_json(whole, str)

    assert once() == once()


def test_a_group_that_only_changes_together_is_told_once() -> None:
    whole = told(whole_case(MARKS_GONE), routes=(), measured={})
    keys = [one.standing.item.key for one in told_once(whole)]
    assert len({"ureter-left", "ureter-right", "lower-pole-left"} & set(keys)) == 1
