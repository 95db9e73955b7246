"""The next question and the flips, against what can be reckoned by hand."""

from __future__ import annotations

from math import log, log2
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.integrate import quad
from tests.support.preference_people import answers, attribute_of, matters_of

from thalweg.plan.preferences.answers import Given
from thalweg.plan.preferences.attributes import Settings
from thalweg.plan.preferences.flips import answer_flips, weight_flips
from thalweg.plan.preferences.places import Places, offers, places_of
from thalweg.plan.preferences.questions import next_question
from thalweg.plan.preferences.weights import Weights, weights_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.plan.preferences.answers import Answer

A, B, C = (attribute_of(key) for key in "abc")
KNOWN = matters_of([A, B, C], {"x": {"a": 0, "b": 1, "c": 0}, "y": {"a": 1, "b": 0, "c": 0}})


def standing(told: Sequence[Answer] = ()) -> tuple[Weights, Places]:
    weights = weights_of(list("abc"), told, KNOWN.settings)
    return weights, places_of(list("xy"), weights, offers(list("xy"), KNOWN, len(weights.share)))


def test_the_question_that_decides_between_two_options_comes_first() -> None:
    weights, places = standing()
    asking, ranked = next_question(KNOWN, Given(), weights, places)
    assert asking.question is not None
    # x and y differ in a and b alone; c is had with both.
    assert asking.question.key == "a/b"
    assert asking.question.leads["first"] == "x"
    assert asking.question.leads["second"] == "y"
    assert {one.key for one in ranked} == {"a/b", "a/c", "b/c"}
    assert sum(asking.question.chance.values()) == pytest.approx(1.0)


def test_an_even_choice_tells_what_the_integral_over_all_weights_says() -> None:
    # Uniform weight w of a; x is first where w > 1/2. Of answers that choose, those that name the
    # other one there are a share e: the answer tells 1 - H(e) bit.
    known = matters_of(
        [A, B], {"x": {"a": 0, "b": 1}, "y": {"a": 1, "b": 0}}, Settings(equal_is_said=1e-12)
    )
    power = log(9) / log(2)
    erring = 2 * quad(lambda w: (1 - w) ** power / (w**power + (1 - w) ** power), 0.5, 1)[0]
    lost = -erring * log2(erring) - (1 - erring) * log2(1 - erring)
    weights = weights_of(["a", "b"], [], known.settings)
    places = places_of(["x", "y"], weights, offers(["x", "y"], known, len(weights.share)))
    asking, _ = next_question(known, Given(), weights, places)
    assert asking.question is not None
    assert asking.question.gain_bit == pytest.approx(1 - lost, abs=0.012)


def test_a_channel_that_errs_tells_what_its_formula_says() -> None:
    # Two draws of equal share; in each the answer that fits is given with chance p, no ties.
    k_share = 0.8
    known = matters_of(
        [A, B],
        {"x": {"a": 0, "b": 1}, "y": {"a": 1, "b": 0}},
        Settings(twice_is_said=k_share, equal_is_said=1e-12),
    )
    drawn = np.array([[2 / 3, 1 / 3], [1 / 3, 2 / 3]])
    weights = Weights(("a", "b"), drawn, np.array([0.5, 0.5]))
    places = places_of(["x", "y"], weights, offers(["x", "y"], known, 2))
    asking, _ = next_question(known, Given(), weights, places)
    assert asking.question is not None
    lost = -k_share * log2(k_share) - (1 - k_share) * log2(1 - k_share)
    assert asking.question.gain_bit == pytest.approx(1 - lost, abs=1e-6)


def test_nothing_is_asked_twice_or_beyond_the_most_or_where_it_tells_nothing() -> None:
    told = answers({("a", "b"): "do not know"})
    weights, places = standing(told=told)
    asking, ranked = next_question(KNOWN, Given(tuple(told)), weights, places)
    assert asking.question is None or asking.question.key != "a/b"
    assert "a/b" not in {one.key for one in ranked}
    few = matters_of([A, B, C], {}, Settings(most=1))
    asking, _ = next_question(few, Given(tuple(told)), weights, places)
    assert asking.question is None
    assert "1 questions" in asking.reason
    same = matters_of([A, B, C], {key: {"a": 0, "b": 0, "c": 0} for key in "xy"})
    even = places_of(list("xy"), weights, offers(list("xy"), same, len(weights.share)))
    asking, _ = next_question(same, Given(), weights, even)
    assert asking.question is None
    assert "would tell much" in asking.reason
    alone = places_of(["x"], weights, offers(["x"], KNOWN, len(weights.share)))
    assert "not two options" in next_question(KNOWN, Given(), weights, alone)[0].reason


def test_how_many_times_a_matter_must_weigh_is_where_the_two_sums_meet() -> None:
    # x leads by 0.5 against 0.3; b has to grow by 0.5 / 0.3 for y to meet it.
    weights = Weights(("a", "b", "c"), np.array([[0.5, 0.3, 0.2]]), np.array([1.0]))
    places = places_of(["x", "y"], weights, offers(["x", "y"], KNOWN, 1))
    (flip,) = weight_flips(places, weights)
    assert (flip.option, flip.attribute) == ("y", "b")
    assert flip.times == pytest.approx(0.5 / 0.3)
    grown = np.array([[0.5, 0.3 * flip.times * 1.001, 0.2]])
    after = places_of(
        ["x", "y"],
        Weights(("a", "b", "c"), grown / grown.sum(), np.array([1.0])),
        offers(["x", "y"], KNOWN, 1),
    )
    assert after.keys[after.order()[0]] == "y"


def test_an_answer_said_to_flip_does_flip() -> None:
    told = answers({("a", "c"): "first"})
    weights, places = standing(told=told)
    lead = places.keys[int(places.shares[:, 0].argmax())]
    assert lead == "x"
    _, ranked = next_question(KNOWN, Given(tuple(told)), weights, places)
    flips = answer_flips(ranked, lead, ["x", "y"])
    assert flips
    for flip in flips:
        more = [*told, *answers({(flip.question.first.key, flip.question.second.key): flip.word})]
        _, after = standing(told=more)
        assert after.keys[int(after.shares[:, 0].argmax())] == flip.option
