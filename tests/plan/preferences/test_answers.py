"""Which answers count, what is said of the others, and where answers pull apart."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from tests.support.appraisal_people import RECENT, case_of
from tests.support.preference_people import LATER, answered, answers

from thalweg.errors import InputError
from thalweg.plan.preferences.answers import answers_of, not_of_the_list, parse_answer, pulls
from thalweg.plan.preferences.attributes import matters

KNOWN = matters()


def test_a_later_answer_counts_and_the_earlier_is_kept_and_said() -> None:
    first = answered("no-bag/kidneys", "first", RECENT)
    later = answered("no-bag/kidneys", "second", LATER)
    given = answers_of(case_of({}, later, first), KNOWN)
    (answer,) = given.answers
    assert (answer.word, answer.fact, answer.earlier) == ("second", later, (first,))
    (sentence,) = given.said
    assert LATER.isoformat() in sentence
    assert RECENT.isoformat() in sentence
    assert "kept" in sentence


def test_the_same_answer_again_is_nothing_to_say() -> None:
    facts = (answered("no-bag/kidneys", "first"), answered("no-bag/kidneys", "first", LATER))
    given = answers_of(case_of({}, *facts), KNOWN)
    assert len(given.answers) == 1
    assert given.said == ()


def test_either_order_of_the_two_names_is_one_question() -> None:
    assert parse_answer("kidneys/no-bag=first", KNOWN).word == "second"
    assert parse_answer(" kidneys / no-bag = no difference", KNOWN).key == "no-bag/kidneys"
    older = answered("kidneys/no-bag", "first", RECENT)
    given = answers_of(case_of({}, older, answered("no-bag/kidneys", "first", LATER)), KNOWN)
    assert [answer.word for answer in given.answers] == ["first"]
    assert "earlier, different" in given.said[0]


def test_an_answer_of_an_hour_comes_after_one_of_the_day_alone() -> None:
    at = datetime(RECENT.year, RECENT.month, RECENT.day, 9, 30, tzinfo=UTC)
    facts = (answered("no-bag/kidneys", "first"), answered("no-bag/kidneys", "second", at))
    assert answers_of(case_of({}, *facts), KNOWN).answers[0].word == "second"


def test_two_different_answers_at_one_time_are_both_kept_and_neither_counts() -> None:
    facts = (answered("no-bag/kidneys", "first"), answered("no-bag/kidneys", "second"))
    given = answers_of(case_of({}, *facts), KNOWN)
    assert given.answers == ()
    assert "neither counted" in given.said[0]


def test_an_answer_about_what_is_not_on_the_list_is_kept_and_said() -> None:
    strange = answered("no-bag/no-noise", "first")
    given = answers_of(case_of({}, strange), KNOWN)
    assert given.answers == ()
    assert "'no-bag/no-noise'" in given.said[0]
    (sentence,) = not_of_the_list([strange, answered("no-bag/kidneys", "first")], KNOWN)
    assert "'no-noise' is not on the list" in sentence


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("no-bag/kidneys", "is no answer"),
        ("no-bag=first", "is no answer"),
        ("no-bga/kidneys=first", "'no-bga' is not on the list; choose no-bag"),
        ("no-bag/no-bag=first", "asks the same twice"),
        ("no-bag/kidneys=third", "'third' is no answer to no-bag/kidneys"),
    ],
)
def test_what_is_no_answer_is_refused_with_the_mend(text: str, what: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_answer(text, KNOWN)
    assert what in str(refused.value)


def test_circles_are_found_once_each_and_ties_belong_to_them() -> None:
    line = answers({("a", "b"): "first", ("b", "c"): "first", ("a", "c"): "first"})
    assert pulls(line) == ()
    circle = answers({("a", "b"): "first", ("b", "c"): "first", ("a", "c"): "second"})
    assert pulls(circle) == (("a", "b", "c"),)
    tied = answers({("a", "b"): "no difference", ("b", "c"): "first", ("a", "c"): "second"})
    assert pulls(tied) == (("a", "b", "c"),)
    even = answers({("a", "b"): "no difference", ("b", "c"): "no difference"})
    assert pulls(even) == ()
    open_ = answers({("a", "b"): "first", ("b", "c"): "first", ("a", "c"): "do not know"})
    assert pulls(open_) == ()
