"""How sure a pooled figure is: small-sample interval, interval of heterogeneity, new settings.

References
----------
Hartung J, Knapp G. Stat Med 2001;20:3875-3889. Rover C, Knapp G, Friede T. BMC Med Res Methodol
2015;15:99 (never narrower). Viechtbauer W. Stat Med 2007;26:37-52 (Q-profile). IntHout J et al. BMJ
Open 2016;6:e010247 (prediction).
"""

from __future__ import annotations

from math import sqrt

from thalweg.evidence.pooling.normal import Fit, Studies, generalised_q, solved_q

__all__ = [
    "clopper_pearson",
    "knapp_hartung_factor",
    "prediction_interval",
    "q_profile",
    "student_interval",
    "student_quantile",
]


def student_quantile(degrees_of_freedom: int, level: float) -> float:
    """Return Student's two-sided quantile."""
    from scipy.special import stdtrit  # noqa: PLC0415 - a heavy import, only for pooling

    return float(stdtrit(degrees_of_freedom, 0.5 * (1.0 + level)))


def student_interval(
    value: float, error: float, degrees_of_freedom: int, level: float
) -> tuple[float, float]:
    """Return a value plus and minus Student's quantile times its standard error."""
    reach = student_quantile(degrees_of_freedom, level) * error
    return value - reach, value + reach


def knapp_hartung_factor(given: Studies, fit: Fit, *, never_narrower: bool = True) -> float:
    """Return by what the variance of a coefficient is multiplied: scatter over what is expected.

    Parameters
    ----------
    given : Studies
    fit : Fit
    never_narrower : bool
        Never less than 1, so that an even set of series does not look surer than its counts.
    """
    factor = fit.scatter / given.spare
    return max(1.0, factor) if never_narrower else factor


def q_profile(given: Studies, level: float) -> tuple[float, float]:
    """Return the interval of heterogeneity at which the generalised Q is no surprise.

    Both ends are 0 where the series agree more closely than chance allows at any heterogeneity.
    """
    from scipy.special import chdtri  # noqa: PLC0415 - a heavy import, only for pooling

    tail = (1.0 - level) / 2.0
    # chdtri takes the upper tail.
    return (
        solved_q(given, float(chdtri(given.spare, tail))),
        solved_q(given, float(chdtri(given.spare, 1.0 - tail))),
    )


def prediction_interval(
    value: float, error: float, tau2: float, degrees_of_freedom: int, level: float
) -> tuple[float, float]:
    """Return where the true value of a further setting of the same kind would lie.

    Parameters
    ----------
    value, error : float
        Pooled value and its standard error.
    tau2 : float
        Heterogeneity.
    degrees_of_freedom : int
        Series less one.
    level : float
        0 to 1.
    """
    return student_interval(value, sqrt(tau2 + error**2), degrees_of_freedom, level)


def clopper_pearson(events: int, total: int, level: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of a proportion from one count, 0 to 1.

    References
    ----------
    Clopper CJ, Pearson ES. Biometrika 1934;26:404-413; computed by SciPy's exact binomial test.
    """
    from scipy.stats import binomtest  # noqa: PLC0415 - a heavy import, only for pooling

    found = binomtest(events, total).proportion_ci(confidence_level=level, method="exact")
    return float(found.low), float(found.high)


def heterogeneity_p(given: Studies) -> float:
    """Return how likely so large a Q is when all series have one true value."""
    from scipy.special import chdtrc  # noqa: PLC0415 - a heavy import, only for pooling

    return float(chdtrc(given.spare, generalised_q(given, 0.0)))
