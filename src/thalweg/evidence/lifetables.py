"""Published life tables: how likely death is at each age, without regard to any illness.

A period table says what would befall people who lived their whole life under one year's death
rates. It is the average of a country; a unit elsewhere puts its own in its place.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from thalweg.errors import InputError
from thalweg.record.case import Sex

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Vector = NDArray[np.float64]

__all__ = ["LifeTable", "life_table", "life_table_of"]

PACKAGED: Final = "united-states-2022"
SOURCE: Final = "ssa-life-table-2022"
LEAST_SURVIVING: Final = 1e-12
"""Stands for nobody: a certain death has an infinite rate, with which nothing can be computed."""


@dataclass(frozen=True, eq=False)
class LifeTable:
    """Deaths by exact age, for one sex.

    Parameters
    ----------
    sex : "female" or "male"
        Whose deaths.
    year : int
        Of the deaths.
    population : str
        Where.
    source : str
        Key of the bibliography, or the unit's own words where `own`.
    death_probability : ndarray, shape (n,)
        Of dying between birthday `x` and the next, `x` = 0 to n − 1; 0 to 1.
    own : bool
        It is the unit's.
    """

    sex: Sex
    year: int
    population: str
    source: str
    death_probability: Vector
    own: bool = False

    @property
    def last_age(self) -> int:
        """Age in years by which everybody has died."""
        return len(self.death_probability)

    def cumulative_rate(self) -> Vector:
        """Return the death rate summed from birth to each birthday, shape (n + 1,), no unit.

        Within a year of age the rate is taken as constant.
        """
        living = np.maximum(1.0 - self.death_probability, LEAST_SURVIVING)
        return np.concatenate([[0.0], np.cumsum(-np.log(living))])

    def summed_rate(self, age: ArrayLike) -> Vector:
        """Return the death rate summed from birth to any age in years; no unit."""
        ages, birthdays = np.asarray(age, dtype=np.float64), np.arange(self.last_age + 1)
        return np.asarray(np.interp(ages, birthdays, self.cumulative_rate()), dtype=np.float64)

    def survival(self, age: float, years: ArrayLike) -> Vector:
        """Return the share of those alive at `age` (years) who live `years` longer, 0 to 1."""
        later = np.minimum(age + np.asarray(years, dtype=np.float64), self.last_age)
        return np.asarray(np.exp(self.summed_rate(age) - self.summed_rate(later)))

    def expectation(self, age: float, *, within_years: float = np.inf) -> float:
        """Return the years still to be lived from `age`, on average; exact for this table.

        Parameters
        ----------
        age : float
            In years, 0 to `last_age`.
        within_years : float
            Count only years lived until so many from now.
        """
        end = min(age + within_years, float(self.last_age))
        inner = np.arange(np.floor(age) + 1, np.ceil(end))
        edges = np.concatenate([[age], inner, [end]])
        summed = self.summed_rate(edges)
        spans, rates = np.diff(edges), np.diff(summed)
        living = np.exp(summed[0] - summed[:-1])
        # The integral of exp(-rate x) over a year; a year without deaths counts whole.
        shares = np.where(rates > 0, -np.expm1(-rates) / np.where(rates > 0, rates, 1.0), 1.0)
        return float(np.sum(living * shares * spans))


@cache
def _packaged() -> tuple[dict[str, str], ...]:
    page = files("thalweg.evidence").joinpath(f"data/lifetables/{PACKAGED}.csv")
    lines = page.read_text(encoding="utf-8").splitlines()
    return tuple(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def life_table(sex: Sex) -> LifeTable:
    """Return the packaged life table of one sex: United States, 2022.

    Raises
    ------
    InputError
        If it is neither "female" nor "male": no table is guessed.
    """
    if sex not in get_args(Sex):
        raise InputError(f"there is no life table for the sex {sex!r}", mend="state female or male")
    found = np.array([float(row[f"{sex}_death_probability"]) for row in _packaged()])
    return LifeTable(sex, 2022, "United States", SOURCE, found)


def life_table_of(
    sex: Sex, year: int, population: str, source: str, death_probability: ArrayLike
) -> LifeTable:
    """Return a unit's own life table, checked.

    Parameters
    ----------
    sex, year, population, source
        As in `LifeTable`.
    death_probability : array_like
        From birth, one for each year of age.

    Raises
    ------
    InputError
        If it does not start at birth, is no probability, or ends too early for a lifetime.
    """
    found = np.asarray(death_probability, dtype=np.float64)
    if found.ndim != 1 or found.size < 100 or not np.all((found >= 0) & (found <= 1)):
        raise InputError(
            "a life table needs one probability of dying (0 to 1) for each year of age",
            where=f"life table, {sex}",
            mend="give ages 0 to 99 or older, none left out",
        )
    return LifeTable(sex, year, population, source, found, own=True)
