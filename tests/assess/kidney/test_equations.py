"""The equations against their worked values, an independent evaluation, and their own logic.

Worked values marked "recomputed" were evaluated apart from this package from the published
coefficients, to three or two decimals; the publications print no worked examples.
"""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support import precise_kidney as precise

from thalweg.assess.kidney import body, children, ckd_epi
from thalweg.errors import InputError
from thalweg.record.units import convert

CREATININE = 113.118  # g/mol

sexes = st.sampled_from(["female", "male"])
creatinines = st.floats(0.1, 30.0)
cystatins = st.floats(0.2, 14.0)
adult_ages = st.floats(18.0, 110.0)
young_ages = st.floats(1.0, 25.0)


# Inker 2021, recomputed.
@pytest.mark.parametrize(
    ("creatinine", "age", "sex", "expected"),
    [
        (1.0, 50, "male", 91.691),
        (1.0, 50, "female", 68.633),
        (0.6, 30, "female", 123.758),
        (0.8, 30, "male", 122.097),
        (0.9, 60, "male", 97.775),
        (0.7, 60, "female", 98.948),
        (1.2, 18, "male", 89.897),
        (1.5, 65, "female", 38.434),
        (2.0, 72, "male", 34.807),
        (4.0, 80, "male", 14.415),
    ],
)
def test_ckd_epi_2021_creatinine_worked(
    creatinine: float, age: float, sex: str, expected: float
) -> None:
    assert float(ckd_epi.ckd_epi_2021_creatinine(creatinine, age, sex)) == pytest.approx(
        expected, abs=5e-4
    )


# Inker 2012, recomputed.
@pytest.mark.parametrize(
    ("cystatin", "age", "sex", "expected"),
    [
        (0.8, 50, "male", 108.848),
        (1.0, 50, "female", 75.429),
        (1.5, 70, "male", 43.597),
        (0.6, 30, "female", 126.880),
        (2.2, 72, "male", 26.007),
    ],
)
def test_ckd_epi_2012_cystatin_worked(
    cystatin: float, age: float, sex: str, expected: float
) -> None:
    assert float(ckd_epi.ckd_epi_2012_cystatin(cystatin, age, sex)) == pytest.approx(
        expected, abs=5e-4
    )


# Inker 2021, combined equation, recomputed.
@pytest.mark.parametrize(
    ("creatinine", "cystatin", "age", "sex", "expected"),
    [
        (1.0, 0.9, 50, "male", 95.674),
        (1.0, 0.9, 50, "female", 80.361),
        (0.6, 0.7, 30, "female", 124.865),
        (0.8, 1.2, 60, "male", 79.228),
        (2.0, 2.2, 72, "male", 30.039),
    ],
)
def test_ckd_epi_2021_combined_worked(
    creatinine: float, cystatin: float, age: float, sex: str, expected: float
) -> None:
    found = ckd_epi.ckd_epi_2021_creatinine_cystatin(creatinine, cystatin, age, sex)
    assert float(found) == pytest.approx(expected, abs=5e-4)


# Schwartz 2009, recomputed: 0.413 × cm / mg/dL.
@pytest.mark.parametrize(
    ("height", "creatinine", "expected"),
    [(100, 0.5, 82.600), (140, 0.7, 82.600), (120, 1.0, 49.560), (75, 0.3, 103.250)],
)
def test_schwartz_worked(height: float, creatinine: float, expected: float) -> None:
    assert float(children.schwartz_2009(creatinine, height, 8.0)) == pytest.approx(
        expected, abs=1e-9
    )


# Pierce 2021, recomputed: age, sex, metres, creatinine, cystatin C → three estimates.
@pytest.mark.parametrize(
    ("age", "sex", "height_m", "creatinine", "cystatin", "expected"),
    [
        (5, "male", 1.10, 0.5, 0.90, (81.15, 86.85, 84.00)),
        (10, "female", 1.38, 0.7, 0.95, (70.04, 83.44, 76.74)),
        (14, "female", 1.60, 0.8, 1.00, (75.56, 75.80, 75.68)),
        (20, "male", 1.75, 1.2, 1.10, (74.08, 70.09, 72.09)),
    ],
)
def test_u25_worked(
    age: float,
    sex: str,
    height_m: float,
    creatinine: float,
    cystatin: float,
    expected: tuple[float, float, float],
) -> None:
    by_creatinine = children.ckid_u25_creatinine(creatinine, height_m * 100, age, sex)
    by_cystatin = children.ckid_u25_cystatin(cystatin, age, sex)
    mean = children.ckid_u25_mean(by_creatinine, by_cystatin)
    found = [float(value) for value in (by_creatinine, by_cystatin, mean)]
    assert found == pytest.approx(expected, abs=5.1e-3)


# Pierce 2021, abstract: K of the age-dependent creatinine equation at its two ends.
@pytest.mark.parametrize(
    ("age", "sex", "k"),
    [(1, "male", 35.7), (18, "male", 50.8), (1, "female", 33.1), (18, "female", 41.4)],
)
def test_u25_gives_the_published_ends_of_k(age: float, sex: str, k: float) -> None:
    found = float(children.ckid_u25_creatinine(1.0, 100.0, age, sex))
    assert round(found, 1) == k


# Pierce 2021, abstract: K of cystatin C varies non-monotonically, that of creatinine rises.
def test_u25_constants_rise_and_bend_as_published() -> None:
    ages = np.linspace(1.0, 17.999, 400)
    for sex in ("female", "male"):
        assert np.all(np.diff(children.ckid_u25_creatinine(1.0, 100.0, ages, sex)) > 0)
        bend = ages[np.argmax(children.ckid_u25_cystatin(1.0, ages, sex))]
        assert bend == pytest.approx(12.0 if sex == "female" else 15.0, abs=0.05)


# Cockcroft 1976, recomputed.
@pytest.mark.parametrize(
    ("age", "weight", "creatinine", "sex", "expected"),
    [
        (70, 72, 1.4, "male", 50.00),
        (70, 60, 1.4, "female", 35.42),
        (40, 80, 1.0, "male", 111.11),
    ],
)
def test_cockcroft_gault_worked(
    age: float, weight: float, creatinine: float, sex: str, expected: float
) -> None:
    found = float(body.cockcroft_gault(creatinine, weight, age, sex))
    assert found == pytest.approx(expected, abs=5e-3)


# Cockcroft 1976 as quoted: men excrete 28 − 0.2 × age mg of creatinine per kg and day. Clearance
# is excretion over concentration: mg/day ÷ mg/dL = dL/day, 100 mL/dL, 1440 min/day.
@settings(deadline=None, derandomize=True)
@given(adult_ages, st.floats(30.0, 200.0), creatinines)
def test_cockcroft_gault_follows_from_excretion(
    age: float, weight: float, creatinine: float
) -> None:
    excreted_mg_day = (28.0 - 0.2 * age) * weight
    clearance = excreted_mg_day / creatinine * 100.0 / 1440.0
    assert float(body.cockcroft_gault(creatinine, weight, age, "male")) == pytest.approx(clearance)


# Mosteller 1987 and Du Bois 1916, recomputed; 100 cm and 36 kg is 1 m² exactly.
def test_body_surface_worked() -> None:
    heights, weights = np.array([170.0, 160.0, 100.0]), np.array([70.0, 55.0, 15.0])
    assert body.mosteller(heights, weights) == pytest.approx([1.8181, 1.5635, 0.6455], abs=5e-5)
    assert body.du_bois(heights[:2], weights[:2]) == pytest.approx([1.8097, 1.5632], abs=5e-5)
    assert float(body.mosteller(100.0, 36.0)) == 1.0


@settings(deadline=None, derandomize=True)
@given(st.floats(1.0, 200.0), st.floats(0.2, 3.5))
def test_indexing_undoes_deindexing(rate: float, surface: float) -> None:
    assert float(body.indexed_gfr(body.absolute_gfr(rate, surface), surface)) == pytest.approx(rate)
    assert float(body.absolute_gfr(rate, 1.73)) == pytest.approx(rate)


def test_equations_agree_with_fifty_digits_over_a_random_grid() -> None:
    draw = random.Random(20210923)
    for _ in range(400):
        sex = draw.choice(["female", "male"])
        creatinine, cystatin = draw.uniform(0.2, 12.0), draw.uniform(0.3, 8.0)
        age, young = draw.uniform(18, 105), draw.uniform(1, 25)
        height = draw.uniform(60, 200)
        pairs: list[tuple[Any, float]] = [
            (
                ckd_epi.ckd_epi_2021_creatinine(creatinine, age, sex),
                precise.ckd_epi_2021_creatinine(creatinine, age, sex),
            ),
            (
                ckd_epi.ckd_epi_2012_cystatin(cystatin, age, sex),
                precise.ckd_epi_2012_cystatin(cystatin, age, sex),
            ),
            (
                ckd_epi.ckd_epi_2021_creatinine_cystatin(creatinine, cystatin, age, sex),
                precise.ckd_epi_2021_both(creatinine, cystatin, age, sex),
            ),
            (
                children.ckid_u25_creatinine(creatinine, height, young, sex),
                precise.u25("creatinine", creatinine, young, sex, height / 100),
            ),
            (
                children.ckid_u25_cystatin(cystatin, young, sex),
                precise.u25("cystatin", cystatin, young, sex),
            ),
        ]
        for found, expected in pairs:
            assert float(found) == pytest.approx(expected, rel=1e-13)


@settings(deadline=None, derandomize=True)
@given(sexes, adult_ages)
def test_the_splines_have_no_step_at_their_knots(sex: str, age: float) -> None:
    knot = 0.7 if sex == "female" else 0.9
    steps = np.array([knot - 1e-9, knot + 1e-9])
    for low, high in (
        ckd_epi.ckd_epi_2021_creatinine(steps, age, sex),
        ckd_epi.ckd_epi_2021_creatinine_cystatin(steps, 1.0, age, sex),
    ):
        assert low == pytest.approx(high, rel=1e-7)
    below, above = (float(ckd_epi.ckd_epi_2012_cystatin(0.8 + d, age, sex)) for d in (-1e-9, 1e-9))
    assert below == pytest.approx(above, rel=1e-7)


@settings(deadline=None, derandomize=True)
@given(sexes, creatinines, cystatins, adult_ages, st.floats(1.001, 1.5))
def test_worse_marker_or_greater_age_never_reads_better(
    sex: str, creatinine: float, cystatin: float, age: float, factor: float
) -> None:
    more_creatinine = min(creatinine * factor, 34.0)
    more_cystatin = min(cystatin * factor, 15.0)
    older = min(age * factor, 120.0)
    by_creatinine = ckd_epi.ckd_epi_2021_creatinine
    by_cystatin = ckd_epi.ckd_epi_2012_cystatin
    both = ckd_epi.ckd_epi_2021_creatinine_cystatin
    assert by_creatinine(more_creatinine, age, sex) < by_creatinine(creatinine, age, sex)
    assert by_creatinine(creatinine, older, sex) < by_creatinine(creatinine, age, sex)
    assert by_cystatin(more_cystatin, age, sex) < by_cystatin(cystatin, age, sex)
    assert by_cystatin(cystatin, older, sex) < by_cystatin(cystatin, age, sex)
    assert both(more_creatinine, cystatin, age, sex) < both(creatinine, cystatin, age, sex)
    assert both(creatinine, more_cystatin, age, sex) < both(creatinine, cystatin, age, sex)
    assert both(creatinine, cystatin, older, sex) < both(creatinine, cystatin, age, sex)


@settings(deadline=None, derandomize=True)
@given(sexes, st.floats(10.0, 2000.0), adult_ages)
def test_micromoles_read_as_the_same_creatinine(sex: str, micromol: float, age: float) -> None:
    milligram = convert(micromol, "umol/L", "mg/dL", molar_mass=CREATININE)
    # 1 mg/dL is 88.4 µmol/L to three figures (molar mass of creatinine, 113.118 g/mol).
    assert micromol / milligram == pytest.approx(88.4033, abs=5e-5)
    exact = precise.ckd_epi_2021_creatinine(micromol / (1e4 / CREATININE), age, sex)
    found = float(ckd_epi.ckd_epi_2021_creatinine(milligram, age, sex))
    assert found == pytest.approx(exact, rel=1e-12)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.tuples(sexes, creatinines, cystatins, adult_ages, young_ages), min_size=1))
def test_an_array_gives_what_each_of_its_members_gives(
    rows: list[tuple[str, float, float, float, float]],
) -> None:
    sex, creatinine, cystatin, age, young = (np.array(column) for column in zip(*rows, strict=True))
    whole = [
        ckd_epi.ckd_epi_2021_creatinine(creatinine, age, sex),
        ckd_epi.ckd_epi_2012_cystatin(cystatin, age, sex),
        ckd_epi.ckd_epi_2021_creatinine_cystatin(creatinine, cystatin, age, sex),
        children.ckid_u25_creatinine(creatinine, 130.0, young, sex),
        children.ckid_u25_cystatin(cystatin, young, sex),
        body.cockcroft_gault(creatinine, 70.0, age, sex),
    ]
    for index, (one_sex, cr, cys, years, child_years) in enumerate(rows):
        single = [
            ckd_epi.ckd_epi_2021_creatinine(cr, years, one_sex),
            ckd_epi.ckd_epi_2012_cystatin(cys, years, one_sex),
            ckd_epi.ckd_epi_2021_creatinine_cystatin(cr, cys, years, one_sex),
            children.ckid_u25_creatinine(cr, 130.0, child_years, one_sex),
            children.ckid_u25_cystatin(cys, child_years, one_sex),
            body.cockcroft_gault(cr, 70.0, years, one_sex),
        ]
        for array, scalar in zip(whole, single, strict=True):
            assert array.dtype == np.float64
            assert array[index] == pytest.approx(float(scalar), rel=1e-14)


def test_arguments_broadcast_and_missing_values_stay_missing() -> None:
    found = ckd_epi.ckd_epi_2021_creatinine(
        np.array([[1.0], [np.nan]]), np.array([50.0, 60.0, 70.0]), "female"
    )
    assert found.shape == (2, 3)
    assert np.isnan(found[1]).all()
    assert found[0, 0] == pytest.approx(68.633, abs=5e-4)
    assert np.isnan(children.schwartz_2009(0.5, 100.0, np.array([np.nan, 8.0]))).tolist() == [
        True,
        False,
    ]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: ckd_epi.ckd_epi_2021_creatinine(1.0, 17.9, "male"), "age of 17.9 years"),
        (lambda: ckd_epi.ckd_epi_2021_creatinine(88.0, 50, "male"), "creatinine of 88 mg/dL"),
        (lambda: ckd_epi.ckd_epi_2021_creatinine(0.0, 50, "male"), "creatinine of 0 mg/dL"),
        (lambda: ckd_epi.ckd_epi_2021_creatinine(float("nan"), 50, "male"), "creatinine of nan"),
        (lambda: ckd_epi.ckd_epi_2021_creatinine([1.0, 99.0, 98.0], 50, "male"), "2 such values"),
        (lambda: ckd_epi.ckd_epi_2021_creatinine(1.0, 50, "F"), "'female' and 'male'"),
        (lambda: ckd_epi.ckd_epi_2012_cystatin(-1.0, 50, "male"), "cystatin C of -1 mg/L"),
        (lambda: children.schwartz_2009(0.5, 1.2, 8), "height of 1.2 cm"),
        (lambda: children.schwartz_2009(0.5, 120, 17.0), "age of 17 years"),
        (lambda: children.ckid_u25_cystatin(1.0, 25.5, "male"), "age of 25.5 years"),
        (lambda: children.ckid_u25_creatinine(0.5, 70, 0.9, "male"), "age of 0.9 years"),
        (lambda: body.cockcroft_gault("one", 70, 50, "male"), "is not a number"),
        (lambda: body.mosteller(170.0, float("inf")), "weight of inf kg"),
    ],
)
def test_what_an_equation_was_not_made_for_is_refused(call: Any, said: str) -> None:
    with pytest.raises(InputError) as refused:
        call()
    sentence = str(refused.value)
    assert said in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
