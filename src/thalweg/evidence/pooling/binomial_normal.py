"""Random effects of counts themselves: each series binomial, their true logits normal.

No count is corrected and no logit of a zero is needed. The likelihood of one series is an integral
over its true logit, taken by Gauss-Hermite quadrature about the integrand's own peak.

References
----------
Stijnen T, Hamza TH, Ozdemir P. Stat Med 2010;29:3046-3067. Pinheiro JC, Bates DM. J Comput Graph
Stat 1995;4:12-35 (adaptive quadrature). Louis TA. J R Stat Soc B 1982;44:226-233 (information).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import inf, log, pi, sqrt
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

__all__ = ["BinomialNormal", "binomial_normal"]

NODES: Final = 41
"""Enough for an error below 1e-6 in the logarithm up to tau = 3, and below 1e-3 up to 5, whatever
the counts."""
GRID: Final = np.concatenate([[0.0], np.geomspace(0.02, 5.0, 24)])
"""Standard deviations of the true logits that are tried. No interval is followed past the last:
odds would differ by a factor of 18 000 either way between 95 % of settings."""
SETTLED: Final = 1e-7
"""Newton's steps end below this; the last one leaves an error of about its square."""
ROUNDS: Final = 80
STRIDE: Final = 4.0


@dataclass(frozen=True, slots=True)
class BinomialNormal:
    """What maximum likelihood finds.

    Parameters
    ----------
    mu : float
        Mean of the true logits.
    se : float
        Its standard error, taking the doubt about `tau` into account where `tau` is above 0.
    tau : float
        Standard deviation of the true logits.
    tau_interval : tuple of float
        Where the profile likelihood stays within chance; the upper end may be infinite.
    log_likelihood : float
        At its peak.
    """

    mu: float
    se: float
    tau: float
    tau_interval: tuple[float, float]
    log_likelihood: float


class _Moments(NamedTuple):
    """Log-likelihood and derivatives for each (mu, tau); arrays of one length."""

    value: Vector
    by_mu: Vector
    by_tau: Vector
    mu_mu: Vector
    mu_tau: Vector
    tau_tau: Vector


@cache
def _rule() -> tuple[Vector, Vector]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return nodes, np.log(weights) + 0.5 * nodes**2


def _log1pexp(x: Vector) -> Vector:
    return np.logaddexp(0.0, x)


def _peak(mu: Vector, tau: Vector, events: Vector, totals: Vector) -> tuple[Vector, Vector]:
    """Return each integrand's peak (in standard deviations from mu) and its curvature there."""
    own = np.log((events + 0.5) / (totals - events + 0.5))
    noise = 1.0 / (events + 0.5) + 1.0 / (totals - events + 0.5)
    z = tau * (own - mu) / (tau**2 + noise)
    for _ in range(ROUNDS):
        p = 1.0 / (1.0 + np.exp(-(mu + tau * z)))
        curvature = 1.0 + tau**2 * totals * p * (1.0 - p)
        step = np.clip((tau * (events - totals * p) - z) / curvature, -STRIDE, STRIDE)
        z = z + step
        if np.abs(step).max() < SETTLED:
            break
    p = 1.0 / (1.0 + np.exp(-(mu + tau * z)))
    return z, 1.0 + tau**2 * totals * p * (1.0 - p)


def _moments(mu: Vector, tau: Vector, events: Vector, totals: Vector) -> _Moments:
    """Return log-likelihood, slope and curvature; the binomial coefficients are left out."""
    m, t = mu[:, None], tau[:, None]
    peak, curvature = _peak(m, t, events, totals)
    nodes, log_weights = _rule()
    z = peak[..., None] + nodes / np.sqrt(curvature)[..., None]
    m, t = m[..., None], t[..., None]
    x, n = events[:, None], totals[:, None]
    logit = m + t * z
    exponent = x * logit - n * _log1pexp(logit) - 0.5 * z**2 + log_weights
    top = exponent.max(axis=-1, keepdims=True)
    share = np.exp(exponent - top)
    sums = share.sum(axis=-1, keepdims=True)
    each = (top + np.log(sums))[..., 0] - 0.5 * np.log(2 * pi * curvature)
    share /= sums
    p = 1.0 / (1.0 + np.exp(-logit))
    score, info = x - n * p, n * p * (1.0 - p)

    def mean(values: Vector) -> Vector:
        return np.asarray((share * values).sum(axis=-1))

    by_mu, by_tau = mean(score), mean(score * z)
    return _Moments(
        each.sum(axis=1),
        by_mu.sum(axis=1),
        by_tau.sum(axis=1),
        (mean(score**2 - info) - by_mu**2).sum(axis=1),
        (mean((score**2 - info) * z) - by_mu * by_tau).sum(axis=1),
        (mean((score**2 - info) * z**2) - by_tau**2).sum(axis=1),
    )


def _profile(tau: Vector, events: Vector, totals: Vector, start: Vector) -> tuple[Vector, _Moments]:
    """Return the best mu under each tau, and the moments there.

    Under a given tau the likelihood is log-concave in mu, so that Newton's steps, kept short,
    reach the one peak.
    """
    mu = start.copy()
    found = _moments(mu, tau, events, totals)
    for _ in range(ROUNDS):
        step = np.clip(-found.by_mu / np.minimum(found.mu_mu, -1e-12), -STRIDE, STRIDE)
        mu = mu + step
        found = _moments(mu, tau, events, totals)
        if np.abs(step).max() < SETTLED:
            break
    return mu, found


class _Course:
    """The profile of the likelihood over tau, first on a grid and then wherever it is asked."""

    def __init__(self, events: Vector, totals: Vector) -> None:
        self._counts = events, totals
        start = np.full_like(GRID, log(events.sum() / (totals.sum() - events.sum())))
        self._mu, found = _profile(GRID, events, totals, start)
        self.values = found.value

    def at(self, tau: float) -> tuple[float, _Moments]:
        """Return the best mu under a tau, and the moments there."""
        start = np.interp([tau], GRID, self._mu)
        mu, found = _profile(np.array([tau]), *self._counts, start)
        return float(mu[0]), found

    def slope(self, tau: float) -> float:
        """Return the profile's slope, which is the partial one at the best mu."""
        return float(self.at(tau)[1].by_tau[0])

    def peak(self) -> float:
        """Return the tau at the highest peak."""
        from scipy.optimize import brentq  # noqa: PLC0415 - a heavy import, only for pooling

        events, totals = self._counts
        best = int(np.argmax(self.values))
        p = events.sum() / totals.sum()
        # At tau = 0 the slope in tau is nothing whatever the counts; that in its square decides.
        rises = ((events - totals * p) ** 2 - totals * p * (1.0 - p)).sum() > 0
        if best == 0 and not rises:
            return 0.0
        if best == len(GRID) - 1:
            return float(GRID[-1])
        high = float(GRID[best + 1])
        low = float(GRID[best - 1]) if best > 1 else high / 1e4
        if self.slope(low) <= 0:
            return 0.0
        return float(brentq(self.slope, low, high, xtol=1e-12, rtol=1e-12))

    def within(self, tau: float, least: float) -> tuple[float, float]:
        """Return where about `tau` the profile stays above a value; the end may be infinite."""
        from scipy.optimize import brentq  # noqa: PLC0415 - a heavy import, only for pooling

        def above(t: float) -> float:
            return float(self.at(t)[1].value[0]) - least

        below = [t for t, v in zip(GRID, self.values, strict=True) if t < tau and v < least]
        low = float(brentq(above, below[-1], tau, xtol=1e-7)) if below else 0.0
        beyond = [t for t, v in zip(GRID, self.values, strict=True) if t > tau and v < least]
        return low, float(brentq(above, tau, beyond[0], xtol=1e-7)) if beyond else inf


def binomial_normal(events: Vector, totals: Vector, level: float = 0.95) -> BinomialNormal:
    """Return the maximum likelihood of counts whose true logits are normally distributed.

    Parameters
    ----------
    events, totals : ndarray of float, shape (k,)
        At least two series; not all without, nor all with, the event.
    level : float
        Of the interval of `tau`, by the profile likelihood.
    """
    from scipy.special import chdtri  # noqa: PLC0415 - a heavy import, only for pooling

    course = _Course(events, totals)
    tau = course.peak()
    mu, found = course.at(tau)
    if tau > 0:
        determinant = found.mu_mu[0] * found.tau_tau[0] - found.mu_tau[0] ** 2
        se = sqrt(-float(found.tau_tau[0] / determinant))
    else:
        se = sqrt(-1.0 / float(found.mu_mu[0]))
    top = float(found.value[0])
    ends = course.within(tau, top - 0.5 * float(chdtri(1, 1.0 - level)))
    return BinomialNormal(mu, se, tau, ends, top)
