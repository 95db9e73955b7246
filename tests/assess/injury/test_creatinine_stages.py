"""Stages by creatinine against KDIGO's table (Kidney Int Suppl 2012;2:19) and a plain search.

Worked cases follow the table by hand arithmetic; the registry form is compared with a row-by-row
search in exact fractions that shares nothing with it.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thalweg.assess.injury.creatinine import creatinine_stages, nanomoles
from thalweg.errors import InputError

HOUR, DAY = 60, 1440


def stage(*results: tuple[int, str], unit: str = "mg/dL") -> tuple[int, int]:
    """Return the least and the greatest stage at the last of (minutes, value) results."""
    minutes = [when for when, _ in results]
    found = creatinine_stages(minutes, [nanomoles(Decimal(v), unit) for _, v in results])
    return int(found.least[-1]), int(found.most[-1])


@pytest.mark.parametrize(
    ("results", "expected"),
    [
        # 1.2 - 0.9 is 0.2999… in binary: the case that floating point misses.
        (((0, "0.9"), (DAY, "1.2")), 1),
        (((0, "0.9"), (2 * DAY, "1.2")), 1),
        (((0, "0.9"), (DAY, "1.19")), 0),
        # 1.35 is 1.5 times 0.9 exactly; 5 days, so that only the ratio can count.
        (((0, "0.9"), (5 * DAY, "1.35")), 1),
        (((0, "0.9"), (7 * DAY, "1.35")), 1),
        (((0, "1.0"), (5 * DAY, "2.0")), 2),
        (((0, "1.0"), (5 * DAY, "1.99")), 1),
        (((0, "1.0"), (5 * DAY, "3.0")), 3),
        (((0, "1.0"), (5 * DAY, "2.99")), 2),
        (((0, "3.6"), (2 * DAY, "4.0")), 3),
        (((0, "3.6"), (2 * DAY, "3.99")), 1),
        (((0, "3.8"), (DAY, "4.0")), 0),
        # The lowest of the window counts, not the first.
        (((0, "1.4"), (DAY, "0.8"), (2 * DAY, "1.2")), 1),
        # Falling creatinine is no injury.
        (((0, "3.0"), (DAY, "2.0"), (2 * DAY, "1.0")), 0),
    ],
)
def test_kdigo_table(results: tuple[tuple[int, str], ...], expected: int) -> None:
    assert stage(*results) == (expected, expected)


def test_thresholds_in_micromoles() -> None:
    assert stage((0, "80"), (DAY, "106.5"), unit="umol/L") == (1, 1)
    assert stage((0, "80"), (DAY, "106.4"), unit="umol/L") == (0, 0)
    assert stage((0, "330"), (DAY, "356.5"), unit="umol/L") == (3, 3)
    assert stage((0, "327"), (DAY, "353.5"), unit="umol/L") == (1, 1)
    assert stage((0, "327.1"), (DAY, "353.6"), unit="umol/L") == (3, 3)


def test_what_nobody_looked_at_is_left_open() -> None:
    # One result alone says nothing; a rise seen only over 3 days may have come within 48 hours.
    assert stage((0, "1.0")) == (0, 3)
    assert stage((0, "1.0"), (3 * DAY, "1.3")) == (0, 1)
    assert stage((0, "3.8"), (3 * DAY, "4.1")) == (0, 3)
    assert stage((0, "1.0"), (3 * DAY, "1.2")) == (0, 0)
    # A minute beyond 7 days is outside the window.
    assert stage((0, "1.0"), (7 * DAY + 1, "2.0")) == (0, 3)


def test_a_given_baseline_goes_first() -> None:
    found = creatinine_stages([0, DAY], [150_000, 160_000], baseline_nmol_l=[80_000, 80_000])
    assert list(found.least) == [1, 2]
    assert list(found.reference) == [80_000, 80_000]
    assert found.from_baseline.all()


def test_children_by_filtration_rate() -> None:
    rising = [30_000, 60_000]
    for rate, expected in ((34.9, (3, 3)), (35.0, (2, 2)), (np.nan, (2, 3))):
        found = creatinine_stages([0, DAY], rising, child_gfr=[np.nan, rate])
        assert (found.least[1], found.most[1]) == expected
    # A low but steady rate is no acute injury.
    steady = creatinine_stages([0, DAY], [60_000, 60_000], child_gfr=[20.0, 20.0])
    assert list(steady.least) == [0, 0]


def plainly(minutes: list[int], values: list[int]) -> list[int]:
    """Stage each result of one person by looking at every earlier one, in exact fractions."""
    stages = []
    for here, now in zip(minutes, values, strict=True):
        earlier = [
            (here - when, Fraction(value))
            for when, value in zip(minutes, values, strict=True)
            if when < here
        ]
        rose = any(gap <= 48 * HOUR and now - value >= 26_500 for gap, value in earlier)
        week = [value for gap, value in earlier if gap <= 7 * DAY]
        ratio = Fraction(now) / min(week) if week else Fraction(0)
        grade = max(
            [k for k, times in ((3, 3), (2, 2), (1, Fraction(3, 2))) if ratio >= times] or [0]
        )
        grade = max(grade, int(rose))
        stages.append(3 if grade and now >= 353_600 else grade)
    return stages


series = st.lists(
    st.tuples(st.integers(1, 20 * DAY), st.integers(300, 4500)), min_size=1, max_size=25
)


@settings(max_examples=60, deadline=None)
@given(st.lists(series, min_size=1, max_size=4))
def test_a_registry_agrees_with_a_row_by_row_search(people: list[list[tuple[int, int]]]) -> None:
    minutes: list[int] = []
    values: list[int] = []
    who: list[int] = []
    expected: list[int] = []
    for number, person in enumerate(people):
        rows = sorted({when: value * 100 for when, value in person}.items())
        minutes += [when for when, _ in rows]
        values += [value for _, value in rows]
        who += [number] * len(rows)
        expected += plainly([when for when, _ in rows], [value for _, value in rows])
    found = creatinine_stages(minutes, values, person=who)
    assert list(found.least) == expected
    assert np.all(found.most >= found.least)


@given(st.lists(st.integers(40, 500), min_size=2, max_size=12))
def test_mass_and_amount_give_the_same_stage(hundredths: list[int]) -> None:
    times = [index * 10 * HOUR for index in range(len(hundredths))]
    mass = [nanomoles(Decimal(v) / 100, "mg/dL") for v in hundredths]
    amount = [nanomoles(Decimal(v) / 100 * Decimal("88.4"), "umol/L") for v in hundredths]
    assert mass == amount
    assert (creatinine_stages(times, mass).least == creatinine_stages(times, amount).least).all()


@given(st.lists(st.integers(400, 3000), min_size=2, max_size=10), st.integers(1, 2000))
def test_a_higher_last_result_never_lowers_its_stage(values: list[int], more: int) -> None:
    times = [index * 12 * HOUR for index in range(len(values))]
    plain = creatinine_stages(times, [v * 100 for v in values]).least[-1]
    higher = [*(v * 100 for v in values[:-1]), (values[-1] + more) * 100]
    assert creatinine_stages(times, higher).least[-1] >= plain


@pytest.mark.parametrize(
    ("minutes", "values", "said"),
    [
        ([10, 0], [1, 1], "not in order"),
        ([0, 10], [1, 0], "not above 0"),
        ([0], [1, 2], "one value a result"),
        ([0.5], [1], "whole"),
    ],
)
def test_what_is_refused(minutes: list[int], values: list[int], said: str) -> None:
    with pytest.raises(InputError, match=said):
        creatinine_stages(minutes, values)
