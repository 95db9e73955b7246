"""Impossible values are refused and the mix-up that explains them is named.

Physiological anchors beside each case are textbook reference intervals, common practice.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.errors import ImplausibleValueError, UnitError
from thalweg.record.concept import concept, concepts
from thalweg.record.plausible import canonical, questions_about

QUANTITIES = [row for row in concepts().values() if row.kind == "quantity"]


@pytest.mark.parametrize(
    ("key", "value", "unit", "hint"),
    [
        ("potassium", "45", "mmol/L", "4.5 mmol/L"),  # reference 3.5 to 5.0
        ("creatinine", "106", "mg/dL", "µmol/L"),  # reference 60 to 110 µmol/L
        ("creatinine", "1.2", "umol/L", "mg/dL"),  # reference 0.7 to 1.2 mg/dL
        ("haemoglobin", "13", "g/L", "g/dL"),  # reference 12 to 17 g/dL
        ("weight", "3400", "kg", "in g"),  # a newborn weighs about 3,400 g
        ("height", "1.72", "cm", "in m"),
    ],
)
def test_mix_ups(key: str, value: str, unit: str, hint: str) -> None:
    with pytest.raises(ImplausibleValueError) as refused:
        questions_about(concept(key), Decimal(value), unit)
    assert hint in str(refused.value)
    assert "\n" not in str(refused.value)


def test_unlikely_is_questioned_not_refused() -> None:
    (question,) = questions_about(concept("potassium"), Decimal("8.1"), "mmol/L")
    assert "unlikely" in question


def test_same_fact_in_two_units() -> None:
    row = concept("creatinine")
    assert canonical(row, Decimal("1.2"), "mg/dL") == pytest.approx(106.08, abs=0.01)
    assert questions_about(row, Decimal("1.2"), "mg/dL") == ()
    assert questions_about(row, Decimal(106), "umol/L") == ()


def test_wrong_kind_of_unit() -> None:
    with pytest.raises(UnitError, match="cannot be in kg"):
        questions_about(concept("creatinine"), Decimal(1), "kg")


@given(st.sampled_from(QUANTITIES), st.decimals(allow_nan=True, allow_infinity=True))
def test_never_accepts_what_lies_outside_the_possible(row, value) -> None:  # type: ignore[no-untyped-def]
    try:
        questions = questions_about(row, value, row.unit)
    except ImplausibleValueError:
        assert not (
            value.is_finite() and row.possible and row.possible[0] <= value <= row.possible[1]
        )
    else:
        assert row.possible is None or row.possible[0] <= value <= row.possible[1]
        ordinary = row.expected is None or row.expected[0] <= value <= row.expected[1]
        assert bool(questions) is not ordinary


@pytest.mark.parametrize("row", QUANTITIES, ids=lambda row: row.key)
def test_ranges_nest(row) -> None:  # type: ignore[no-untyped-def]
    assert row.unit in row.units
    assert row.possible[0] <= row.expected[0] < row.expected[1] <= row.possible[1]
    for code in row.codes:
        assert set(code.units) <= set(row.units)
