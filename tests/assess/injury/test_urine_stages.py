"""Stages by urine output against KDIGO's table (Kidney Int Suppl 2012;2:19) and a fine search.

The least mean over a sliding window is compared with one found by stepping a window minute by
minute along the same collections.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thalweg.assess.injury.urine import urine_stages
from thalweg.errors import InputError

KG = 70.0


def steady(ml_per_hour: float, hours: int) -> tuple[int, int]:
    """Return least and greatest stage at the end of hours collected one by one."""
    start = np.arange(hours, dtype=float)
    found = urine_stages(start, start + 1, np.full(hours, ml_per_hour), KG)
    return int(found.least.max()), int(found.least[-1])


@pytest.mark.parametrize(
    ("ml_per_hour", "hours", "expected"),
    [
        (34, 6, 1),  # 0.486 mL/kg/h
        (34, 5, 0),
        (34, 11, 1),
        (34, 12, 2),
        (34, 40, 2),
        (20, 23, 2),  # 0.286 mL/kg/h
        (20, 24, 3),
        (21, 30, 2),  # 0.3 exactly is not below 0.3
        (35, 40, 0),  # 0.5 exactly is not below 0.5
        (0, 11, 1),
        (0, 12, 3),
        (2, 12, 3),  # 24 mL in half a day
        (2.2, 12, 2),
    ],
)
def test_kdigo_table(ml_per_hour: float, hours: int, expected: int) -> None:
    assert steady(ml_per_hour, hours) == (expected, expected)


def test_a_gap_is_not_an_absence_of_urine() -> None:
    # Five dry-ish hours on each side of four unknown ones: no six hours are covered.
    start = np.array([*range(5), *range(9, 14)], dtype=float)
    found = urine_stages(start, start + 1, np.full(10, 30.0), KG)
    assert found.least.max() == 0
    assert found.most[-1] >= 1
    assert found.gaps == ((5.0, 9.0),)
    # Enough urine in the covered part excludes what the gap hides.
    plenty = urine_stages(start, start + 1, np.full(10, 400.0), KG)
    assert plenty.most[-1] == 0


def test_long_collections_are_spread_evenly_and_windows_slide_between_emptyings() -> None:
    # 8 h of 100 mL/h, then 8 h of 20 mL/h: the mean of 6 h falls below 35 mL/h once 13/16 of the
    # window lies in the second part (100 - 80 x < 35), 4.875 h after it began.
    found = urine_stages([0, 8], [8, 16], [800, 160], KG)
    assert found.least.max() == 1
    assert found.least[found.hours <= 8 + 4.875].max() == 0
    assert found.least[found.hours == 14.0] == [1]


def minute_search(start: list[int], end: list[int], ml: list[int]) -> int:
    """Step windows of 6, 12 and 24 hours minute by minute."""
    rate = np.full(end[-1], np.nan)
    for a, b, volume in zip(start, end, ml, strict=True):
        rate[a:b] = volume / (b - a)
    run = np.concatenate([[0.0], np.cumsum(rate)])
    worst = 0
    for hours, limit, grade in ((6, 0.5, 1), (12, 0.5, 2), (24, 0.3, 3), (12, None, 3)):
        width = hours * 60
        for stop in range(width, end[-1] + 1):
            made = run[stop] - run[stop - width]
            bound = 25.0 if limit is None else limit * KG * hours
            if made < bound - 1e-6 or (limit is None and made <= bound):
                worst = max(worst, grade)
                break
    return worst


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(20, 600), st.integers(0, 500)), min_size=2, max_size=10))
def test_against_a_minute_by_minute_search(parts: list[tuple[int, int]]) -> None:
    ends = np.cumsum([minutes for minutes, _ in parts]).tolist()
    starts = [0, *ends[:-1]]
    volumes = [volume for _, volume in parts]
    found = urine_stages(np.array(starts) / 60, np.array(ends) / 60, volumes, KG)
    assert found.least.max(initial=0) == minute_search(starts, ends, volumes)


def test_the_order_of_entry_does_not_matter() -> None:
    start, volume = np.arange(30.0), np.linspace(60, 5, 30)
    mixed = np.random.default_rng(4).permutation(30)
    one = urine_stages(start, start + 1, volume, KG)
    two = urine_stages(start[mixed], start[mixed] + 1, volume[mixed], KG)
    assert (one.least == two.least).all()


@pytest.mark.parametrize(
    ("start", "end", "ml", "kg", "said"),
    [
        ([0, 1], [2, 3], [10, 10], KG, "overlap"),
        ([0], [0], [10], KG, "no length"),
        ([0], [1], [-1], KG, "at least 0"),
        ([0], [1], [10], 0.0, "weight"),
        ([0], [1, 2], [10], KG, "one start, end and volume"),
    ],
)
def test_what_is_refused(
    start: list[float], end: list[float], ml: list[float], kg: float, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        urine_stages(start, end, ml, kg)
