"""Pool shares of series: one figure with its interval, its heterogeneity, and what to beware of."""

from __future__ import annotations

from math import inf, log, sqrt
from typing import TYPE_CHECKING, Final, Literal, cast

import numpy as np

from thalweg.errors import InputError
from thalweg.evidence.pooling.binomial_normal import binomial_normal
from thalweg.evidence.pooling.intervals import (
    clopper_pearson,
    heterogeneity_p,
    knapp_hartung_factor,
    prediction_interval,
    q_profile,
    student_interval,
)
from thalweg.evidence.pooling.judged import judged
from thalweg.evidence.pooling.methods import PoolSettings, pool_settings
from thalweg.evidence.pooling.normal import (
    ESTIMATORS,
    Estimator,
    Studies,
    fitted,
    generalised_q,
    i_squared,
    studies,
    tau2,
)
from thalweg.evidence.pooling.pooled import Pooled, expit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["WAYS", "Way", "logits", "pool"]

Way = Literal["auto", "reml", "pm", "dl", "exact"]
WAYS: Final[tuple[str, ...]] = ("auto", *ESTIMATORS, "exact")
CORRECTION: Final = 0.5
"""Added to events and non-events of a series that lacks one of them, where logits are pooled."""


def _ends(interval: tuple[float, float]) -> tuple[float, float]:
    return expit(interval[0]), expit(interval[1])


def logits(
    events: Sequence[int], totals: Sequence[int]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return each series' logit and its variance.

    Half an event and half a non-event are added to a series that lacks either, and to no other.
    """
    x, n = np.asarray(events, dtype=np.float64), np.asarray(totals, dtype=np.float64)
    added = np.where((x == 0) | (x == n), CORRECTION, 0.0)
    yes, no = x + added, n - x + added
    return np.log(yes / no), 1.0 / yes + 1.0 / no


def pool(
    events: Sequence[int],
    totals: Sequence[int],
    *,
    method: str = "auto",
    level: float = 0.95,
    settings: PoolSettings | None = None,
) -> Pooled:
    """Pool the shares of series.

    Parameters
    ----------
    events, totals : sequence of int
        Of each series: with the event, 0 to the total, and counted, at least 1.
    method : "auto", "reml", "pm", "dl" or "exact"
        ``"auto"``: counts themselves (``"exact"``) where events are few by the rules of
        `settings`, else logits by restricted maximum likelihood.
    level : float
        Of the intervals, between 0 and 1.
    settings : PoolSettings, optional
        Ours where None.

    Raises
    ------
    InputError
        If there is no series, a count cannot be, or the method is not known.
    """
    _sound(events, totals, method, level)
    rules = settings or pool_settings()
    if len(events) == 1 or not sum(events) or sum(events) == sum(totals):
        return _as_one(events, totals, level)
    few = _few(events, totals, rules)
    way = method if method != "auto" else "exact" if few else "reml"
    found = (
        _exact(events, totals, level, rules)
        if way == "exact"
        else _normal(events, totals, cast("Estimator", way), level, rules)
    )
    return judged(found, rules, events, totals)


def _sound(events: Sequence[int], totals: Sequence[int], method: str, level: float) -> None:
    if method not in WAYS:
        raise InputError(f"{method!r} is not a method of pooling", mend=f"use {' or '.join(WAYS)}")
    if not 0 < level < 1:
        raise InputError(f"a level of {level:g} cannot be", mend="give it between 0 and 1")
    if not len(events) or len(events) != len(totals):
        raise InputError("there is no series to pool", mend="give events and totals in pairs")
    for x, n in zip(events, totals, strict=True):
        if not 0 <= x <= n or n < 1 or x != int(x) or n != int(n):
            raise InputError(f"{x} events of {n} cannot be", mend="correct the counts")


def _few(events: Sequence[int], totals: Sequence[int], rules: PoolSettings) -> bool:
    """Whether events, or non-events, are too few for logits in any series."""
    p = sum(events) / sum(totals)
    fewest = min(min(x, n - x, n * p, n * (1.0 - p)) for x, n in zip(events, totals, strict=True))
    return fewest < max(rules.least_events, 1.0)


def _as_one(events: Sequence[int], totals: Sequence[int], level: float) -> Pooled:
    x, n, k = sum(events), sum(totals), len(events)
    mu = log(x / (n - x)) if 0 < x < n else (-inf if not x else inf)
    if k == 1:
        said = "One series: how much places differ is not known."
    else:
        said = (
            f"In all {k} series {'nobody' if not x else 'everybody'} had it: how much places "
            "differ cannot be known, and they are taken as one."
        )
    return Pooled(
        x / n,
        clopper_pearson(x, n, level),
        mu,
        sqrt(1.0 / x + 1.0 / (n - x)) if 0 < x < n else inf,
        *(None,) * 6,
        k,
        x,
        n,
        0,
        "one",
        level,
        tuple(total / n for total in totals),
        speaks=k == 1,
        cautions=(said,),
    )


def _normal(
    events: Sequence[int],
    totals: Sequence[int],
    method: Estimator,
    level: float,
    rules: PoolSettings,
) -> Pooled:
    given = studies(*logits(events, totals))
    fit = fitted(given, tau2(given, method))
    mu = float(fit.coefficients[0])
    factor = knapp_hartung_factor(given, fit)
    se = sqrt(factor * float(fit.covariance[0, 0]))
    lacking = sum(x in (0, n) for x, n in zip(events, totals, strict=True))
    cautions = []
    if lacking:
        cautions.append(
            f"Half a person was added to events and non-events of {lacking} series without one of "
            "them, which draws a rare event upwards; the method “exact” needs no such addition."
        )
    return _pooled(
        mu,
        se,
        fit.tau2,
        q_profile(given, level),
        i_squared(given, fit.tau2),
        (generalised_q(given, 0.0), heterogeneity_p(given)),
        method,
        fit.weights,
        (events, totals, level, rules, cautions),
    )


def _exact(
    events: Sequence[int], totals: Sequence[int], level: float, rules: PoolSettings
) -> Pooled:
    x, n = np.asarray(events, dtype=np.float64), np.asarray(totals, dtype=np.float64)
    found = binomial_normal(x, n, level)
    p = expit(found.mu)
    noise = 1.0 / (n * p * (1.0 - p))
    low, high = found.tau_interval
    return _pooled(
        found.mu,
        found.se,
        found.tau**2,
        (low**2, high**2),
        i_squared(Studies(np.zeros_like(x), noise, np.ones((len(x), 1))), found.tau**2),
        _equal_shares(x, n),
        "exact",
        1.0 / (noise + found.tau**2),
        (events, totals, level, rules, []),
    )


def _equal_shares(x: NDArray[np.float64], n: NDArray[np.float64]) -> tuple[float, float]:
    """Return Pearson's chi-squared of one share in all series, and its chance."""
    from scipy.special import chdtrc  # noqa: PLC0415 - a heavy import, only for pooling

    p = x.sum() / n.sum()
    found = float((((x - n * p) ** 2) / (n * p * (1.0 - p))).sum())
    return found, float(chdtrc(len(x) - 1, found))


def _pooled(
    mu: float,
    se: float,
    between: float,
    between_interval: tuple[float, float],
    i2: float,
    scatter: tuple[float, float],
    method: str,
    weights: NDArray[np.float64],
    rest: tuple[Sequence[int], Sequence[int], float, PoolSettings, list[str]],
) -> Pooled:
    events, totals, level, rules, cautions = rest
    k = len(events)
    prediction = None
    if k >= rules.least_for_prediction:
        prediction = _ends(prediction_interval(mu, se, between, k - 1, level))
    return Pooled(
        mean=expit(mu),
        interval=_ends(student_interval(mu, se, k - 1, level)),
        mu=mu,
        se=se,
        tau2=between,
        tau2_interval=between_interval,
        i2=i2,
        q=scatter[0],
        q_p=scatter[1],
        prediction=prediction,
        k=k,
        events=sum(events),
        total=sum(totals),
        degrees_of_freedom=k - 1,
        method=method,
        level=level,
        weights=tuple(float(one) for one in weights / weights.sum()),
        cautions=tuple(cautions),
    )
