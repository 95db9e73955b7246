"""KDIGO categories at every printed boundary, and the rule for what lies between two."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thalweg.assess.kidney.categories import (
    albuminuria_categories,
    albuminuria_category,
    gfr_category,
    reported,
)
from thalweg.errors import InputError

# KDIGO 2012, recommendation 1.2.3, as printed: category, first and last whole number.
PRINTED = [
    ("G5", 0, 14),
    ("G4", 15, 29),
    ("G3b", 30, 44),
    ("G3a", 45, 59),
    ("G2", 60, 89),
    ("G1", 90, 200),
]


@pytest.mark.parametrize(("category", "first", "last"), PRINTED)
def test_every_whole_number_has_its_printed_category(category: str, first: int, last: int) -> None:
    numbers = np.arange(first, last + 1)
    assert set(gfr_category(numbers)) == {category}
    assert set(gfr_category(numbers, rounded=False)) == {category}


@pytest.mark.parametrize(
    ("rate", "whole", "category", "unrounded"),
    [
        (59.6, 60, "G2", "G3a"),
        (59.5, 60, "G2", "G3a"),
        (59.4999, 59, "G3a", "G3a"),
        (89.5, 90, "G1", "G2"),
        (44.5, 45, "G3a", "G3b"),
        (29.5, 30, "G3b", "G4"),
        (14.5, 15, "G4", "G5"),
        (14.4, 14, "G5", "G5"),
    ],
)
def test_between_two_categories_the_reported_whole_number_decides(
    rate: float, whole: int, category: str, unrounded: str
) -> None:
    assert float(reported(rate)) == whole
    assert str(gfr_category(rate)) == category
    assert str(gfr_category(rate, rounded=False)) == unrounded


@settings(deadline=None, derandomize=True)
@given(st.floats(0.0, 199.0), st.floats(0.0, 1.0))
def test_more_filtration_is_never_a_worse_category(rate: float, more: float) -> None:
    order = [category for category, _, _ in PRINTED]
    assert order.index(str(gfr_category(rate + more))) >= order.index(str(gfr_category(rate)))


# KDIGO 2012, recommendation 1.2.4: A1 <30 mg/g (<3 mg/mmol), A2 30–300 (3–30), A3 >300 (>30).
@pytest.mark.parametrize(
    ("ratio", "unit", "category"),
    [
        (0, "mg/g", "A1"),
        (29.9, "mg/g", "A1"),
        (30, "mg/g", "A2"),
        (300, "mg/g", "A2"),
        (300.1, "mg/g", "A3"),
        (2.9, "mg/mmol", "A1"),
        (3, "mg/mmol", "A2"),
        (30, "mg/mmol", "A2"),
        (30.1, "mg/mmol", "A3"),
        # 3.2 mg/mmol is 28.3 mg/g: converted first it would have been A1.
        (3.2, "mg/mmol", "A2"),
    ],
)
def test_albuminuria_is_judged_in_the_unit_reported(ratio: float, unit: str, category: str) -> None:
    assert albuminuria_category(ratio, unit) == category


def test_what_has_no_category_is_refused() -> None:
    with pytest.raises(InputError, match="missing filtration rate"):
        gfr_category([60.0, float("nan")])
    with pytest.raises(InputError, match="-1"):
        gfr_category(-1.0)
    with pytest.raises(InputError, match="'%'"):
        albuminuria_category(3.0, "%")
    with pytest.raises(InputError, match="ratio of -1"):
        albuminuria_category(-1.0, "mg/g")
    with pytest.raises(InputError, match="missing ratio"):
        albuminuria_categories([3.0, float("nan")], "mg/g")


@given(st.lists(st.floats(0, 1000), max_size=30), st.sampled_from(["mg/g", "mg/mmol"]))
def test_a_column_of_ratios_is_judged_as_each_of_them(ratios: list[float], unit: str) -> None:
    found = albuminuria_categories(np.array(ratios, dtype=float).reshape(-1, 1), unit)
    assert found.shape == (len(ratios), 1)
    assert found.ravel().tolist() == [albuminuria_category(one, unit) for one in ratios]
