"""A pooled share with its interval, its heterogeneity and its cautions."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf
from typing import TYPE_CHECKING, Any

from thalweg.evidence.pooling.methods import METHODS

if TYPE_CHECKING:
    from thalweg.record.method import Method

__all__ = ["Pooled", "expit"]


def expit(logit: float) -> float:
    """Return the share whose logit this is."""
    return 1.0 / (1.0 + exp(-logit)) if logit > 0 else exp(logit) / (1.0 + exp(logit))


@dataclass(frozen=True, slots=True)
class Pooled:
    """A pooled share.

    Parameters
    ----------
    mean : float
        The share of a middling place, 0 to 1: the logistic function of `mu`.
    interval : tuple of float
        Its interval, 0 to 1.
    mu, se : float
        The same as a logit, with the standard error that the interval rests on (with Knapp and
        Hartung's factor); infinite `mu` where nobody, or everybody, had the event.
    tau2 : float or None
        Variance of the true logits between series; None where it cannot be known.
    tau2_interval : tuple of float or None
        Its interval; an upper end of infinity is one that the series do not bound.
    i2 : float or None
        Share of the scatter beyond chance, 0 to 1.
    q, q_p : float or None
        Cochran's Q (by `method` ``"exact"``, Pearson's chi-squared of equal shares) and how likely
        so much is by chance.
    prediction : tuple of float or None
        Where the true share of a further such place would lie, 0 to 1; None from too few series.
    k, events, total : int
        Series, and what they count together.
    degrees_of_freedom : int
        Of Student's t in the interval; 0 where it is exact.
    method : str
        ``"reml"``, ``"pm"``, ``"dl"``, ``"exact"``, or ``"one"``: one count, or several taken as
        one.
    level : float
        Of every interval.
    weights : tuple of float
        Each series' part in the pooled figure, adding up to 1.
    means_little : bool
        The series differ so much that the pooled figure says little.
    speaks : bool
        It is fit to be shown on a person's page without each series beside it.
    cautions : tuple of str
        Sentences that belong beside it, beyond those of the method.
    """

    mean: float
    interval: tuple[float, float]
    mu: float
    se: float
    tau2: float | None
    tau2_interval: tuple[float, float] | None
    i2: float | None
    q: float | None
    q_p: float | None
    prediction: tuple[float, float] | None
    k: int
    events: int
    total: int
    degrees_of_freedom: int
    method: str
    level: float
    weights: tuple[float, ...]
    means_little: bool = False
    speaks: bool = False
    cautions: tuple[str, ...] = ()

    @property
    def how(self) -> Method:
        """The method with its formula and sources."""
        return METHODS[self.method]

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """Its own cautions and those of the method."""
        return (*self.cautions, *self.how.cautions)

    def to_json(self) -> dict[str, Any]:
        """Return it with the unit in every key; what is not bounded or not known is null."""

        def percent(pair: tuple[float, float] | None) -> list[float] | None:
            return None if pair is None else [100.0 * end for end in pair]

        low, high = self.tau2_interval or (None, None)
        return {
            "share_percent": 100.0 * self.mean,
            "interval_percent": percent(self.interval),
            "level_percent": 100.0 * self.level,
            "prediction_percent": percent(self.prediction),
            "mu_logit": self.mu if abs(self.mu) < inf else None,
            "se_logit": self.se if self.se < inf else None,
            "tau2_logit_squared": self.tau2,
            "tau2_interval_logit_squared": (
                None if low is None else [low, None if high == inf else high]
            ),
            "i2_percent": None if self.i2 is None else 100.0 * self.i2,
            "q_without_unit": self.q,
            "q_chance": self.q_p,
            "series_count": self.k,
            "events_count": self.events,
            "total_count": self.total,
            "degrees_of_freedom_count": self.degrees_of_freedom,
            "weights_percent": [100.0 * weight for weight in self.weights],
            "method": self.method,
            "formula": self.how.formula,
            "means_little": self.means_little,
        }
