"""Lives summed up: each world's means, how much lives differ in it, and a sample of lives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.lived import Lived

    Floats = NDArray[np.float64]

__all__ = ["STATES", "Mean", "Tally", "joined", "tallied"]

KEPT_LIVES: Final = 25
"""Of each world, to say how far lives lie apart: 5000 of 200 worlds."""
STATES: Final = ("dead", "kidneys failed", "living with a tube", "living without a tube")
"""Where a life stands at a horizon; each in exactly one."""


@dataclass(frozen=True, eq=False)
class Mean:
    """A figure's mean in each world, and the variance of that mean from having so few lives.

    Both of shape (horizons, worlds).
    """

    means: Floats
    error: Floats


@dataclass(eq=False)
class Tally:
    """One option's lives, world by world.

    Parameters
    ----------
    figures : dict of Mean
        By figure.
    parts : dict of ndarray, shape (horizons, worlds)
        Mean of each part of a total, by figure and event.
    lives : dict of ndarray, shape (horizons, kept)
        The figure in some of the lives; a filtration rate is not a number in the dead.
    states : ndarray or None, shape (4, horizons)
        Share of lives in each of `STATES`, over all worlds.
    """

    figures: dict[str, Mean] = field(default_factory=dict)
    parts: dict[tuple[str, str], Floats] = field(default_factory=dict)
    lives: dict[str, Floats] = field(default_factory=dict)
    states: Floats | None = None


def tallied(found: Lived) -> Tally:
    """Return a block's lives summed up."""
    tally = Tally()
    for figure, values in found.values.items():
        tally.figures[figure] = _mean(values)
        if values.dtype != np.bool_:
            tally.lives[figure] = _some(values)
    for key, values in found.parts.items():
        tally.parts[key] = values.mean(axis=-1)
    if found.gfr is not None:
        tally.lives["gfr"] = _some(np.where(found.moments.alive, found.gfr, np.nan))
    tally.states = _states(found)
    return tally


def difference(one: Lived, other: Lived, figures: Sequence[str]) -> Tally:
    """Return one option's lives less the other's, life by life."""
    tally = Tally()
    for figure in figures:
        first, second = one.values[figure], other.values[figure]
        tally.figures[figure] = _mean(first.astype(np.float64) - second)
    for key in one.parts.keys() | other.parts.keys():
        if key[0] in figures:
            means = [
                lives.parts[key].mean(axis=-1) if key in lives.parts else 0.0
                for lives in (one, other)
            ]
            tally.parts[key] = np.asarray(means[0] - means[1])
    return tally


def _mean(values: NDArray[Any]) -> Mean:
    lives = values.shape[-1]
    mean = values.mean(axis=-1, dtype=np.float64)
    if values.dtype == np.bool_:
        spread = mean * (1.0 - mean)
    else:
        square = np.einsum("...i,...i->...", values, values, dtype=np.float64) / lives
        spread = np.maximum(square - mean**2, 0.0)
    return Mean(mean, spread / max(lives - 1, 1))


def _some(values: NDArray[Any]) -> Floats:
    kept = values[..., :KEPT_LIVES]
    return np.asarray(kept.reshape(kept.shape[0], -1), dtype=np.float64)


def _states(found: Lived) -> Floats | None:
    failed, tube = found.values.get("kidney-failure"), found.tube_now
    if tube is None:
        return None
    alive = found.moments.alive
    gone = np.zeros_like(alive) if failed is None else failed
    places = (~alive, alive & gone, alive & ~gone & tube, alive & ~gone & ~tube)
    return np.stack([each.mean(axis=(-1, -2)) for each in places])


def joined(tallies: Sequence[Tally]) -> Tally:
    """Return the tallies of blocks, in their order, as one."""
    first = tallies[0]
    whole = Tally()
    for figure in first.figures:
        rows = [one.figures[figure] for one in tallies]
        whole.figures[figure] = Mean(
            np.concatenate([row.means for row in rows], axis=1),
            np.concatenate([row.error for row in rows], axis=1),
        )
    for key in first.parts:
        whole.parts[key] = np.concatenate([one.parts[key] for one in tallies], axis=1)
    for figure in first.lives:
        whole.lives[figure] = np.concatenate([one.lives[figure] for one in tallies], axis=1)
    counts = [one.figures["survival"].means.shape[1] for one in tallies if one.states is not None]
    if first.states is not None:
        states = [one.states for one in tallies if one.states is not None]
        whole.states = np.average(np.stack(states), axis=0, weights=counts)
    return whole
