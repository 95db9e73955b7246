"""Changes of stents on the calendar, what is refused, and the calendar of a case."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from tests.support.visits import BLOODS, HAND, OPERATION, lab, laid_out, said_done, visit

from thalweg.care.calendar import (
    Visit,
    calendar_of,
    calendar_rules,
)
from thalweg.errors import InputError
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact
from thalweg.record.truth import Truth

STENTS: dict[str, Any] = {
    "conditions": {"stents-in": Truth.MET},
    "diversion": "cutaneous-bilateral",
}


def changes_laid_out(today: date, *facts: Fact) -> list[Visit]:
    calendar = laid_out(today, *facts, horizon_years=1, **STENTS)
    return [one for one in calendar.visits if one.rule.key == "stent-change"]


def test_stents_are_counted_from_the_operation_until_one_was_changed() -> None:
    dues = [one.due for one in changes_laid_out(OPERATION)]
    assert dues == [OPERATION + timedelta(weeks=4 * n) for n in range(1, 14)]


def test_a_change_moves_the_next_ones_without_drift_and_keeps_their_numbers() -> None:
    first = said_done("stent-change", date(2026, 3, 10))  # due 28 February, window to 7 March
    one, *later = changes_laid_out(date(2026, 3, 20), first)
    assert (one.status, one.late_days, one.done_by) == ("done", 3, (first,))
    assert [v.due for v in later[:3]] == [date(2026, 4, 7), date(2026, 5, 5), date(2026, 6, 2)]
    assert [v.number for v in later[:3]] == [2, 3, 4]
    assert later[0].status == "coming"


def test_an_emergency_change_counts_as_the_next_one() -> None:
    first = said_done("stent-change", date(2026, 2, 10))  # 18 days before it was due
    one, two, *_ = changes_laid_out(date(2026, 2, 20), first)
    assert one.status == "done"
    assert two.due == date(2026, 3, 10)


@pytest.mark.parametrize("day", [OPERATION, date(2026, 1, 3), date(2026, 2, 27)])
def test_a_change_up_to_the_operation_or_after_today_is_none_of_these(day: date) -> None:
    visits = changes_laid_out(date(2026, 2, 26), said_done("stent-change", day))
    assert [one.status for one in visits].count("done") == 0
    assert visits[0].due == date(2026, 2, 28)


def test_two_records_of_one_change_are_one_change() -> None:
    day = date(2026, 2, 27)
    twice = (said_done("stent-change", day), Fact(
        "visit-done", True, None, datetime(2026, 2, 27, 9, tzinfo=UTC), HAND, label="stent-change"
    ))  # fmt: skip
    assert [v.status for v in changes_laid_out(date(2026, 3, 1), *twice)].count("done") == 1


def test_changes_made_stay_on_the_calendar_once_the_stents_are_out() -> None:
    first = said_done("stent-change", date(2026, 2, 27))
    for truth in (Truth.NOT_MET, Truth.NOT_KNOWN):
        calendar = laid_out(
            date(2026, 6, 1),
            first,
            diversion="cutaneous-bilateral",
            conditions={"stents-in": truth},
        )
        changes = [one for one in calendar.visits if one.rule.key == "stent-change"]
        assert [(one.number, one.status) for one in changes] == [(1, "done")]
        assert ("stent-change" in {u.rule.key for u in calendar.undecided}) == (
            truth is Truth.NOT_KNOWN
        )


def test_windows_that_overlap_are_refused() -> None:
    row = {
        "title": "T", "what": "W", "who": "N", "why": "Y.", "diversions": ["all"],
        "then": [{"every": "1 week"}], "window_days": [3, 4], "source": "Local",
    }  # fmt: skip
    with pytest.raises(InputError, match=r"\[often\]: the windows of visits 1 and 2 overlap"):
        laid_out(OPERATION, rules=calendar_rules({"often": row}))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"diversion": "bag"}, "'bag' is no diversion"),
        ({"conditions": {"rich": Truth.MET}}, "'rich' is no condition"),
        ({"horizon_years": 0}, "horizon of 0 years"),
        ({"until": date(2999, 1, 1)}, "year 2999"),
        ({"until": datetime(2027, 1, 1, tzinfo=UTC)}, "counts in days"),
    ],
)
def test_what_cannot_be_laid_out_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=said):
        laid_out(OPERATION, **change)


def case_with(*facts: Fact) -> Case:
    person = Person("U-1", "Invented Person", date(1950, 5, 5), "female")
    return Case("c1", person, facts)


def text(concept: str, value: str, at: date = OPERATION) -> Fact:
    return Fact(concept, value, None, at, HAND)


def test_a_case_gives_date_conditions_and_results() -> None:
    case = case_with(
        text("operation-date", "2026-01-31"),
        text("indication", "bladder cancer"),
        Fact("urethra-kept", False, None, OPERATION, HAND),
        *(lab(concept, date(2026, 2, 20)) for concept in BLOODS),
    )
    calendar = calendar_of(case, "ileal-conduit", today=date(2026, 3, 1))
    assert calendar.operation_date == OPERATION
    assert visit(calendar, "bloods-bowel-1").status == "done"
    assert visit(calendar, "oncological-imaging-1").due == date(2026, 7, 31)
    assert {u.rule.key for u in calendar.undecided} == {"stents-out"}


def test_a_case_without_a_date_or_with_two_is_laid_out_undated() -> None:
    bare = calendar_of(case_with(), "nephrostomy", today=OPERATION)
    assert bare.operation_date is None
    assert "indication" in {key for u in bare.undecided for key in u.missing}
    both = case_with(text("operation-date", "2026-01-31"), text("operation-date", "2026-02-01"))
    calendar = calendar_of(both, "nephrostomy", today=OPERATION)
    assert calendar.operation_date is None
    assert "Two different values at one time" in calendar.cautions[0]


def test_a_date_that_is_none_is_refused_without_naming_the_person() -> None:
    with pytest.raises(InputError, match="year-month-day") as caught:
        calendar_of(case_with(text("operation-date", "31.1.26")), "nephrostomy", today=OPERATION)
    assert "Invented" not in str(caught.value)
