"""Where a unit's own count lies among what the published series would lead one to expect."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import sqrt
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from thalweg.evidence.pooling.intervals import clopper_pearson
from thalweg.record.method import Method

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.evidence.pooling.pooled import Pooled

__all__ = ["Compared", "Standing", "compared", "expected_cdf"]

Standing = Literal["within", "below", "above", "not known"]
SLICES: Final = 4000
"""Equal parts of the distribution of the true share; the answer is right to one part."""

UNIT_AGAINST_PUBLISHED: Final = Method(
    key="unit-against-published",
    title="a unit's own count against what published series lead one to expect",
    formula=(
        "true logit of a further place: mu + t(k - 1) times the root of tau2 + standard error "
        "squared; count in n: binomial; range: the counts left when 2.5 % are cut off at either end"
    ),
    valid_for="a pool of three series or more that count the same thing the same way",
    sources=("inthout-2016", "thalweg-engineering"),
    cautions=(
        (
            "Neither praise nor blame: whom a unit operates on, what it counts and how long it "
            "looks differ from the published series."
        ),
        "A count of few people lies within almost any range.",
    ),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """A unit's own count beside the published.

    Parameters
    ----------
    events, total : int
        The unit's own.
    interval : tuple of float
        Exact 95 % interval of its share, 0 to 1.
    expected : tuple of int or None
        Fewest and most events to be expected in so many; None where it cannot be known.
    chance_fewer, chance_more : float or None
        How likely so few, and so many, events are in a further such place.
    standing : str
        ``"within"``, ``"below"``, ``"above"`` or ``"not known"``.
    says : str
        A sentence.
    """

    events: int
    total: int
    interval: tuple[float, float]
    expected: tuple[int, int] | None
    chance_fewer: float | None
    chance_more: float | None
    standing: Standing
    says: str

    def to_json(self) -> dict[str, Any]:
        """Return it with the unit in every key."""
        return {
            "events_count": self.events,
            "total_count": self.total,
            "share_percent": 100.0 * self.events / self.total,
            "interval_percent": [100.0 * end for end in self.interval],
            "expected_events_count": None if self.expected is None else list(self.expected),
            "so_few_chance": self.chance_fewer,
            "so_many_chance": self.chance_more,
            "standing": self.standing,
            "says": self.says,
            "method": UNIT_AGAINST_PUBLISHED.key,
            "cautions": list(UNIT_AGAINST_PUBLISHED.cautions),
        }


@cache
def _middles(degrees_of_freedom: int) -> NDArray[np.float64]:
    """Return Student's quantiles at the middles of equal slices."""
    from scipy.special import stdtrit  # noqa: PLC0415 - a heavy import, only for pooling

    return np.asarray(stdtrit(degrees_of_freedom, (np.arange(SLICES) + 0.5) / SLICES))


def expected_cdf(pooled: Pooled, total: int, most: int) -> float:
    """Return how likely at most so many events are among `total` in a further such place.

    Parameters
    ----------
    pooled : Pooled
        Of at least three series, some with the event and some without.
    total, most : int
    """
    from scipy.special import bdtr, expit  # noqa: PLC0415 - a heavy import, only for pooling

    if most < 0:
        return 0.0
    spread = sqrt((pooled.tau2 or 0.0) + pooled.se**2)
    shares = expit(pooled.mu + spread * _middles(pooled.degrees_of_freedom))
    return float(np.mean(bdtr(min(most, total), total, shares)))


def _range(pooled: Pooled, total: int) -> tuple[int, int]:
    """Return the counts left when an equal tail is cut off at either end."""
    tail = (1.0 - pooled.level) / 2.0

    def first(target: float) -> int:
        low, high = 0, total
        while low < high:
            middle = (low + high) // 2
            if expected_cdf(pooled, total, middle) > target:
                high = middle
            else:
                low = middle + 1
        return low

    return first(tail), first(1.0 - tail)


def compared(events: int, total: int, pooled: Pooled | None) -> Compared:
    """Return a unit's own count beside a pool that it is not part of.

    Parameters
    ----------
    events, total : int
        The unit's own.
    pooled : Pooled or None
        Of published series.
    """
    interval = clopper_pearson(events, total)
    own = f"{events} of {total} ({100.0 * events / total:.1f} %)"
    if pooled is None or pooled.prediction is None:
        said = f"This unit: {own}. Too few published series to say what a further place may expect."
        return Compared(events, total, interval, None, None, None, "not known", said)
    low, high = _range(pooled, total)
    standing: Standing = "below" if events < low else "above" if events > high else "within"
    said = (
        f"This unit: {own}. From {pooled.k} published series, {low} to {high} of {total} would be "
        f"expected in a further such place in {100.0 * pooled.level:g} of 100: this lies {standing}"
        f"{'' if standing == 'within' else ' that range'}."
    )
    if pooled.means_little:
        said += " The series differ so much that the range says little."
    return Compared(
        events,
        total,
        interval,
        (low, high),
        expected_cdf(pooled, total, events),
        1.0 - expected_cdf(pooled, total, events - 1),
        standing,
        said,
    )
