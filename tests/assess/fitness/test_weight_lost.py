"""Weight lost, from two weights where nobody answered: by hand, with the span and its edges."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from tests.support.fitness_witness import DAY, fact, one, person

from thalweg.assess.fitness.derived import ground_of
from thalweg.assess.fitness.rulebook import rulebook

if TYPE_CHECKING:
    from thalweg.record.finding import Finding


def lost(*weights: tuple[int, str], asked: str | None = None) -> dict[str, Finding]:
    """Return the computed shares of somebody weighed so many days ago."""
    known = tuple(fact("weight", (kg, "kg"), DAY - timedelta(days=days)) for days, kg in weights)
    answers = (
        {}
        if asked is None
        else {"weight-loss-3-months": (asked, "kg"), "weight": (kg_now(weights), "kg")}
    )
    inputs = replace(person(answers), weights=known)
    return dict(ground_of(inputs, rulebook()).findings)


def kg_now(weights: tuple[tuple[int, str], ...]) -> str:
    return weights[-1][1]


# Three months are 91.3 days; a quarter of that either way is 69 to 114 days between the weights.
@pytest.mark.parametrize(
    ("weights", "share"),
    [
        (((91, "80"), (0, "72")), 10.0),
        (((69, "80"), (0, "72")), 10.0),
        (((114, "80"), (0, "72")), 10.0),
        (((68, "80"), (0, "72")), None),
        (((115, "80"), (0, "72")), None),
        # The newest weight must be of the last 31 days; the span runs back from it.
        (((122, "80"), (31, "72")), 10.0),
        (((123, "80"), (32, "72")), None),
        # Of two earlier weights the one nearest to the span.
        (((110, "90"), (90, "80"), (0, "72")), 10.0),
        (((91, "70"), (0, "72")), 0.0),
        (((0, "72"),), None),
        ((), None),
    ],
)
def test_two_weights_stand_in_for_an_answer(
    weights: tuple[tuple[int, str], ...], share: float | None
) -> None:
    found = lost(*weights)["weight-loss-share-3-months"]
    assert found.value == (None if share is None else pytest.approx(share))
    if share is None:
        assert found.missing == ("weight-loss-3-months",)
    else:
        assert "nobody was asked" in found.cautions[0]
        assert len(found.facts) == 2


def test_an_answer_goes_before_the_weights() -> None:
    found = lost((91, "80"), (0, "72"), asked="0")["weight-loss-share-3-months"]
    assert found.value == 0.0
    assert [one.concept for one in found.facts] == ["weight-loss-3-months"]


def test_what_was_computed_is_said_where_it_counts() -> None:
    known = (
        fact("weight", ("80", "kg"), DAY - timedelta(days=91)),
        fact("weight", ("72", "kg"), DAY),
    )
    main = one(replace(person({}), weights=known), "glim").main
    assert any("nobody was asked" in caution for caution in main.all_cautions)
