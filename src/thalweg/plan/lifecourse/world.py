"""What the lives of one block meet: the doubt of each parallel world, and each life's own chance.

Every source of chance has a stream of its own, named by what it decides. All options therefore
meet the same chance (a life that dies of old age in one option does so in all), which makes their
differences sharp; and what one option draws cannot shift what another meets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.lifecourse.quantity import stream

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.quantity import Quantity

    Floats = NDArray[np.float64]

__all__ = ["Block", "Doubt"]


class Doubt:
    """Every doubted figure, drawn once for each parallel world.

    Parameters
    ----------
    draws : int
        Parallel worlds.
    seed : int
    """

    def __init__(self, draws: int, seed: int) -> None:
        self.draws, self.seed = draws, seed
        self._kept: dict[tuple[object, ...], Floats] = {}

    def of(self, quantity: Quantity) -> Floats:
        """Return the figure in each world, shape (draws,)."""
        mark = (
            quantity.key,
            quantity.scale,
            quantity.centre,
            quantity.spread,
            quantity.least,
            quantity.most,
        )
        if mark not in self._kept:
            self._kept[mark] = quantity.drawn(self.draws, self.seed)
        return self._kept[mark]


class Block:
    """Some of the worlds, with the same number of lives in each.

    Parameters
    ----------
    doubt : Doubt
    first, last : int
        Its worlds, from `first` up to but without `last`.
    lives : int
        In each world.
    """

    def __init__(self, doubt: Doubt, first: int, last: int, lives: int) -> None:
        self._doubt, self._slice, self._number = doubt, slice(first, last), first
        self.shape = (last - first, lives)
        self._kept: dict[tuple[object, ...], Floats] = {}
        self._arrivals: dict[str, tuple[np.random.Generator, list[NDArray[np.float32]]]] = {}

    def value(self, quantity: Quantity) -> Floats:
        """Return a figure in each of its worlds, shape (worlds, 1)."""
        return self._doubt.of(quantity)[self._slice, None]

    def once(self, mark: tuple[object, ...], work: Callable[[], Floats]) -> Floats:
        """Return what `work` gives, worked once a block: for what all options share."""
        if mark not in self._kept:
            self._kept[mark] = work()
        return self._kept[mark]

    def uniform(self, key: str) -> Floats:
        """Return one number from 0 to 1 for each life, named by what it decides."""
        return self.once(("uniform", key), lambda: self._stream(key).random(self.shape))

    def exponential(self, key: str) -> Floats:
        """Return one standard exponential for each life: the summed hazard it will stand."""
        return self.once(
            ("exponential", key), lambda: self._stream(key).standard_exponential(self.shape)
        )

    def counted(self, key: str, summed: Floats) -> NDArray[np.int16]:
        """Return how often something came, by the summed hazard each life was exposed to.

        The arrivals are those of a Poisson process of rate 1, spaced by exponentials; counting
        them up to the summed hazard gives the process asked for, exactly, and never fewer for a
        greater hazard.

        Parameters
        ----------
        key : str
        summed : ndarray, shape (..., worlds, lives)
            At least 0.
        """
        if key not in self._arrivals:
            self._arrivals[key] = (self._stream(key), [])
        chance, kept = self._arrivals[key]
        most = summed.max(axis=tuple(range(summed.ndim - 2)))
        count = np.zeros(summed.shape, dtype=np.int16)
        turn = 0
        while True:
            if turn == len(kept):
                step = chance.standard_exponential(self.shape, dtype=np.float32)
                kept.append(step if turn == 0 else kept[-1] + step)
            if not np.any(kept[turn] <= most):
                return count
            count += kept[turn] <= summed
            turn += 1

    def _stream(self, key: str) -> np.random.Generator:
        return stream(self._doubt.seed, "chance", key, self._number)
