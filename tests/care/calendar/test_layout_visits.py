"""Visits laid out: dates, windows, statuses, what fulfils them, what is not known."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise

import pytest
from dateutil.relativedelta import relativedelta  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.visits import BLOODS, OPERATION, RULES, lab, laid_out, said_done, visit

from thalweg.care.calendar import (
    CONDITIONS,
    DIVERSIONS,
    lay_out,
)
from thalweg.record.truth import Truth


def test_dates_after_the_last_of_january_are_counted_from_that_day() -> None:
    calendar = laid_out(OPERATION)
    dues = [visit(calendar, f"bloods-bowel-{n}").due for n in range(1, 7)]
    # dateutil, independent: months added to the operation date, clamped to the month's end.
    expected = [OPERATION + relativedelta(months=m) for m in (1, 3, 6, 12, 18, 24)]
    assert dues == expected
    assert expected[:2] == [date(2026, 2, 28), date(2026, 4, 30)]


@settings(deadline=None)
@given(
    operation=st.dates(date(1990, 1, 1), date(2060, 12, 31)),
    since=st.integers(-400, 6000),
    diversion=st.sampled_from(DIVERSIONS),
    conditions=st.fixed_dictionaries({key: st.sampled_from(Truth) for key in CONDITIONS}),
    horizon=st.integers(1, 6),
)
def test_what_always_holds(
    operation: date, since: int, diversion: str, conditions: dict[str, Truth], horizon: int
) -> None:
    today = operation + timedelta(days=since)
    calendar = lay_out(diversion, operation, conditions, RULES, today=today, horizon_years=horizon)
    keys = [one.key for one in calendar.visits]
    assert len(keys) == len(set(keys))
    dues = [one.due for one in calendar.visits if one.due]
    assert len(dues) == len(calendar.visits)
    assert dues == sorted(dues)
    end = max(operation, today) + relativedelta(years=horizon)
    assert all(operation < due <= end for due in dues)
    for one in calendar.visits:
        assert one.due
        assert one.window_from
        assert one.window_to
        assert one.window_from <= one.due <= one.window_to
        assert one.due == operation + relativedelta(months=one.offset.months, days=one.offset.days)
        expected = "overdue" if today > one.window_to else "due"
        assert one.status == ("coming" if today < one.window_from else expected)
    for rule in {one.rule.key for one in calendar.visits}:
        mine = [one for one in calendar.visits if one.rule.key == rule]
        assert [one.number for one in mine] == list(range(1, len(mine) + 1))
        for first, second in pairwise(mine):
            assert first.window_to
            assert second.window_from
            assert first.window_to < second.window_from
    # A rule is laid out, undecided, or does not apply: never two of them.
    undecided = {one.rule.key for one in calendar.undecided}
    assert not undecided & {one.rule.key for one in calendar.visits}


@settings(deadline=None, max_examples=50)
@given(st.dates(date(1990, 1, 1), date(2060, 12, 31)), st.integers(1, 9), st.integers(1, 5))
def test_a_longer_horizon_only_adds_visits(operation: date, years: int, more: int) -> None:
    def keyed(horizon: int) -> dict[str, date | None]:
        calendar = lay_out(
            "neobladder", operation, {}, RULES, today=operation, horizon_years=horizon
        )
        return {one.key: one.due for one in calendar.visits}

    short, long = keyed(years), keyed(years + more)
    assert short.items() < long.items()


def test_status_follows_the_window_day_by_day() -> None:
    # bloods-bowel-1 is due 28 February 2026, 10 days before to 21 days after.
    days = {
        date(2026, 2, 17): "coming",
        date(2026, 2, 18): "due",
        date(2026, 3, 21): "due",
        date(2026, 3, 22): "overdue",
    }
    for today, status in days.items():
        assert visit(laid_out(today), "bloods-bowel-1").status == status


def test_results_inside_the_window_do_the_visit() -> None:
    facts = [lab(concept, date(2026, 2, 20)) for concept in BLOODS]
    one = visit(laid_out(date(2026, 3, 1), *facts), "bloods-bowel-1")
    assert one.status == "done"
    assert set(one.done_by) == set(facts)
    assert one.late_days == 0


def test_total_co2_does_a_visit_in_place_of_bicarbonate() -> None:
    measured = (*BLOODS[:-1], "total-co2")
    facts = [lab(concept, date(2026, 2, 20)) for concept in measured]
    one = visit(laid_out(date(2026, 3, 1), *facts), "bloods-bowel-1")
    assert one.status == "done"
    assert {fact.concept for fact in one.done_by} == set(measured)


def test_some_of_the_results_do_not_and_the_rest_is_named() -> None:
    facts = [lab(concept, date(2026, 2, 20)) for concept in BLOODS[:2]]
    one = visit(laid_out(date(2026, 3, 1), *facts), "bloods-bowel-1")
    assert one.status == "due"
    assert one.lacking == ("potassium", "chloride", "bicarbonate")
    assert one.done_by == ()


@pytest.mark.parametrize(
    ("day", "status", "late"),
    [
        (date(2026, 2, 17), "overdue", 0),  # a day before the window: too early to count
        (date(2026, 2, 18), "done", 0),
        (date(2026, 3, 21), "done", 0),
        (date(2026, 3, 24), "done", 3),
        (date(2026, 4, 19), "done", 29),  # the last day before the window of the next visit
        (date(2026, 4, 20), "overdue", 0),  # belongs to the next visit
    ],
)
def test_early_does_not_count_and_late_is_said(day: date, status: str, late: int) -> None:
    facts = [lab(concept, day) for concept in BLOODS]
    one = visit(laid_out(date(2026, 5, 30), *facts), "bloods-bowel-1")
    assert (one.status, one.late_days) == (status, late)


def test_one_result_does_one_visit_of_a_rule() -> None:
    facts = [lab(concept, date(2026, 4, 30)) for concept in BLOODS]
    calendar = laid_out(date(2026, 12, 1), *facts)
    done = [one.key for one in calendar.with_status("done") if one.rule.key == "bloods-bowel"]
    assert done == ["bloods-bowel-2"]


def test_a_visit_said_done_by_hand_is_done_under_its_own_rule_only() -> None:
    fact = said_done("upper-tract-imaging", date(2026, 8, 1))
    calendar = laid_out(date(2026, 9, 1), fact, conditions={"bladder-cancer": Truth.MET})
    assert visit(calendar, "upper-tract-imaging-1").done_by == (fact,)
    assert visit(calendar, "oncological-imaging-1").status == "due"


def test_a_visit_said_not_done_is_not_done() -> None:
    fact = said_done("upper-tract-imaging", date(2026, 8, 1), value=False)
    assert visit(laid_out(date(2026, 9, 1), fact), "upper-tract-imaging-1").status == "due"


def test_what_is_dated_after_today_does_nothing_yet() -> None:
    fact = said_done("upper-tract-imaging", date(2026, 8, 1))
    assert visit(laid_out(date(2026, 7, 31), fact), "upper-tract-imaging-1").status == "due"


def test_a_result_counts_on_the_day_it_was_taken_where_it_was_taken() -> None:
    # One instant: 17 February, 23:30 UTC, or 18 February, the window's first day, two hours east.
    instant = datetime(2026, 2, 17, 23, 30, tzinfo=UTC)
    east = instant.astimezone(timezone(timedelta(hours=2)))
    for at, status in ((instant, "due"), (east, "done")):
        facts = [lab(concept, at) for concept in BLOODS]
        assert visit(laid_out(date(2026, 3, 1), *facts), "bloods-bowel-1").status == status


def test_an_overdue_visit_whose_successor_has_opened_is_kept_and_marked() -> None:
    calendar = laid_out(date(2026, 5, 1))
    first, second = visit(calendar, "bloods-bowel-1"), visit(calendar, "bloods-bowel-2")
    assert (first.status, first.superseded) == ("overdue", True)
    assert (second.status, second.superseded) == ("due", False)
    keys = {one.key for one in calendar.to_act_on()}
    assert "bloods-bowel-2" in keys
    assert "bloods-bowel-1" not in keys


def test_a_visit_is_superseded_from_the_day_its_successors_window_opens() -> None:
    # bloods-bowel-2 is due 30 April 2026 and may be done from ten days before.
    for today, superseded in ((date(2026, 4, 19), False), (date(2026, 4, 20), True)):
        one = visit(laid_out(today), "bloods-bowel-1")
        assert (one.status, one.superseded) == ("overdue", superseded)


def test_an_unknown_condition_leaves_a_rule_undecided_and_says_what_would_settle_it() -> None:
    calendar = laid_out(OPERATION, conditions={"bladder-cancer": Truth.MET})
    (one,) = [u for u in calendar.undecided if u.rule.key == "urethral-surveillance-high-risk"]
    assert one.missing == ("urethra-kept", "urethral-recurrence-risk-high")
    assert (
        "not on record whether the urethra was left in place and whether the risk" in one.sentence
    )
    assert not [v for v in calendar.visits if v.rule.key == one.rule.key]


def test_a_condition_that_is_not_met_settles_it_whatever_else_is_unknown() -> None:
    calendar = laid_out(OPERATION, conditions={"bladder-cancer": Truth.NOT_MET})
    rules = {u.rule.key for u in calendar.undecided} | {v.rule.key for v in calendar.visits}
    assert not {key for key in rules if key.startswith(("urethral", "oncological", "urine"))}


def test_the_diversion_itself_says_that_bowel_is_used() -> None:
    b12 = "vitamin-b12"
    assert b12 in {v.rule.key for v in laid_out(OPERATION).visits}
    single = laid_out(OPERATION, diversion="cutaneous-single")
    assert b12 in {u.rule.key for u in single.undecided}
    without = laid_out(
        OPERATION, diversion="cutaneous-single", conditions={"bowel-used": Truth.NOT_MET}
    )
    assert b12 not in {u.rule.key for u in without.undecided}


def test_without_an_operation_date_the_calendar_is_relative_and_says_so() -> None:
    calendar = lay_out("ileal-conduit", None, {}, RULES, today=date(2026, 1, 1), horizon_years=2)
    assert calendar.planned
    assert any("not on record" in caution for caution in calendar.cautions)
    assert {v.status for v in calendar.visits} == {"undated"}
    assert all(v.due is v.window_from is v.window_to is None for v in calendar.visits)
    whens = [v.when for v in calendar.visits if v.rule.key == "upper-tract-imaging"]
    assert whens == [
        "6 months after operation", "1 year after operation", "2 years after operation"
    ]  # fmt: skip
    groups = {group.label: group.visits for group in calendar.grouped()}
    assert {v.rule.key for v in groups["6 months after operation"]} == {
        "bloods-bowel", "stoma-review", "upper-tract-imaging"
    }  # fmt: skip


def test_relative_and_dated_calendars_ask_for_the_same() -> None:
    for diversion in DIVERSIONS:
        relative = lay_out(diversion, None, {}, RULES, today=OPERATION, horizon_years=5)
        dated = lay_out(diversion, OPERATION, {}, RULES, today=OPERATION, horizon_years=5)
        in_months = [v.key for v in relative.visits if v.offset.days == 0]
        assert in_months
        assert set(in_months) == {v.key for v in dated.visits if v.offset.days == 0}


def test_a_planned_operation_dates_the_calendar_with_a_caution() -> None:
    calendar = laid_out(date(2026, 1, 1))
    assert calendar.planned
    assert any("planned for 2026-01-31" in caution for caution in calendar.cautions)
    assert {v.status for v in calendar.visits} == {"coming"}


def test_until_is_the_last_due_date() -> None:
    calendar = laid_out(OPERATION, until=date(2026, 7, 31))
    dues = [v.due for v in calendar.visits if v.due]
    assert max(dues) == date(2026, 7, 31)
    again = laid_out(OPERATION, until=date(2026, 7, 30))
    assert {v.key for v in calendar.visits} - {v.key for v in again.visits} == {
        "bloods-bowel-3", "stoma-review-4", "upper-tract-imaging-1"
    }  # fmt: skip


def test_the_horizon_runs_from_today_once_the_operation_is_past() -> None:
    calendar = laid_out(date(2040, 6, 1), horizon_years=1)
    assert calendar.visits[-1].due == date(2041, 1, 31)


def test_groups_keep_every_visit_and_bring_neighbours_together() -> None:
    calendar = laid_out(OPERATION, horizon_years=3)
    for within in (0, 7, 30):
        groups = calendar.grouped(within)
        assert tuple(v for group in groups for v in group.visits) == calendar.visits
        for group in groups:
            first, last = group.visits[0].due, group.visits[-1].due
            assert first
            assert last
            assert (last - first).days <= within
        starts = [group.visits[0].due for group in groups]
        assert all(a and b and (b - a).days > within for a, b in pairwise(starts))
    assert calendar.grouped(7)[0].label == "2026-02-07 to 2026-02-14"
    assert calendar.grouped()[0].label == "2026-02-07"
