"""Rates over time: events per person-year from counts, or from a share still free of them.

Publications rarely give person-time. It is taken here as the number of people times their mean
(or median) follow-up, and the rate as constant; both are assumptions, and every rate says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.evidence.series import Series

__all__ = [
    "RATE_FROM_COUNTS",
    "RATE_FROM_SHARE",
    "Hazard",
    "hazard",
    "hazard_of",
    "hazard_of_share",
    "poisson_interval",
]

MONTHS_A_YEAR: Final = 12.0

RATE_FROM_COUNTS: Final = Method(
    key="event-rate-from-counts",
    title="rate of events from counts and follow-up",
    formula=(
        "rate = events / (n x mean follow-up in years); 95 % interval: chi-squared quantiles "
        "q(0.025; 2 events)/2 and q(0.975; 2 events + 2)/2, divided by the same person-years"
    ),
    valid_for="series that give events, people and mean or median follow-up",
    sources=("garwood-1936", "thalweg-engineering"),
    cautions=(
        "The rate is taken as constant over time, though many complications come early.",
        (
            "Person-years are people times follow-up: time after an event or loss is counted in, "
            "so that the true rate is a little higher."
        ),
    ),
)
RATE_FROM_SHARE: Final = Method(
    key="event-rate-from-share",
    title="rate of events from a share still free of them",
    formula="rate = -ln(share free of the event) / years",
    valid_for="Kaplan-Meier shares at a stated time, above 0 and below 100 %",
    sources=("thalweg-engineering",),
    cautions=("The rate is taken as constant over time, though many complications come early.",),
)
MEDIAN_CAUTION: Final = "The median follow-up was used as if it were the mean."


@dataclass(frozen=True, slots=True)
class Hazard:
    """A constant rate of events.

    Parameters
    ----------
    per_person_year : float
        Events in a year per person (or per unit counted), at least 0.
    interval : tuple of float or None
        Its 95 % interval, per person-year; None where the publication gives none.
    method : Method
        How it was reached.
    person_years : float or None
        Time at risk that was assumed.
    cautions : tuple of str
        Beyond those of the method.
    """

    per_person_year: float
    interval: tuple[float, float] | None
    method: Method
    person_years: float | None = None
    cautions: tuple[str, ...] = ()

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """The method's cautions and its own."""
        return (*self.method.cautions, *self.cautions)


def poisson_interval(events: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of a Poisson mean from one count.

    Parameters
    ----------
    events : int
        Counted, at least 0.
    level : float
        Between 0 and 1.

    Raises
    ------
    InputError
        If the count or the level cannot be.

    References
    ----------
    Garwood F. Biometrika 1936;28:437-442.
    """
    if events < 0 or not 0 < level < 1:
        raise InputError(f"{events} events at level {level:g} cannot be", mend="correct them")
    from scipy.special import gammaincinv  # noqa: PLC0415 - a heavy import, only for rates

    tail = (1.0 - level) / 2.0
    # Half a quantile of chi-squared with twice the degrees of freedom is one of gamma.
    low = float(gammaincinv(events, tail)) if events else 0.0
    return low, float(gammaincinv(events + 1, 1.0 - tail))


def hazard(events: int, n: int, follow_up_months: float, *, kind: str = "mean") -> Hazard:
    """Return the rate that counts over a mean or median follow-up amount to.

    Parameters
    ----------
    events, n : int
        Events among so many people; 0 to `n`, and `n` at least 1.
    follow_up_months : float
        In months, above 0.
    kind : "mean" or "median"
        What the follow-up is.

    Raises
    ------
    InputError
        If the counts or the time cannot be, or the follow-up is a least or greatest one, from
        which no person-time follows.
    """
    if not 0 <= events <= n or n < 1 or not follow_up_months > 0:
        raise InputError(
            f"{events} events of {n} over {follow_up_months:g} months cannot be",
            mend="correct the counts or the follow-up",
        )
    if kind not in {"mean", "median"}:
        raise InputError(
            f"no person-time follows from a {kind or 'nameless'} follow-up",
            mend="give its mean or median",
        )
    years = n * follow_up_months / MONTHS_A_YEAR
    low, high = poisson_interval(events)
    return Hazard(
        events / years,
        (low / years, high / years),
        RATE_FROM_COUNTS,
        years,
        (MEDIAN_CAUTION,) if kind == "median" else (),
    )


def hazard_of_share(
    survival_percent: float, at_months: float, interval: tuple[float, float] | None = None
) -> Hazard:
    """Return the constant rate under which this share would still be free of the event.

    Parameters
    ----------
    survival_percent : float
        Share free of the event, above 0 and at most 100.
    at_months : float
        At that time, months, above 0.
    interval : tuple of float, optional
        Its printed 95 % interval, percent.

    Raises
    ------
    InputError
        If the share, its interval or the time cannot be, or nobody is left.
    """
    bounds = interval or (survival_percent, survival_percent)
    if not 0 < bounds[0] <= survival_percent <= bounds[1] <= 100 or not at_months > 0:
        raise InputError(
            f"no rate follows from {survival_percent:g} % at {at_months:g} months",
            mend="give a share above 0 and at most 100 %, within its interval",
        )
    years = at_months / MONTHS_A_YEAR
    rate, least, most = (-log(p / 100.0) / years for p in (survival_percent, bounds[1], bounds[0]))
    # -log(1) is a negative zero, which no page should print.
    return Hazard(rate + 0.0, (least + 0.0, most + 0.0) if interval else None, RATE_FROM_SHARE)


def hazard_of(series: Series) -> Hazard | None:
    """Return a series' rate, or None where it gives neither a share nor counts with a mean time."""
    if series.survival_percent is not None and series.at_months is not None:
        if series.survival_percent <= 0:
            return None
        return hazard_of_share(series.survival_percent, series.at_months, series.survival_interval)
    timed = series.follow_up_months is not None and series.follow_up_kind in {"mean", "median"}
    if series.events is None or series.follow_up_months is None or not timed:
        return None
    return hazard(series.events, series.n, series.follow_up_months, kind=series.follow_up_kind)
