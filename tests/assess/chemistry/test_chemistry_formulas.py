"""The formulas of acid-base against published numbers and against a second way of reckoning.

Sources stand beside each check. The second way is logarithms in mpmath to 50 digits, hand
arithmetic shown in the test, or another published rule that must agree within its own coarseness.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.assess.chemistry import amounts, gap, gas, response
from thalweg.errors import InputError
from thalweg.record.units import convert

MP = mpmath.mp.clone()
MP.dps = 50

SODIUM = st.floats(90, 200)
CHLORIDE = st.floats(50, 160)
BASE = st.floats(1, 75)
PH = st.floats(6.6, 7.9)
PCO2 = st.floats(5, 200)


@pytest.mark.parametrize(
    ("sodium", "chloride", "base", "albumin", "plain", "corrected"),
    [
        # Hand arithmetic with Figge's 0.25 per g/L (Crit Care Med 1998;26:1807-10, abstract).
        (140, 104, 24, 40, 12, 12.0),
        (138, 112, 14, 40, 12, 12.0),
        (136, 108, 16, 20, 12, 17.0),
        (135, 100, 10, 40, 25, 25.0),
        (139, 105, 23, 44, 11, 10.0),
    ],
)
def test_gap_and_its_correction(
    sodium: float, chloride: float, base: float, albumin: float, plain: float, corrected: float
) -> None:
    got = gap.anion_gap(sodium, chloride, base)
    assert float(got) == plain
    assert float(gap.albumin_corrected_gap(got, albumin)) == corrected
    assert float(gap.anion_gap(sodium, chloride, base, 4.0)) == plain + 4.0


def test_half_the_albumin_hides_a_gap() -> None:
    # Figge 1998: 49 % of the critically ill had albumin below 20 g/L; each g/L hides 0.25 mmol/L,
    # so 20 g/L below 40 hide 5.
    assert float(gap.albumin_corrected_gap(12.0, 20.0)) - 12.0 == 5.0


@pytest.mark.parametrize(
    ("corrected", "base", "ratio"),
    [(12.0, 14.0, 0.0), (17.0, 16.0, 0.625), (25.0, 10.0, 13 / 14), (20.0, 16.0, 1.0)],
)
def test_delta_ratio(corrected: float, base: float, ratio: float) -> None:
    assert float(gap.delta_ratio(corrected, base)) == pytest.approx(ratio, rel=1e-15)


def test_delta_ratio_never_divides_by_nothing() -> None:
    got = gap.delta_ratio(np.array([20.0, 20.0, 20.0]), np.array([24.0, 24.5, 23.999]))
    assert np.isnan(got[:2]).all()
    assert got[2] == pytest.approx(8000, rel=1e-9)


def test_urine_gaps_of_the_published_groups() -> None:
    # Batlle 1988 (abstract): negative with diarrhoea (mean -20), positive with disturbed
    # acidification (mean +23 to +39). Ions chosen by hand to those sums.
    assert float(gap.urine_anion_gap(40, 30, 90)) == -20
    assert float(gap.urine_anion_gap(60, 40, 70)) == 30


@given(SODIUM, CHLORIDE, BASE, st.floats(0.1, 5))
def test_the_gap_moves_with_each_ion(
    sodium: float, chloride: float, base: float, step: float
) -> None:
    first = float(gap.anion_gap(sodium, chloride, base))
    if sodium + step <= 200:
        assert float(gap.anion_gap(sodium + step, chloride, base)) > first
    if base + step <= 75:
        assert float(gap.anion_gap(sodium, chloride, base + step)) < first


@given(PH, PCO2)
def test_bicarbonate_from_gas_in_logarithms(ph: float, pco2: float) -> None:
    exact = MP.mpf("0.0307") * MP.mpf(pco2) * MP.exp((MP.mpf(ph) - MP.mpf("6.105")) * MP.log(10))
    assert float(gas.bicarbonate_from_gas(ph, pco2)) == pytest.approx(float(exact), rel=1e-13)


@given(st.floats(7.0, 7.6), st.floats(15, 90))
def test_bicarbonate_from_gas_against_henderson(ph: float, pco2: float) -> None:
    # Adrogué and Madias 2010 (abstract): hydrogen ions in nmol/L = 24 × pCO2 / bicarbonate.
    hydrogen = 10.0 ** (9 - ph)
    assert float(gas.bicarbonate_from_gas(ph, pco2)) == pytest.approx(
        24 * pco2 / hydrogen, rel=0.02
    )


def test_a_published_blood_gas() -> None:
    # Shafii et al. J Urol 2000;164:439, a conduit fistula: pH 7.275, pCO2 1.68 kPa, bicarbonate
    # 5.7 mmol/L, base excess -17.9 (haemoglobin not printed: 15 g/dL taken).
    pco2 = convert(1.68, "kPa", "mm[Hg]")
    assert float(gas.bicarbonate_from_gas(7.275, pco2)) == pytest.approx(5.7, abs=0.05)
    assert float(gas.base_excess_blood(7.275, pco2, 15.0)) == pytest.approx(-17.9, abs=0.1)


def test_base_excess_is_nothing_where_it_is_defined_as_nothing() -> None:
    # Siggaard-Andersen: the titration ends at pH 7.40 and pCO2 5.3 kPa, where base excess is 0.
    pco2 = convert(5.33, "kPa", "mm[Hg]")
    base = float(gas.bicarbonate_from_gas(7.40, pco2))
    assert float(gas.base_excess_fluid(7.40, base)) == pytest.approx(0, abs=0.7)
    assert float(gas.base_excess_blood(7.40, pco2, 15.0)) == pytest.approx(0, abs=0.5)


@given(st.floats(7.1, 7.6), st.floats(20, 70))
def test_both_base_excesses_agree_near_health(ph: float, pco2: float) -> None:
    # Two published equations of one quantity (blood at a third of the usual haemoglobin is the
    # extracellular fluid): they agree within 2.5 mmol/L over ordinary gases.
    base = float(gas.bicarbonate_from_gas(ph, pco2))
    fluid = float(gas.base_excess_fluid(ph, base))
    assert float(gas.base_excess_blood(ph, pco2, 5.0)) == pytest.approx(fluid, abs=2.5)


@pytest.mark.parametrize(("base", "pco2"), [(24, 44), (14, 29), (16, 32), (10, 23), (5, 15.5)])
def test_winters(base: float, pco2: float) -> None:
    # 1.5 × bicarbonate + 8, by hand.
    assert float(response.winters_pco2(base)) == pco2


@given(st.floats(9, 18))
def test_winters_against_the_last_two_digits_of_ph(base: float) -> None:
    # A rule quoted beside Winters' (N Engl J Med 2014;371:1434, in notes): in a simple metabolic
    # acidosis pCO2 is about the last two digits of pH.
    pco2 = float(response.winters_pco2(base))
    ph = 6.105 + np.log10(base / (0.0307 * pco2))
    assert 100 * (ph - 7) == pytest.approx(pco2, abs=3.5)


@given(st.floats(24, 45))
def test_alkalosis_lies_in_the_other_published_band(base: float) -> None:
    # The other form in teaching texts: 0.7 × bicarbonate + 20 ± 5 mmHg.
    assert float(response.pco2_in_alkalosis(base)) == pytest.approx(0.7 * base + 20, abs=5)


@pytest.mark.parametrize(
    ("pco2", "soon", "late"),
    [
        (60, 26, 31),  # 0.1 and 0.35 per mmHg (Hong Kong Practitioner 2005;27:295, table 3)
        (80, 28, 38),
        (20, 20, 14),  # 0.2 and 0.5 per mmHg
        (40, 24, 24),
    ],
)
def test_what_breathing_explains(pco2: float, soon: float, late: float) -> None:
    low, high = response.bicarbonate_explained(pco2)
    assert (float(low), float(high)) == pytest.approx((min(soon, late) - 2, max(soon, late) + 2))


def test_deficits_by_hand() -> None:
    # 0.5 L/kg × 70 kg × (24 − 14) = 350 mmol (Garella 1973: half of body weight).
    assert float(amounts.bicarbonate_deficit(14, 70)) == 350
    assert float(amounts.bicarbonate_deficit(24, 70)) == 0
    assert float(amounts.bicarbonate_deficit(30, 70)) == 0
    assert float(amounts.base_deficit(-10, 70)) == pytest.approx(210)
    # The worked example of a product information: 5 mmol/L at 70 kg ask for 210 mL of a solution
    # of 0.5 mmol/mL (base-deficit-practice).
    assert float(amounts.base_deficit(-5, 70)) == pytest.approx(210 * 0.5)
    assert float(amounts.base_deficit(3, 70)) == 0


def test_the_space_grows_in_profound_acidosis() -> None:
    # Fernandez 1989, as two public physiological models quote it: 0.4 + 2.6/bicarbonate; near 0.5
    # at 24, 0.92 at 5 mmol/L.
    assert float(amounts.bicarbonate_space(24.0)) == pytest.approx(0.508, abs=5e-4)
    assert float(amounts.bicarbonate_space(5.0)) == pytest.approx(0.92)


def test_calcium_of_the_published_example() -> None:
    # A teaching page's worked example of Payne's formula: 1.83 + 0.02 × (40 − 26) = 2.11 mmol/L.
    assert float(amounts.adjusted_calcium(1.83, 26)) == pytest.approx(2.11)


def test_osmolality_by_hand() -> None:
    assert float(amounts.calculated_osmolality(140, 5, 5)) == 290


@pytest.mark.parametrize(
    ("key", "equivalents", "millimoles", "milligrams"),
    [("calcium", 5.0, 2.5, 10.0195), ("magnesium", 1.6, 0.8, 1.9444)],
)
def test_two_charges_make_two_equivalents(
    key: str, equivalents: float, millimoles: float, milligrams: float
) -> None:
    # Atomic weights 40.078 and 24.305 g/mol; both ions carry two charges.
    from thalweg.record.concept import concept
    from thalweg.record.plausible import canonical

    row = concept(key)
    assert canonical(row, equivalents, "meq/L") == pytest.approx(millimoles, rel=1e-12)
    assert canonical(row, milligrams, "mg/dL") == pytest.approx(millimoles, rel=1e-4)
    assert canonical(concept("sodium"), 140, "meq/L") == 140


@pytest.mark.parametrize(
    ("function", "values", "named"),
    [
        (gap.anion_gap, (250, 100, 24), "sodium"),
        (gap.anion_gap, (140, 100, float("nan")), "bicarbonate"),
        (gas.bicarbonate_from_gas, (74.0, 40), "pH"),
        (gas.base_excess_blood, (7.4, 40, 150), "haemoglobin"),
        (response.winters_pco2, (0,), "bicarbonate"),
        (amounts.bicarbonate_deficit, (14, 7000), "weight"),
    ],
)
def test_what_cannot_be_is_refused(function, values, named) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=named):
        function(*values)


def test_arrays_as_numbers() -> None:
    sodium, chloride = np.array([130.0, 140.0, np.nan]), np.array([[100.0], [110.0]])
    got = gap.anion_gap(sodium, chloride, 20.0)
    assert got.shape == (2, 3)
    assert got[1, 1] == float(gap.anion_gap(140.0, 110.0, 20.0))
    assert np.isnan(got[:, 2]).all()
