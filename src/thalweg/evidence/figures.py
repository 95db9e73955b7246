"""One figure for each outcome after a diversion, as it is told to the person.

A person cannot read nineteen definitions side by side. Of the pools that the rules allow, the one
behind which most were counted is told; that there are others, and how far they lie apart, is told
with it. Nothing is chosen by its result.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Final, Literal

from thalweg.evidence.outcome import outcomes
from thalweg.evidence.pool_groups import pool_groups
from thalweg.evidence.pooling import pool
from thalweg.evidence.series import published

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.evidence.pool_groups import PoolGroup
    from thalweg.evidence.pooling import PoolSettings
    from thalweg.evidence.protocol import Rules
    from thalweg.evidence.series import Population, Series

__all__ = ["Figure", "Sureness", "figures_for"]

Sureness = Literal["very unsure", "unsure", "fairly sure"]
Doubt = Literal["few", "one", "wide", "differ", "secondary"]

FEW: Final = 100
MANY: Final = 500
GROUPS: Final = 3
NARROW: Final = 0.10
"""Our own limits for the words of doubt: people counted, groups, width of the interval."""
APART: Final = 0.25
"""Groups whose shares lie further apart than this differ a lot; ours too."""


@dataclass(frozen=True, slots=True)
class Figure:
    """How often one outcome was counted after one diversion.

    Parameters
    ----------
    diversion : str
        Key of the catalogue.
    group : PoolGroup
        The pool that is told.
    estimate : float or None
        Share, 0 to 1, pooled where there are several groups; None where they differ so much, or
        are so few, that one figure would mislead.
    interval : tuple of float or None
        Its 95 % interval.
    prediction : tuple of float or None
        Where the share of a further such hospital would lie, 0 to 1; None from too few groups.
    across : tuple of float
        Least and greatest share over the series of every pool of this outcome, 0 to 1; equal to
        `spread` where there is no other pool.
    """

    diversion: str
    group: PoolGroup
    estimate: float | None
    interval: tuple[float, float] | None
    prediction: tuple[float, float] | None
    across: tuple[float, float]

    @property
    def outcome(self) -> str:
        """Key of the outcome."""
        return self.group.outcome

    @property
    def unit(self) -> str:
        """What is counted."""
        return self.group.unit

    @property
    def series(self) -> tuple[Series, ...]:
        """The series behind it."""
        return self.group.series

    @property
    def events(self) -> int:
        """With the outcome, over all series."""
        return sum(self.group.events)

    @property
    def total(self) -> int:
        """Counted, over all series."""
        return sum(self.group.totals)

    @property
    def spread(self) -> tuple[float, float]:
        """Least and greatest share among its own series."""
        return _span(self.series)

    @property
    def years(self) -> tuple[int, int]:
        """First and last year of publication."""
        return min(one.year for one in self.series), max(one.year for one in self.series)

    @property
    def months(self) -> tuple[float, float] | None:
        """Shortest and longest follow-up, months; None where no series tells."""
        told = [one.follow_up_months for one in self.series if one.follow_up_months is not None]
        return (min(told), max(told)) if told else None

    @property
    def at_months(self) -> tuple[float, float] | None:
        """First and last moment that the series speak of, in months; None where they do not."""
        told = [one.at_months for one in self.series if one.at_months is not None]
        return (min(told), max(told)) if len(told) == len(self.series) else None

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """Why it is not sure."""
        low, high = self.spread
        wide = self.interval is None or self.interval[1] - self.interval[0] > NARROW
        checks: tuple[tuple[Doubt, bool], ...] = (
            ("few", self.total < FEW),
            ("one", len(self.series) == 1),
            ("differ", high - low > APART),
            ("wide", wide),
            ("secondary", all(one.read in {"secondary", "memory"} for one in self.series)),
        )
        return tuple(key for key, holds in checks if holds)

    @property
    def sureness(self) -> Sureness:
        """How surely it is known, by the limits of this module."""
        doubts = self.doubts
        if "few" in doubts or "secondary" in doubts:
            return "very unsure"
        firm = self.total >= MANY and len(self.series) >= GROUPS
        return "fairly sure" if firm and not doubts else "unsure"


def figures_for(
    diversion: str,
    *,
    population: Population = "adult",
    rules: Rules | None = None,
    settings: PoolSettings | None = None,
) -> tuple[Figure, ...]:
    """Return the figure of each outcome that has one, in the order of the outcomes.

    Parameters
    ----------
    diversion : str
        Key of the catalogue.
    population : "adult", "child" or "mixed"
        Whom the series are about.
    rules : Rules, optional
        Which series may be pooled, by the unit's own rules.
    settings : PoolSettings, optional
        How they are pooled, by the unit's own.

    Returns
    -------
    tuple of Figure
        Of each outcome the pool that holds most, of those counted as the outcome usually is where
        there are any; between pools of one size, that of the definition listed first. An outcome
        without any count is left out. A unit's own outcomes are no part of it: they are held
        against the published ones elsewhere.
    """
    rows = published(population=population)
    groups = [one for one in pool_groups(rows, diversion=diversion, rules=rules) if one.series]
    order = list(outcomes())
    groups.sort(key=lambda one: order.index(one.outcome))
    return tuple(
        _told(diversion, tuple(some), settings)
        for _, some in groupby(groups, lambda one: one.outcome)
    )


def _told(diversion: str, groups: tuple[PoolGroup, ...], settings: PoolSettings | None) -> Figure:
    chosen = max(groups, key=lambda one: (one.unit == one.what.unit, sum(one.totals)))
    alike = [one for one in groups if one.unit == chosen.unit]
    across = _span(row for one in alike for row in one.series)
    pooled = pool(chosen.events, chosen.totals, settings=settings)
    if not pooled.speaks:
        return Figure(diversion, chosen, None, None, None, across)
    return Figure(diversion, chosen, pooled.mean, pooled.interval, pooled.prediction, across)


def _span(rows: Iterable[Series]) -> tuple[float, float]:
    shares = [one.events / one.n for one in rows if one.events is not None]
    return min(shares), max(shares)
