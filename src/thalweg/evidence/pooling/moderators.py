"""Whether the differences between series go with something: a covariate, a group, their size."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import InputError
from thalweg.evidence.pooling.intervals import knapp_hartung_factor, student_interval
from thalweg.evidence.pooling.normal import Estimator, fitted, studies, tau2
from thalweg.evidence.pooling.proportions import logits, pool
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from thalweg.evidence.pooling.methods import PoolSettings
    from thalweg.evidence.pooling.pooled import Pooled

__all__ = [
    "Along",
    "Without",
    "along",
    "along_effects",
    "groups_differ",
    "leave_one_out",
    "share_at",
    "small_series",
]

ALONG: Final = Method(
    key="pooled-share-along",
    title="how shares go with a covariate",
    formula=(
        "logit = a + b x covariate, random effects by restricted maximum likelihood, Student's t "
        "with k - 2 degrees of freedom and Knapp and Hartung's variance, never narrower than plain"
    ),
    valid_for="ten series or more",
    sources=("knapp-hartung-2003", "viechtbauer-2005", "rover-2015"),
    cautions=(
        "Series differ in many things at once: what goes together need not be cause and effect.",
    ),
)
SMALL_SERIES: Final = Method(
    key="small-series-look",
    title="whether small series report other shares than large ones",
    formula=(
        "weighted least squares of the logit on 1/total with weights 1/(1/events + 1/non-events); "
        "t of the slope with k - 2 degrees of freedom"
    ),
    valid_for="ten series or more",
    sources=("peters-2006", "sterne-2011"),
    cautions=(
        (
            "A difference is no proof that series went unpublished, and none found is no proof "
            "that they did not."
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Along:
    """A line through the logits.

    Parameters
    ----------
    slope, slope_error : float
        Logits for each unit of the covariate.
    slope_interval : tuple of float
    intercept, intercept_error : float
        Logit where the covariate is 0.
    chance : float
        How likely so steep a slope is by chance.
    tau2 : float
        Heterogeneity that is left.
    k : int
        Series.
    method : Method
    """

    slope: float
    slope_error: float
    slope_interval: tuple[float, float]
    intercept: float
    intercept_error: float
    chance: float
    tau2: float
    k: int
    method: Method


@dataclass(frozen=True, slots=True)
class Without:
    """The pool without one series: its place, what remains, and by how much that moved."""

    left_out: int
    pooled: Pooled
    moved: float


def _two_sided(t: float, degrees_of_freedom: int) -> float:
    from scipy.special import stdtr  # noqa: PLC0415 - a heavy import, only for pooling

    return float(2.0 * stdtr(degrees_of_freedom, -abs(t)))


def along_effects(
    effects: ArrayLike,
    variances: ArrayLike,
    covariate: ArrayLike,
    *,
    method: Estimator = "reml",
    level: float = 0.95,
    never_narrower: bool = True,
) -> Along:
    """Return the line through estimates of any kind.

    Parameters
    ----------
    effects, variances, covariate : array_like, shape (k,)
        At least three, the covariate not the same in all.
    method : "reml", "pm" or "dl"
    level : float
    never_narrower : bool
        As `thalweg.evidence.pooling.intervals.knapp_hartung_factor` takes it.

    Raises
    ------
    InputError
        If there are fewer than three, or the covariate is the same in all.
    """
    given = studies(effects, variances, covariate)
    fit = fitted(given, tau2(given, method))
    factor = knapp_hartung_factor(given, fit, never_narrower=never_narrower)
    a, b = (float(one) for one in fit.coefficients)
    a_error, b_error = (sqrt(factor * float(one)) for one in np.diag(fit.covariance))
    return Along(
        b,
        b_error,
        student_interval(b, b_error, given.spare, level),
        a,
        a_error,
        _two_sided(b / b_error, given.spare),
        fit.tau2,
        len(given.effects),
        ALONG,
    )


def along(
    events: Sequence[int],
    totals: Sequence[int],
    covariate: Sequence[float],
    *,
    settings: PoolSettings,
) -> Along | None:
    """Return how the logits of shares go with a covariate, or None from too few series.

    Raises
    ------
    InputError
        If the covariate is the same in all series.
    """
    if len(events) < settings.least_for_small:
        return None
    return along_effects(*logits(events, totals), covariate)


def small_series(
    events: Sequence[int], totals: Sequence[int], *, settings: PoolSettings
) -> Along | None:
    """Return how logits go with one over the size (Peters), or None from too few series."""
    k = len(events)
    if k < settings.least_for_small or len(set(totals)) == 1:
        return None
    y, v = logits(events, totals)
    given = studies(y, v, 1.0 / np.asarray(totals, dtype=np.float64))
    fit = fitted(given, 0.0)
    dispersion = fit.scatter / given.spare
    a, b = (float(one) for one in fit.coefficients)
    a_error, b_error = (sqrt(dispersion * float(one)) for one in np.diag(fit.covariance))
    interval = student_interval(b, b_error, given.spare, 0.95)
    chance = _two_sided(b / b_error, given.spare)
    return Along(b, b_error, interval, a, a_error, chance, 0.0, k, SMALL_SERIES)


def leave_one_out(
    events: Sequence[int],
    totals: Sequence[int],
    whole: Pooled,
    *,
    settings: PoolSettings | None = None,
) -> tuple[Without, ...]:
    """Return the pool without each series in turn, by the method of the whole.

    Parameters
    ----------
    events, totals : sequence of int
    whole : Pooled
        Of all of them.
    settings : PoolSettings, optional

    Returns
    -------
    tuple of Without
        `moved` is the change of the share, 0 to 1; empty where one series stands alone.
    """
    if len(events) < 2:
        return ()
    method = "auto" if whole.method == "one" else whole.method
    found = []
    for place in range(len(events)):
        rest_x = [*events[:place], *events[place + 1 :]]
        rest_n = [*totals[:place], *totals[place + 1 :]]
        rest = pool(rest_x, rest_n, method=method, level=whole.level, settings=settings)
        found.append(Without(place, rest, rest.mean - whole.mean))
    return tuple(found)


def groups_differ(pools: Sequence[Pooled]) -> tuple[float, float]:
    """Return the chi-squared of a difference between groups' pooled logits, and its chance.

    Parameters
    ----------
    pools : sequence of Pooled
        At least two, each with a finite logit and its own heterogeneity.

    Raises
    ------
    InputError
        If there are fewer, or one has nobody or everybody with the event.
    """
    from scipy.special import chdtrc  # noqa: PLC0415 - a heavy import, only for pooling

    mu = np.array([one.mu for one in pools])
    if len(pools) < 2 or not np.isfinite(mu).all():
        raise InputError("the groups cannot be compared", mend="compare two with some events each")
    weights = 1.0 / np.array([one.se for one in pools]) ** 2
    middle = weights @ mu / weights.sum()
    found = float(weights @ (mu - middle) ** 2)
    return found, float(chdtrc(len(pools) - 1, found))


def share_at(line: Along, value: float) -> float:
    """Return the share, 0 to 1, that the line gives at a value of the covariate."""
    return float(1.0 / (1.0 + np.exp(-(line.intercept + line.slope * value))))
