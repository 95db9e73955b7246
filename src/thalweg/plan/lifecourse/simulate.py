"""Run many lives through every option, in blocks, on all cores, with the same answer every time."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from thalweg.errors import InputError
from thalweg.plan.lifecourse.lived import lived
from thalweg.plan.lifecourse.tally import Tally, joined, tallied
from thalweg.plan.lifecourse.unknowns import unknowns
from thalweg.plan.lifecourse.world import Block, Doubt
from thalweg.progress import silent

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from thalweg.plan.lifecourse.rates import OptionRates, Rates, Start
    from thalweg.progress import Progress

__all__ = ["DRAWS", "LIVES", "SEED", "YEARS", "LifeCourse", "live", "settings"]

Row = TypeVar("Row")

LIVES: Final = 100_000
DRAWS: Final = 200
"""Parallel worlds, each with rates of its own; the lives are shared out among them."""
SEED: Final = 20_261_125
YEARS: Final = (1.0, 5.0, 10.0)
MOST_LIVES: Final = 2_000_000
LEAST_A_WORLD: Final = 10
BLOCK: Final = 12_500
"""Lives worked on at once: their arrays stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class LifeCourse:
    """What every option would mean.

    Parameters
    ----------
    start : Start
        The person.
    rates : Rates
        What it rests on.
    years : tuple of float
        Horizons; the last is infinite: the whole life.
    tallies : dict of Tally
        By option.
    doubt : Doubt
        The worlds' rates.
    lives, seed : int
    """

    start: Start
    rates: Rates
    years: tuple[float, ...]
    tallies: dict[str, Tally]
    doubt: Doubt
    lives: int
    seed: int

    def option(self, key: str) -> OptionRates:
        """Return one option's rates.

        Raises
        ------
        InputError
            If it was not among those simulated.
        """
        for one in self.rates.options:
            if one.key == key:
                return one
        raise InputError(
            f"{key!r} is not among the options of this life course",
            mend=f"choose of {', '.join(one.key for one in self.rates.options)}",
        )


def settings(years: Sequence[float], lives: int, seed: int) -> tuple[float, ...]:
    """Return the horizons with the whole life after them, having checked all settings.

    Raises
    ------
    InputError
        If a horizon, the number of lives or the seed cannot be.
    """
    rising = sorted(set(years))
    if not rising or not all(0 < year <= 100 for year in rising):
        raise InputError(
            "a horizon lies between 0 and 100 years", where="years", mend="write it like 1,5,10"
        )
    if not DRAWS * LEAST_A_WORLD <= lives <= MOST_LIVES:
        raise InputError(
            f"{lives} lives cannot be simulated",
            where="lives",
            mend=f"take {DRAWS * LEAST_A_WORLD} to {MOST_LIVES}",
        )
    if seed < 0:
        raise InputError(f"the seed {seed} is negative", where="seed", mend="take 0 or more")
    return (*rising, np.inf)


def in_blocks(
    doubt: Doubt, lives: int, work: Callable[[Block], Row], progress: Progress = silent
) -> list[Row]:
    """Return what `work` makes of each block, in their order, whatever ran beside what."""
    each = lives // doubt.draws
    worlds = max(1, BLOCK // each)
    firsts = range(0, doubt.draws, worlds)
    cores = min(len(os.sched_getaffinity(0)), len(firsts))

    def lived_through(first: int) -> Row:
        # Made here and let go here: a block keeps what its lives met.
        return work(Block(doubt, first, min(first + worlds, doubt.draws), each))

    done = []
    with ThreadPoolExecutor(cores) as pool:
        for number, row in enumerate(pool.map(lived_through, firsts), 1):
            done.append(row)
            progress("Living many lives", number, len(firsts))
    return done


def live(
    rates: Rates,
    start: Start,
    *,
    years: Sequence[float] = YEARS,
    lives: int = LIVES,
    seed: int = SEED,
    progress: Progress = silent,
) -> LifeCourse:
    """Simulate the person's life with every option.

    Parameters
    ----------
    rates : Rates
        The options and what is known of them.
    start : Start
        The person.
    years : sequence of float
        Horizons in years after the operation; the whole life is added.
    lives : int
        For each option, 2000 to 2,000,000, shared out among 200 worlds of different rates.
    seed : int
        One seed, one answer, on any number of cores.
    progress : Progress

    Returns
    -------
    LifeCourse
        All options met the same chance, life by life: their differences are sharper than either.

    Raises
    ------
    InputError
        If a setting cannot be, or there is no option.
    """
    horizons = settings(years, lives, seed)
    if not rates.options:
        raise InputError("there is no option to follow", mend="name one, or appraise the case")
    doubt = _doubt(rates, start, seed)

    def work(block: Block) -> dict[str, Tally]:
        return {
            one.key: tallied(lived(one, start, rates, horizons, block)) for one in rates.options
        }

    rows = in_blocks(doubt, lives, work, progress)
    whole = {one.key: joined([row[one.key] for row in rows]) for one in rates.options}
    return LifeCourse(start, rates, horizons, whole, doubt, lives, seed)


def _doubt(rates: Rates, start: Start, seed: int) -> Doubt:
    """Return the worlds; each of their figures is drawn when first asked for."""
    doubt = Doubt(DRAWS, seed)
    # Drawn before any thread asks, so that none draws while another writes.
    for option in rates.options:
        for quantity in unknowns(option, start):
            doubt.of(quantity)
    return doubt
