"""What would put another option first: a matter that weighs more, or the answer to a question."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.plan.preferences.answers import Word
    from thalweg.plan.preferences.places import Places
    from thalweg.plan.preferences.questions import Question
    from thalweg.plan.preferences.weights import Weights

__all__ = ["FLIPS", "AnswerFlip", "WeightFlip", "answer_flips", "weight_flips"]

MOST_TIMES: Final = 100.0
"""A matter that would have to weigh more than this many times as much flips nothing."""

FLIPS: Final = Method(
    key="preference-flips",
    title="what would put another option first",
    formula=(
        "with mean weights w and the differences d of mean levels between leader and other: matter "
        "j would have to weigh f = sum over the others of w_i d_i / (-w_j d_j) times as much"
    ),
    valid_for="the leading option against each other one; one matter changed at a time",
    sources=("thalweg-engineering",),
)
"""The way from weights to what would turn them over."""


@dataclass(frozen=True, slots=True)
class WeightFlip:
    """A matter that, weighing more, would put another option before the leading one.

    Parameters
    ----------
    option : str
        The other option.
    attribute : str
        The matter.
    times : float
        How many times as much it would have to weigh, the others as they are; above 1.
    """

    option: str
    attribute: str
    times: float


@dataclass(frozen=True, slots=True)
class AnswerFlip:
    """An answer not given yet that would put another option first.

    Parameters
    ----------
    question : Question
    word : str
    option : str
        That would then come first most often.
    """

    question: Question
    word: Word
    option: str


def weight_flips(places: Places, weights: Weights) -> tuple[WeightFlip, ...]:
    """Return for each option but the leading one the matter that needs to grow least, if any does.

    Parameters
    ----------
    places : Places
    weights : Weights
    """
    if len(places.keys) < 2:
        return ()
    mean = weights.mean()
    lead, *others = places.order()
    found = []
    for other in others:
        ahead = mean * (places.values[lead] - places.values[other])
        whole = ahead.sum()
        best: tuple[float, int] | None = None
        for column in np.flatnonzero(ahead < 0):
            times = float((whole - ahead[column]) / -ahead[column])
            if 1 < times <= MOST_TIMES and (best is None or times < best[0]):
                best = times, int(column)
        if best is not None:
            found.append(WeightFlip(places.keys[other], weights.keys[best[1]], best[0]))
    return tuple(sorted(found, key=lambda one: one.times))


def answer_flips(
    questions: Sequence[Question], leader: str, among: Sequence[str]
) -> tuple[AnswerFlip, ...]:
    """Return the answers that would put another open option first, most telling question first.

    Parameters
    ----------
    questions : sequence of Question
        Not put yet.
    leader : str
        The option that comes first most often as things stand.
    among : sequence of str
        The open options.
    """
    return tuple(
        AnswerFlip(question, word, option)
        for question in questions
        for word, option in question.leads.items()
        if word != "no difference" and option != leader and option in among
    )
