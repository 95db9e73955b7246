"""From published counts to a rate with its doubt.

A share that was struck within a follow-up says how large the cumulative hazard has become; divided
by how far the hazard's course has come by then, it gives a rate that does not depend on how long
people were followed. Rates are pooled on the log scale and shares on the logit scale, with random
effects; what is drawn from is the *prediction* for a new setting, not the mean of the old ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.evidence.pooling.normal import fitted, studies, tau2
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.plan.lifecourse.shape import Shape

__all__ = ["POOLED_RATE", "Seen", "log_rate", "pooled"]

POOLED_RATE: Final = Method(
    key="life-course-rate",
    title="rate of an event over time, from published series",
    formula=(
        "per series H = -ln(1 - events/n), rate = H / G(follow-up) with G the course of the hazard "
        "(even: G = years); ln rate, or the logit of a share, pooled with random effects (Paule "
        "and Mandel); drawn for a new setting, normal with variance tau² + se²; with fewer than 4 "
        "series tau is at least 0.5"
    ),
    valid_for="series with events, people, and a mean or median follow-up or a share at a time",
    sources=("paule-mandel-1982", "thalweg-engineering"),
    cautions=(
        "Everyone is taken as followed for the mean or median time of the series.",
        "Series look back and come from those who publish; the next unit may differ.",
    ),
)
FEW: Final = 4
"""Below so many series, how far settings differ cannot be told from them."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one series saw.

    Parameters
    ----------
    events : float
        People (or what was counted) to whom it happened; not whole where worked out from a share.
    n : int
        Of so many.
    years : float
        Within this time; 0 for a share within the first days.
    """

    events: float
    n: int
    years: float = 0.0


def _corrected(seen: Seen) -> tuple[float, float]:
    """Return events and number, with half an event added where none or all were struck."""
    if 0 < seen.events < seen.n:
        return seen.events, seen.n
    return seen.events + 0.5, seen.n + 1


def log_rate(seen: Seen, shape: Shape) -> tuple[float, float]:
    """Return the log of a series' rate, and its variance (delta method).

    Raises
    ------
    InputError
        If it has no time, or the hazard's course has not begun by then.
    """
    events, n = _corrected(seen)
    course = float(shape.at(seen.years))
    if course <= 0:
        raise InputError("a rate needs a time after the operation", mend="give the follow-up")
    share = events / n
    summed = -log(1.0 - share)
    return log(summed / course), share / (n * (1.0 - share) * summed**2)


def log_odds(seen: Seen) -> tuple[float, float]:
    """Return the logit of a series' share, and its variance."""
    events, n = _corrected(seen)
    return log(events / (n - events)), 1.0 / events + 1.0 / (n - events)


def pooled(effects: Sequence[tuple[float, float]], *, least_tau: float) -> tuple[float, float]:
    """Return the middle and the spread of the prediction for a new setting.

    Parameters
    ----------
    effects : sequence of (float, float)
        Estimate and variance of each series, on one scale.
    least_tau : float
        How far settings differ at least (standard deviation), where fewer than 4 series tell.

    Returns
    -------
    tuple of float
        Mean, and the standard deviation of a new setting about it.
    """
    values, variances = zip(*effects, strict=True)
    given = studies(values, variances)
    between = tau2(given, "pm") if given.spare else 0.0
    if len(effects) < FEW:
        between = max(between, least_tau**2)
    fit = fitted(given, between)
    return float(fit.coefficients[0]), sqrt(between + float(fit.covariance[0, 0]))
