"""Random effects of estimates with known variances: heterogeneity, weighted fit, Q.

Written for any effects and for a design matrix, so that pooling (a column of ones) and regression
on a covariate are one computation that can be held against published effects of any kind.

References
----------
DerSimonian R, Laird N. Control Clin Trials 1986;7:177-188. Paule RC, Mandel J. J Res Natl Bur Stand
1982;87:377-385. Viechtbauer W. J Educ Behav Stat 2005;30:261-293 (restricted likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, get_args

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Vector = NDArray[np.float64]

__all__ = [
    "ESTIMATORS",
    "Estimator",
    "Fit",
    "Studies",
    "fitted",
    "generalised_q",
    "i_squared",
    "solved_q",
    "studies",
    "tau2",
]

Estimator = Literal["reml", "pm", "dl"]
ESTIMATORS: Final[tuple[str, ...]] = get_args(Estimator)
GRID: Final = np.concatenate([[0.0], np.geomspace(1e-4, 1e4, 161)])
"""Heterogeneity that is tried, in multiples of the typical variance: the likelihood may have
several peaks, and only looking everywhere finds the highest."""
RELATIVE: Final = 4 * np.finfo(np.float64).eps
STEPS: Final = 200


@dataclass(frozen=True, eq=False)
class Studies:
    """Estimates with their variances and what explains them.

    Parameters
    ----------
    effects : ndarray, shape (k,)
        Estimates, in any one unit.
    variances : ndarray, shape (k,)
        Their sampling variances, above 0, in that unit squared.
    design : ndarray, shape (k, p)
        What explains them: a column of ones, and covariates.
    """

    effects: Vector
    variances: Vector
    design: Vector

    @property
    def spare(self) -> int:
        """Estimates beyond the coefficients: degrees of freedom."""
        return int(len(self.effects) - self.design.shape[1])


@dataclass(frozen=True, eq=False)
class Fit:
    """Coefficients under a given heterogeneity.

    Parameters
    ----------
    coefficients : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        Taking heterogeneity as known.
    weights : ndarray, shape (k,)
        Inverse total variances.
    tau2 : float
        Heterogeneity, in the effects' unit squared.
    scatter : float
        Weighted sum of squared residuals.
    """

    coefficients: Vector
    covariance: Vector
    weights: Vector
    tau2: float
    scatter: float


def studies(
    effects: ArrayLike, variances: ArrayLike, covariate: ArrayLike | None = None
) -> Studies:
    """Return estimates ready for fitting.

    Parameters
    ----------
    effects, variances : array_like, shape (k,)
    covariate : array_like, shape (k,), optional

    Raises
    ------
    InputError
        If lengths differ, a number is not finite, or a variance is not above 0.
    """
    y, v = (np.asarray(values, dtype=np.float64) for values in (effects, variances))
    columns = [np.ones_like(y)]
    if covariate is not None:
        columns.append(np.asarray(covariate, dtype=np.float64))
    if y.ndim != 1 or any(one.shape != y.shape for one in (v, *columns)) or not len(y):
        raise InputError("estimates and variances are not of one length", mend="pair them")
    design = np.stack(columns, axis=1)
    if not (np.isfinite(y).all() and np.isfinite(v).all() and np.isfinite(design).all()):
        raise InputError("an estimate or variance is not a number", mend="correct it")
    if not (v > 0).all():
        raise InputError("a variance is not above 0", mend="correct it")
    if len(y) < design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise InputError("the estimates cannot tell the coefficients apart", mend="add series")
    return Studies(y, v, design)


def _weighted(given: Studies, at: Vector) -> tuple[Vector, Vector, Vector, Vector]:
    """Return weights, inverse normal matrices, coefficients and residuals for every tau2."""
    weights = 1.0 / (given.variances + at[:, None])
    x = given.design
    if x.shape[1] == 1:
        total = weights.sum(axis=1)[:, None]
        means = (weights @ given.effects)[:, None] / total
        return weights, 1.0 / total[..., None], means, given.effects - means
    normal = np.einsum("gk,ki,kj->gij", weights, x, x)
    inverse = np.linalg.inv(normal)
    found = np.einsum("gij,gk,kj,k->gi", inverse, weights, x, given.effects)
    return weights, inverse, found, given.effects - found @ x.T


def fitted(given: Studies, tau2: float) -> Fit:
    """Return the coefficients under a heterogeneity, at least 0."""
    weights, inverse, found, residuals = _weighted(given, np.array([tau2]))
    scatter = float(weights[0] @ residuals[0] ** 2)
    return Fit(found[0], inverse[0], weights[0], float(tau2), scatter)


def generalised_q(given: Studies, tau2: float) -> float:
    """Return the weighted scatter about the fit under a heterogeneity; Cochran's Q at 0."""
    return _falling_q(given, tau2)[0]


def _falling_q(given: Studies, tau2: float) -> tuple[float, float]:
    """Return the weighted scatter and its slope in tau2, which is never above 0.

    The fit makes the scatter least, so that how the fit itself moves does not enter the slope.
    """
    weights = 1.0 / (given.variances + tau2)
    if given.design.shape[1] == 1:
        residuals = given.effects - (weights @ given.effects) / weights.sum()
    else:
        x = given.design.T * weights
        residuals = given.effects - given.design @ np.linalg.solve(
            x @ given.design, x @ given.effects
        )
    scaled = weights * residuals
    return float(scaled @ residuals), -float(scaled @ scaled)


def _restricted(given: Studies, at: Vector) -> tuple[Vector, Vector]:
    """Return the restricted log-likelihood, up to a constant, and its slope in tau2."""
    weights, inverse, _, residuals = _weighted(given, at)
    x = given.design
    scatter = np.einsum("gk,gk->g", weights, residuals**2)
    log_normal = -np.linalg.slogdet(inverse)[1]
    value = 0.5 * (np.log(weights).sum(axis=1) - log_normal - scatter)
    if x.shape[1] == 1:
        trace = weights.sum(axis=1) - (weights**2).sum(axis=1) * inverse[:, 0, 0]
    else:
        squares = np.einsum("gk,ki,kj->gij", weights**2, x, x)
        trace = weights.sum(axis=1) - np.einsum("gij,gji->g", inverse, squares)
    slope = 0.5 * (np.einsum("gk,gk->g", weights**2, residuals**2) - trace)
    return value, slope


def _typical(given: Studies) -> float:
    """Return the typical sampling variance, as Higgins and Thompson define it."""
    weights = 1.0 / given.variances
    if given.design.shape[1] == 1:
        return float(given.spare / (weights.sum() - weights @ weights / weights.sum()))
    normal, squares = ((given.design.T * one) @ given.design for one in (weights, weights**2))
    return float(given.spare / (weights.sum() - np.trace(np.linalg.solve(normal, squares))))


def _reml(given: Studies) -> float:
    from scipy.optimize import brentq  # noqa: PLC0415 - a heavy import, only for pooling

    at = GRID * _typical(given)
    values, slopes = _restricted(given, at)
    best = int(np.argmax(values))
    if best == 0 and slopes[0] <= 0:
        return 0.0
    low, high = at[max(best - 1, 0)], at[min(best + 1, len(at) - 1)]
    return float(
        brentq(
            lambda t: float(_restricted(given, np.array([t]))[1][0]),
            low,
            high,
            xtol=1e-15,
            rtol=RELATIVE,
        )
    )


def _paule_mandel(given: Studies) -> float:
    return solved_q(given, float(given.spare))


def solved_q(given: Studies, target: float) -> float:
    """Return the heterogeneity at which the generalised Q falls to a target; 0 where it is below.

    The generalised Q only ever falls as heterogeneity rises, so that there is one answer.
    """
    at, (value, slope) = 0.0, _falling_q(given, 0.0)
    if value <= target:
        return 0.0
    # Convex and falling: Newton's steps from the left never pass the answer.
    for _ in range(STEPS):
        step = (target - value) / slope
        at += step
        value, slope = _falling_q(given, at)
        if step <= RELATIVE * at:
            break
    return at


def _dersimonian_laird(given: Studies) -> float:
    excess = generalised_q(given, 0.0) - given.spare
    return max(0.0, excess * _typical(given) / given.spare)


def tau2(given: Studies, method: Estimator) -> float:
    """Return the heterogeneity between the studies.

    Parameters
    ----------
    given : Studies
        More of them than coefficients.
    method : "reml", "pm" or "dl"
        Restricted maximum likelihood; Paule and Mandel; DerSimonian and Laird.

    Raises
    ------
    InputError
        If there is no such method, or no study to spare.
    """
    ways = {"reml": _reml, "pm": _paule_mandel, "dl": _dersimonian_laird}
    if method not in ways:
        raise InputError(f"{method!r} is not a method", mend=f"use {' or '.join(ESTIMATORS)}")
    if given.spare < 1:
        raise InputError("heterogeneity needs more series than coefficients", mend="add series")
    return ways[method](given)


def i_squared(given: Studies, tau2: float) -> float:
    """Return the share of the scatter that is not chance, 0 to 1.

    tau2 over tau2 and the typical sampling variance; with the estimator of DerSimonian and Laird
    that is 1 - (k - 1)/Q.
    """
    return tau2 / (tau2 + _typical(given))
