"""Life tables, held against the columns that the Social Security Administration prints.

The table prints, beside each probability of dying, the living of 100,000 born and the expectation
of life: both follow from the probabilities, and no computation of ours reads them.
"""

from __future__ import annotations

import csv
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import pytest

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.lifetables import LifeTable, life_table, life_table_of

if TYPE_CHECKING:
    from thalweg.record.case import Sex

SEXES: tuple[Sex, Sex] = ("female", "male")
PAGE = files("thalweg.evidence").joinpath("data/lifetables/united-states-2022.csv")


def printed(column: str) -> np.ndarray:
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return np.array([float(row[column]) for row in rows])


@pytest.mark.parametrize("sex", SEXES)
def test_the_living_are_those_printed(sex: Sex) -> None:
    living = 1e5 * np.exp(-life_table(sex).cumulative_rate()[:-1])
    # Printed as whole people, of a probability printed to six decimals.
    assert np.abs(living - printed(f"{sex}_living")).max() < 1.0


@pytest.mark.parametrize("sex", SEXES)
def test_the_expectation_is_the_one_printed(sex: Sex) -> None:
    """The publication spreads a year's deaths evenly; with that, every printed digit follows."""
    share = life_table(sex).death_probability
    living = np.concatenate([[1.0], np.cumprod(1.0 - share)])
    even = [living[age + 1 :].sum() / living[age] + 0.5 for age in range(len(share))]
    assert np.abs(np.array(even) - printed(f"{sex}_expectation_years")).max() < 0.0056


@pytest.mark.parametrize(
    ("sex", "at_birth", "at_65"), [("male", 74.74, 17.48), ("female", 80.18, 20.12)]
)
def test_a_constant_rate_within_the_year_changes_it_by_days(
    sex: Sex, at_birth: float, at_65: float
) -> None:
    """Ours takes the rate as constant within a year of age: apart by under two weeks."""
    table = life_table(sex)
    assert table.expectation(0) == pytest.approx(at_birth, abs=0.04)
    assert table.expectation(65) == pytest.approx(at_65, abs=0.04)


def test_a_constant_rate_has_its_closed_form() -> None:
    table = life_table_of("female", 2000, "Nowhere", "own", np.full(2000, -np.expm1(-0.05)))
    assert table.own
    assert table.expectation(3.7) == pytest.approx(1 / 0.05, rel=1e-12)
    within = (1 - np.exp(-0.05 * 7.25)) / 0.05
    assert table.expectation(3.7, within_years=7.25) == pytest.approx(within, rel=1e-12)
    assert table.survival(3.7, [1.0, 10.0]) == pytest.approx(np.exp([-0.05, -0.5]), rel=1e-12)


def test_halves_of_a_life_make_the_whole() -> None:
    table = life_table("female")
    whole = table.expectation(61.3)
    soon = table.expectation(61.3, within_years=9.6)
    later = float(table.survival(61.3, 9.6)) * table.expectation(61.3 + 9.6)
    assert whole == pytest.approx(soon + later, rel=1e-12)


def test_no_table_is_guessed_and_none_is_short() -> None:
    with pytest.raises(InputError, match="no life table for the sex"):
        life_table("unknown")
    for bad in ([0.1] * 50, [0.1] * 99 + [1.2], [[0.1] * 120]):
        with pytest.raises(InputError, match="one probability of dying"):
            life_table_of("male", 2020, "here", "own", bad)


def test_its_source_says_how_it_was_read() -> None:
    source = bibliography()[life_table("male").source]
    assert source.read == "secondary"
    assert isinstance(life_table("male"), LifeTable)
