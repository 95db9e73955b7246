"""Which question to put next: the one whose answer is expected to tell most about the order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.plan.preferences.attributes import pair_key
from thalweg.plan.preferences.weights import chances
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from thalweg.plan.preferences.answers import Given, Word
    from thalweg.plan.preferences.attributes import Attribute, Matters
    from thalweg.plan.preferences.places import Places
    from thalweg.plan.preferences.weights import Weights

__all__ = ["NEXT_QUESTION", "Asking", "Question", "next_question", "questions_of"]

NEXT_QUESTION: Final = Method(
    key="preference-question",
    title="the next question",
    formula=(
        "gain = H(answer) - sum over options of P(first) x H(answer | first), in bit: the expected "
        "information of the answer about which option comes first"
    ),
    valid_for="questions not put yet, options that are open or not yet decidable",
    sources=("lindley-1956-information", "thalweg-engineering"),
)
"""The way from draws to the next question."""


@dataclass(frozen=True, slots=True)
class Question:
    """A choice between two matters.

    Parameters
    ----------
    first, second : Attribute
    gain_bit : float
        Expected information about which option comes first, bit.
    chance : mapping
        Of each answer, as things stand.
    leads : mapping
        Which option would come first most often, after each answer.
    """

    first: Attribute
    second: Attribute
    gain_bit: float
    chance: Mapping[Word, float]
    leads: Mapping[Word, str]

    @property
    def key(self) -> str:
        """Its name."""
        return pair_key(self.first.key, self.second.key)

    @property
    def words(self) -> tuple[str, str]:
        """Both sides, as a person reads them: the step from the worst to the best on offer."""
        first, second = (f"{one.best} instead of {one.worst}" for one in (self.first, self.second))
        return first, second


@dataclass(frozen=True, slots=True)
class Asking:
    """What is asked next, or why nothing is.

    Parameters
    ----------
    question : Question or None
    reason : str
        Why there is none; empty where there is one.
    """

    question: Question | None
    reason: str = ""


def questions_of(
    pairs: Sequence[tuple[Attribute, Attribute]], known: Matters, weights: Weights, places: Places
) -> tuple[Question, ...]:
    """Return these questions with what each would tell.

    Parameters
    ----------
    pairs : sequence of (Attribute, Attribute)
    known : Matters
    weights : Weights
    places : Places
        Of every option that may still come to be chosen.
    """
    counted = weights.share[:, None] * places.firsts
    column = {key: number for number, key in enumerate(weights.keys)}
    found = []
    for one, two in pairs:
        told = chances(
            weights.drawn[:, column[one.key]], weights.drawn[:, column[two.key]], known.settings
        )
        # Rows: answers; columns: options that come first.
        joint = np.stack([chance @ counted for chance in told.values()])
        leads: dict[Word, str] = {
            word: places.keys[int(np.argmax(np.round(row, 12)))]
            for word, row in zip(told, joint, strict=True)
        }
        chance = {word: float(row.sum()) for word, row in zip(told, joint, strict=True)}
        found.append(Question(one, two, _shared_bit(joint), chance, leads))
    return tuple(found)


def _shared_bit(joint: NDArray[np.float64]) -> float:
    """Return the mutual information of rows and columns, bit."""
    from scipy.special import entr  # noqa: PLC0415 - a heavy import

    joint = joint / joint.sum()
    nats = entr(joint.sum(axis=0)).sum() + entr(joint.sum(axis=1)).sum() - entr(joint).sum()
    return max(0.0, float(nats / np.log(2)))


def next_question(
    known: Matters, given: Given, weights: Weights, places: Places
) -> tuple[Asking, tuple[Question, ...]]:
    """Return what to ask next, and every question not put yet, the most telling first.

    Parameters
    ----------
    known : Matters
    given : Given
        What was answered already; nothing is asked twice.
    weights : Weights
    places : Places
        Of every option that may still come to be chosen.
    """
    open_pairs = [
        pair for pair in known.pairs if pair_key(pair[0].key, pair[1].key) not in given.asked
    ]
    if len(places.keys) < 2:
        return Asking(None, "There are not two options to choose between."), ()
    ranked = sorted(
        questions_of(open_pairs, known, weights, places),
        key=lambda one: -round(one.gain_bit, 9),
    )
    if len(given.answers) >= known.settings.most:
        reason = f"{len(given.answers)} questions were put: enough for one talk."
        return Asking(None, reason), tuple(ranked)
    if not ranked or ranked[0].gain_bit < known.settings.least_gain_bit:
        return Asking(None, "No further question would tell much about the order."), tuple(ranked)
    return Asking(ranked[0]), tuple(ranked)
