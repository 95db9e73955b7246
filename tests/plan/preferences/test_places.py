"""Places against volumes of the simplex, dominance, ties, and what must change nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.preference_people import answers, attribute_of, matters_of

from thalweg.plan.preferences.attributes import Settings
from thalweg.plan.preferences.places import Places, dominators, offers, places_of
from thalweg.plan.preferences.weights import Weights, weights_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from thalweg.plan.preferences.answers import Answer
    from thalweg.plan.preferences.attributes import Matters

NEAR = 0.012
A, B, C = (attribute_of(key) for key in "abc")


def placed(known: Matters, told: Sequence[Answer] = (), *options: str) -> Places:
    """Return the places of some options, of all where none is named."""
    keys = list(options or known.holdings)
    weights = weights_of([one.key for one in known.attributes], told, known.settings)
    return places_of(keys, weights, offers(keys, known, known.settings.draws))


def test_two_options_each_best_in_one_of_two_share_the_first_place() -> None:
    known = matters_of([A, B], {"x": {"a": 0, "b": 1}, "y": {"a": 1, "b": 0}})
    assert placed(known).shares == pytest.approx(np.full((2, 2), 0.5), abs=NEAR)


def test_best_in_two_of_three_comes_first_in_three_quarters() -> None:
    # x has a and b, y has c: y is first where c > 1/2, a corner of the triangle of weights whose
    # sides are half as long: 1/4 of the area.
    known = matters_of([A, B, C], {"x": {"a": 0, "b": 0, "c": 1}, "y": {"a": 1, "b": 1, "c": 0}})
    assert placed(known).shares[:, 0] == pytest.approx([0.75, 0.25], abs=NEAR)


def test_three_options_each_best_in_one_of_three_take_every_place_equally() -> None:
    table = {key: {name: 0 if name == key else 1 for name in "abc"} for key in "abc"}
    assert placed(matters_of([A, B, C], table)).shares == pytest.approx(
        np.full((3, 3), 1 / 3), abs=NEAR
    )


def test_a_level_between_is_drawn_over_the_whole_scale() -> None:
    # x: best in a. y: middle of b, u uniform. x first where a > u b, that is w > u / (1 + u) for
    # uniform w: 1 - integral of u / (1 + u) = ln 2.
    middle = attribute_of("b", 3)
    known = matters_of([A, middle], {"x": {"a": 0, "b": 2}, "y": {"a": 1, "b": 1}})
    assert placed(known).shares[0, 0] == pytest.approx(np.log(2), abs=NEAR)


def test_what_is_not_known_is_anything_and_widens_the_places() -> None:
    known = matters_of(
        [A], {"best": {"a": 0}, "worst": {"a": 1}, "unknown": {}, "range": {"a": (0, 1)}}
    )
    two = placed(known, (), "best", "unknown", "worst")
    # Of one matter, uniform between the two ends: surely between them.
    assert two.shares == pytest.approx(np.eye(3), abs=1e-9)
    one = placed(known, (), "range", "unknown")
    assert one.shares[0, 0] == pytest.approx(0.5, abs=NEAR)
    assert one.span(0) == (1, 2)
    assert two.span(0) == (1, 1)


def test_options_that_offer_the_same_share_their_places() -> None:
    known = matters_of([A, B], {key: {"a": 0, "b": 1} for key in "xyz"})
    assert placed(known).shares == pytest.approx(np.full((3, 3), 1 / 3), abs=1e-9)


levels = st.integers(0, 2)
row = st.tuples(levels, levels, levels)


@settings(max_examples=25, deadline=None)
@given(st.lists(row, min_size=2, max_size=5))
def test_an_option_that_another_beats_in_everything_never_comes_first(
    rows: list[tuple[int, int, int]],
) -> None:
    attributes = [attribute_of(key, 3) for key in "abc"]
    table = {f"o{n}": dict(zip("abc", one, strict=True)) for n, one in enumerate(rows)}
    known = matters_of(attributes, table, Settings(draws=2000))
    found = placed(known, answers({("a", "c"): "first"}))
    assert found.shares.sum(axis=0) == pytest.approx(1.0)
    assert found.shares.sum(axis=1) == pytest.approx(1.0)
    for number, own in enumerate(rows):
        # Reckoned here from the levels themselves: 0 is best.
        beaten = [
            f"o{n}"
            for n, other in enumerate(rows)
            if all(x <= y for x, y in zip(other, own, strict=True)) and other != own
        ]
        assert list(dominators(f"o{number}", list(table), known)) == beaten
        if beaten:
            assert found.shares[number, 0] == 0.0


def test_dominance_leaves_aside_what_is_not_known() -> None:
    known = matters_of(
        [A, B, C],
        {"x": {"a": 0, "b": 1}, "y": {"a": 1, "b": 1, "c": 0}, "z": {"a": (0, 1), "b": 1}},
    )
    assert dominators("y", ["x", "y", "z"], known) == ("x",)
    assert dominators("z", ["x", "y"], known) == ()


def test_another_option_changes_no_draw_of_these_and_order_is_no_matter() -> None:
    table: Mapping[str, Mapping[str, int | tuple[int, int]]] = {
        "x": {"a": 0},
        "y": {"b": (0, 1)},
        "z": {"a": 1, "b": 1},
    }
    known = matters_of([A, B], table)
    two = offers(["x", "y"], known, 500)
    three = offers(["z", "y", "x"], known, 500)
    assert np.array_equal(two, three[:, [2, 1]])
    one, other = placed(known, (), *"xyz"), placed(known, (), *"zyx")
    assert one.shares == pytest.approx(other.shares[::-1], abs=1e-12)


def test_the_same_question_gives_the_same_answer_to_the_last_digit() -> None:
    known = matters_of([A, B], {"x": {"a": 0}, "y": {"b": 0}})
    told = answers({("a", "b"): "second"})
    assert np.array_equal(placed(known, told).shares, placed(known, told).shares)


def test_by_mean_place_with_given_weights_it_is_a_sum() -> None:
    # Swing weights of one person, 100 : 60 : 40, normalised: x 0.5, y 0.3 + 0.2, z 0.2.
    known = matters_of(
        [A, B, C],
        {
            "x": {"a": 0, "b": 1, "c": 1},
            "y": {"a": 1, "b": 0, "c": 1},
            "z": {"a": 1, "b": 1, "c": 0},
        },
    )
    weights = Weights(("a", "b", "c"), np.array([[0.5, 0.3, 0.2]]), np.array([1.0]))
    found = places_of(["z", "y", "x"], weights, offers(["z", "y", "x"], known, 1))
    assert [found.keys[n] for n in found.order()] == ["x", "y", "z"]
    assert found.mean_places.tolist() == [3.0, 2.0, 1.0]
