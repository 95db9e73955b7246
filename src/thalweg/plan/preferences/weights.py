"""How much each matter may weigh for the person, as draws from everything their answers allow.

Before any answer every split of one whole among the matters is equally possible. An answer makes
those splits likelier under which it would be given.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from math import log2
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from thalweg.plan.preferences.answers import Answer, Word
    from thalweg.plan.preferences.attributes import Settings

__all__ = ["SEED", "WEIGHTS", "Weights", "chances", "generator", "weights_of"]

SEED: Final = 20_260_301
TAIL_DEGREES: Final = 4
"""Of the t distribution that proposals come from: tails heavier than those of the target."""
WIDER: Final = 1.3
"""Times the spread at the peak: the logarithm of a weight that matters little has a long tail."""

WEIGHTS: Final = Method(
    key="preference-weights",
    title="what the answers say about how much each matter weighs",
    formula=(
        "w uniform on the simplex before any answer; an answer between a and b has the chances "
        "w_a^k : w_b^k : nu (w_a w_b)^(k/2) for first, second, no difference; k = log2(q/(1-q)) "
        "with q = 0.9, nu = 2 t/(1-t) with t = 1/3; drawn by importance sampling"
    ),
    valid_for="answers of one person to choices between two matters, each from its worst to best",
    sources=(
        "bradley-terry-1952",
        "davidson-1970-ties",
        "thalweg-engineering",
    ),
    cautions=(
        "How steady answers are (nine of ten name what matters twice as much) is our assumption.",
    ),
)
"""The way from answers to weights."""


@dataclass(frozen=True, eq=False)
class Weights:
    """Draws of how much each matter weighs.

    Parameters
    ----------
    keys : tuple of str
        The attributes, one for each column.
    drawn : (N, m) array of float
        Each row sums to 1.
    share : (N,) array of float
        How much each draw counts; sums to 1.
    """

    keys: tuple[str, ...]
    drawn: NDArray[np.float64]
    share: NDArray[np.float64]

    @property
    def effective(self) -> float:
        """How many equally counting draws these are worth."""
        return float(1.0 / np.sum(self.share**2))

    def mean(self, among: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Return the mean weight of each matter, over all draws or as `among` counts them."""
        counted = self.share if among is None else self.share * among
        total = counted.sum()
        return np.asarray(counted @ self.drawn / total)

    def interval(self, column: int, level: float = 0.95) -> tuple[float, float]:
        """Return the interval of one weight that leaves out equal shares at both ends."""
        order = np.argsort(self.drawn[:, column], kind="stable")
        reached = np.cumsum(self.share[order])
        ends = np.searchsorted(reached, [(1 - level) / 2, (1 + level) / 2])
        low, high = self.drawn[order[np.minimum(ends, len(order) - 1)], column]
        return float(low), float(high)


def generator(*words: str) -> np.random.Generator:
    """Return a generator of its own for each name, so that what is beside it changes nothing."""
    digest = hashlib.sha256("\n".join(words).encode()).digest()
    return np.random.default_rng([SEED, int.from_bytes(digest[:8], "big")])


def _steadiness(settings: Settings) -> tuple[float, float]:
    """Return k and nu of the model of answers."""
    q, t = settings.twice_is_said, settings.equal_is_said
    return log2(q / (1 - q)), 2 * t / (1 - t)


def chances(
    first: NDArray[np.float64], second: NDArray[np.float64], settings: Settings
) -> dict[Word, NDArray[np.float64]]:
    """Return the chance of each answer that says something, for weights of the two matters.

    Parameters
    ----------
    first, second : array of float
        Weights, above 0.
    settings : Settings

    References
    ----------
    Davidson RR. J Am Stat Assoc 1970;65:317-328.
    """
    k, nu = _steadiness(settings)
    # Of the logarithms, so that weights near 0 do not vanish.
    half = np.clip(k * (np.log(first) - np.log(second)) / 2, -300.0, 300.0)
    up, down = np.exp(half), np.exp(-half)
    total = up + down + nu
    return {"first": up / total, "second": down / total, "no difference": nu / total}


def weights_of(keys: Sequence[str], answers: Iterable[Answer], settings: Settings) -> Weights:
    """Return draws of the weights that the answers allow.

    Parameters
    ----------
    keys : sequence of str
        The attributes; their order changes nothing but the order of the columns.
    answers : iterable of Answer
        About attributes among `keys`; "do not know" says nothing.
    settings : Settings

    Notes
    -----
    Weights are exponential variates divided by their sum, which makes them uniform on the simplex.
    Answers depend on ratios only, so that matters nobody asked about keep their prior draws. The
    logarithms of the others have a log-concave density: they are proposed from a t distribution
    around its peak and counted by the ratio of the two densities.
    """
    telling = [answer for answer in answers if answer.word != "do not know"]
    touched = sorted({key for answer in telling for key in (answer.first, answer.second)})
    size = settings.draws
    columns = {
        key: generator("weight", key).exponential(size=size) for key in keys if key not in touched
    }
    share = np.full(size, 1.0 / size)
    if touched:
        logs, share = _posterior(touched, telling, settings)
        columns |= {key: np.exp(logs[:, n]) for n, key in enumerate(touched)}
    drawn = np.column_stack([columns[key] for key in keys])
    drawn = np.maximum(drawn, np.finfo(float).tiny)
    return Weights(tuple(keys), drawn / drawn.sum(axis=1, keepdims=True), share)


@dataclass(frozen=True, eq=False)
class _Density:
    """Log density of the logarithms of exponential variates, given answers.

    Parameters
    ----------
    contrast : (answers, m) array
        +1 at the first matter, -1 at the second.
    side : (answers,) array
        +1 for "first", -1 for "second", 0 for "no difference".
    """

    contrast: NDArray[np.float64]
    side: NDArray[np.float64]
    k: float
    nu: float

    def log(self, theta: NDArray[np.float64]) -> Any:
        """Return it for one point or for many, up to a constant."""
        half = self.k * theta @ self.contrast.T / 2
        size = np.abs(half)
        level = size + np.log1p(np.exp(-2 * size) + self.nu * np.exp(-size))
        told = half * self.side - level
        return np.sum(theta - np.exp(theta), axis=-1) + np.sum(told, axis=-1)

    def slope(self, theta: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return its gradient at one point."""
        half = self.k * theta @ self.contrast.T / 2
        fall = 2 * np.sinh(half) / (2 * np.cosh(half) + self.nu)
        return np.asarray(1 - np.exp(theta) + (self.side - fall) @ self.contrast * self.k / 2)

    def curvature(self, theta: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return minus its second derivatives at one point; always positive definite."""
        half = self.k * theta @ self.contrast.T / 2
        total = 2 * np.cosh(half) + self.nu
        bend = (4 + 2 * self.nu * np.cosh(half)) / total**2
        pairs = (self.contrast.T * bend) @ self.contrast * (self.k / 2) ** 2
        return np.asarray(np.diag(np.exp(theta)) + pairs)


def _posterior(
    touched: Sequence[str], telling: Sequence[Answer], settings: Settings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return draws of the logarithms, and how much each counts."""
    # Imported here: `--help` and people without answers need no optimiser.
    from scipy.optimize import minimize  # noqa: PLC0415

    contrast = np.zeros((len(telling), len(touched)))
    for row, answer in enumerate(telling):
        contrast[row, touched.index(answer.first)] = 1
        contrast[row, touched.index(answer.second)] = -1
    sides = {"first": 1.0, "second": -1.0, "no difference": 0.0}
    side = np.array([sides[answer.word] for answer in telling])
    density = _Density(contrast, side, *_steadiness(settings))
    peak = minimize(
        lambda theta: -density.log(theta),
        np.zeros(len(touched)),
        jac=lambda theta: -density.slope(theta),
        hess=density.curvature,
        method="trust-exact",
    ).x
    spread = WIDER * np.linalg.cholesky(np.linalg.inv(density.curvature(peak)))
    draw = generator("answers", *touched)
    normal = draw.standard_normal((settings.draws, len(touched)))
    scale = draw.chisquare(TAIL_DEGREES, settings.draws) / TAIL_DEGREES
    away = normal / np.sqrt(scale)[:, None]
    theta = peak + away @ spread.T
    m = len(touched)
    proposed = -(TAIL_DEGREES + m) / 2 * np.log1p(np.sum(away**2, axis=1) / TAIL_DEGREES)
    count = density.log(theta) - proposed
    count = np.exp(count - count.max())
    return theta, count / count.sum()
