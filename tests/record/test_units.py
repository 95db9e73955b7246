"""Unit conversion against atomic weights and definitions outside the project."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.errors import UnitError
from thalweg.record.units import convert, known_units, parse_quantity, parse_unit

# IUPAC abridged standard atomic weights (2021), from memory.
CARBON, HYDROGEN, NITROGEN, OXYGEN = 12.011, 1.008, 14.007, 15.999
CREATININE = 4 * CARBON + 7 * HYDROGEN + 3 * NITROGEN + OXYGEN
UREA = CARBON + 4 * HYDROGEN + 2 * NITROGEN + OXYGEN


def test_creatinine_from_its_atoms() -> None:
    # 1 mg/dL = 10 mg/L; in µmol/L that is 10 000 / molar mass.
    got = convert(1.0, "mg/dL", "umol/L", molar_mass=CREATININE)
    assert got == pytest.approx(1e4 / CREATININE, rel=1e-12)
    # The factor in common laboratory use is 88.4.
    assert got == pytest.approx(88.4, abs=0.05)


def test_urea_from_its_atoms() -> None:
    # Common laboratory use: urea mmol/L x 6.006 = urea mg/dL.
    assert convert(10.0, "mmol/L", "mg/dL", molar_mass=UREA) == pytest.approx(60.06, abs=0.02)


def test_b12_cut_off() -> None:
    # 200 pg/mL = 147.6 pmol/L: the deficiency cut-off as both units print it.
    assert convert(200, "pg/mL", "pmol/L", molar_mass=1355.37) == pytest.approx(147.6, abs=0.05)


def test_albumin_creatinine_ratio() -> None:
    # KDIGO 2012 prints 30 mg/g as 3 mg/mmol, "approximately"; the exact factor is 8.84.
    assert convert(3.0, "mg/mmol", "mg/g", molar_mass=CREATININE) == pytest.approx(26.52, abs=0.01)


@pytest.mark.parametrize(
    ("value", "start", "end", "expected"),
    [
        (1, "L/(24.h)", "mL/(24.h)", 1000),
        (24, "mL/h", "mL/(24.h)", 576),
        (1, "m", "mm", 1000),
        (13.5, "g/dL", "g/L", 135),
        (7.2, "10*3/uL", "10*9/L", 7.2),
        (140, "meq/L", "mmol/L", 140),
        (100, "%", "1", 1),
    ],
)
def test_definitions(value: float, start: str, end: str, expected: float) -> None:
    # SI prefixes and the UCUM definitions of the units.
    assert convert(value, start, end) == pytest.approx(expected, rel=1e-12)


def test_indexed_and_absolute_filtration_are_different_things() -> None:
    with pytest.raises(UnitError, match=r"cannot be turned into"):
        convert(60.0, "mL/min/{1.73_m2}", "mL/min")


def test_mass_and_molar_need_the_substance() -> None:
    with pytest.raises(UnitError):
        convert(1.0, "mg/dL", "umol/L")


@given(
    st.floats(1e-6, 1e6),
    st.sampled_from([("mg/dL", "umol/L"), ("mg/dL", "mmol/L"), ("umol/L", "mmol/L")]),
)
def test_there_and_back(value: float, codes: tuple[str, str]) -> None:
    there = convert(value, *codes, molar_mass=113.118)
    assert convert(there, *codes[::-1], molar_mass=113.118) == pytest.approx(value, rel=1e-12)


def test_arrays_as_numbers() -> None:
    values = np.array([0.5, 1.0, 2.0])
    got = convert(values, "mg/dL", "umol/L", molar_mass=113.118)
    assert got == pytest.approx([convert(v, "mg/dL", "umol/L", molar_mass=113.118) for v in values])


@pytest.mark.parametrize("code", list(known_units()))
def test_every_code_of_the_table_converts_to_itself(code: str) -> None:
    assert convert(2.5, code, code) == pytest.approx(2.5)


def test_what_people_type() -> None:
    assert parse_quantity("1.20mg/dL") == (Decimal("1.20"), "mg/dL")
    assert str(parse_quantity("1.20 mg/dL")[0]) == "1.20"
    assert parse_quantity(" 106 µmol/L ") == (Decimal(106), "umol/L")
    assert parse_quantity("1e2 mL/h") == (Decimal("1e2"), "mL/h")


@pytest.mark.parametrize("text", ["12", "mg/dL", "", "1.2 cubits", "1,2mg/dL", "nan mg/dL"])
def test_refused(text: str) -> None:
    with pytest.raises(UnitError) as refused:
        parse_quantity(text)
    assert str(refused.value).count("\n") == 0
    assert str(refused.value).endswith(".")


def test_files_must_carry_exact_codes() -> None:
    assert parse_unit("umol/L") == "umol/L"
    with pytest.raises(UnitError, match="write the UCUM code 'umol/L'"):
        parse_unit("µmol/l")
