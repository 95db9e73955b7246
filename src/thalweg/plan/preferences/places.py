"""In which place each option stands, over all weights that the answers allow.

Stochastic multicriteria acceptability analysis with ordinal scales: the value of an option is the
weighted sum of what it offers; only the order of levels is known, so that every scale that keeps
it is drawn; what is not known may be anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.plan.preferences.weights import generator
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.plan.preferences.attributes import Matters
    from thalweg.plan.preferences.weights import Weights

__all__ = ["OVERLAP", "PLACES", "Places", "dominators", "offers", "places_of"]

SAME: Final = 1e-12
"""Two sums nearer than this are one: options that offer the same share their places."""

OVERLAP: Final = (
    (
        "Matters are added up as if each counted by itself; some overlap, such as a bag and how "
        "the belly looks."
    ),
)
"""What adding up leaves out."""

PLACES: Final = Method(
    key="preference-places",
    title="places of the open options by the person's own answers",
    formula=(
        "value = sum over matters of weight x level, levels from 0 (worst) to 1 (best) with every "
        "scale in between that keeps their order; share of draws in which an option takes each "
        "place; options that offer the same share their places"
    ),
    valid_for="options that no criterion closes; matters that add up and do not overlap",
    sources=(
        "lahdelma-1998-smaa",
        "lahdelma-2001-smaa-2",
        "lahdelma-2003-smaa-o",
        "thalweg-engineering",
    ),
    cautions=(
        (
            "The order follows from this person's answers to a few questions and from what each "
            "option offers as a rule. It is not advice, and other matters may weigh more."
        ),
        *OVERLAP,
    ),
)
"""The way from weights to places."""


@dataclass(frozen=True, eq=False)
class Places:
    """Places of a few options.

    Parameters
    ----------
    keys : tuple of str
        The options.
    shares : (n, n) array of float
        Row: option; column: place, the first first. Rows and columns sum to 1.
    firsts : (N, n) array of float
        For each draw, which option comes first; a tie is shared out.
    values : (n, m) array of float
        Mean level of each option on each matter, 0 worst to 1 best.
    """

    keys: tuple[str, ...]
    shares: NDArray[np.float64]
    firsts: NDArray[np.float64]
    values: NDArray[np.float64]

    @property
    def mean_places(self) -> NDArray[np.float64]:
        """Mean place of each option, counted from 1."""
        return np.asarray(self.shares @ np.arange(1, len(self.keys) + 1))

    def order(self) -> tuple[int, ...]:
        """Return the options' numbers by mean place; ties keep the order given."""
        means = np.round(self.mean_places, 9)
        return tuple(int(n) for n in np.argsort(means, kind="stable"))

    def span(self, number: int, level: float = 0.95) -> tuple[int, int]:
        """Return the places that hold `level` of an option's draws, with equal shares beyond."""
        reached = np.cumsum(self.shares[number])
        low = int(np.searchsorted(reached, (1 - level) / 2 - 1e-9)) + 1
        high = int(np.searchsorted(reached, (1 + level) / 2 - 1e-9)) + 1
        return low, min(high, len(self.keys))


def offers(options: Sequence[str], known: Matters, draws: int) -> NDArray[np.float64]:
    """Return what each option offers on each matter, drawn.

    Parameters
    ----------
    options : sequence of str
    known : Matters
    draws : int

    Returns
    -------
    (draws, options, matters) array of float
        0 worst to 1 best. One option's draws do not depend on which others are there.
    """
    drawn = np.empty((draws, len(options), len(known.attributes)))
    for column, attribute in enumerate(known.attributes):
        count = len(attribute.levels)
        inner = generator("scale", attribute.key).random((draws, max(0, count - 2)))
        inner = -np.sort(-inner, axis=1)
        scale = np.hstack([np.ones((draws, 1)), inner, np.zeros((draws, 1))])
        for row, option in enumerate(options):
            span = known.span(option, attribute)
            own = generator("offer", option, attribute.key)
            if span is None:
                drawn[:, row, column] = own.random(draws)
            elif span[0] == span[1]:
                drawn[:, row, column] = scale[:, span[0]]
            else:
                level = own.integers(span[0], span[1] + 1, draws)
                drawn[:, row, column] = scale[np.arange(draws), level]
    return drawn


def places_of(options: Sequence[str], weights: Weights, offered: NDArray[np.float64]) -> Places:
    """Return how often each option takes each place.

    Parameters
    ----------
    options : sequence of str
    weights : Weights
    offered : (draws, options, matters) array of float
        From `offers`.

    References
    ----------
    Lahdelma R, Salminen P. Oper Res 2001;49:444-454.
    """
    value = np.matmul(offered, weights.drawn[:, :, None])[:, :, 0]
    count = len(options)
    shares = np.zeros((count, count))
    firsts = np.zeros((len(value), count))
    for number in range(count):
        own = value[:, [number]]
        above = np.sum(value > own + SAME, axis=1)
        equal = np.sum(np.abs(value - own) <= SAME, axis=1)
        part = weights.share / equal
        # An option that ties takes each of the tied places for an equal part.
        for further in range(int(equal.max(initial=0))):
            here = np.where(further < equal, part, 0.0)
            shares[number] += np.bincount(above + further, here, 2 * count)[:count]
        firsts[:, number] = np.where(above == 0, 1.0 / equal, 0.0)
    means = np.einsum("n,nom->om", weights.share, offered)
    return Places(tuple(options), shares, firsts, means)


def dominators(option: str, others: Sequence[str], known: Matters) -> tuple[str, ...]:
    """Return which others are no worse in anything and better in something, as far as known.

    A matter that is not known of either is left aside; a range counts by its ends.
    """
    found = []
    for other in others:
        spans = [(known.span(option, one), known.span(other, one)) for one in known.attributes]
        pairs = [
            (mine, theirs) for mine, theirs in spans if mine is not None and theirs is not None
        ]
        no_worse = all(theirs[1] <= mine[0] for mine, theirs in pairs)
        better = any(theirs[1] < mine[0] for mine, theirs in pairs)
        if other != option and no_worse and better:
            found.append(other)
    return tuple(found)
