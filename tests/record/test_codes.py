"""LOINC codes against their own check digit, the DICOM standard and LOINC's names.

A code's last digit is its check digit by the rule of ISO/IEC 7812-1 ("mod 10", Luhn), as LOINC's
users' guide says. DICOM PS3.16 gives blood gases their LOINC codes in context groups 3524, 3527 and
3528; pydicom carries that table. The names are LOINC's long common names as read in public lists.
"""

from __future__ import annotations

from typing import cast

import pytest
from pydicom.sr import _concepts_dict

from thalweg.record.concept import concept_of_code, concepts

CODES = [code.code for row in concepts().values() for code in row.codes]


def luhn(digits: str) -> int:
    """Return what is left over by the rule of doubling every second digit from the right."""
    total = 0
    for place, digit in enumerate(reversed(digits)):
        number = int(digit) * (1 + place % 2)
        total += number - 9 if number > 9 else number
    return total % 10


def test_the_rule_of_the_check_digit() -> None:
    # The worked number of ISO/IEC 7812-1, annex B; and one digit changed.
    assert luhn("79927398713") == 0
    assert luhn("79927398710") != 0


@pytest.mark.parametrize("code", CODES)
def test_every_code_carries_its_check_digit(code: str) -> None:
    number, _, check = code.partition("-")
    assert len(check) == 1
    assert luhn(number + check) == 0


def test_no_code_stands_twice() -> None:
    assert len(CODES) == len(set(CODES))


LOINC_OF_DICOM = cast("dict[str, dict[str, tuple[str, list[int]]]]", _concepts_dict.concepts["LN"])
DICOM_NAMES = {
    meaning: code
    for words in LOINC_OF_DICOM.values()
    for code, (meaning, groups) in words.items()
    if set(groups) & {3524, 3527, 3528}
}


@pytest.mark.parametrize(
    ("meaning", "concept"),
    [
        ("Blood Carbon dioxide partial pressure", "pco2"),
        ("Arterial Blood Carbon dioxide partial pressure", "pco2-arterial"),
        ("Venous Blood Carbon dioxide partial pressure", "pco2-venous"),
        ("Blood pH", "ph"),
        ("Arterial Blood pH", "ph-arterial"),
        ("Venous Blood pH", "ph-venous"),
        ("Blood Base Excess", "base-excess"),
        ("Arterial Blood Base Excess", "base-excess"),
        ("Venous Blood Base Excess", "base-excess"),
    ],
)
def test_blood_gases_have_the_codes_of_the_dicom_standard(meaning: str, concept: str) -> None:
    found = concept_of_code(DICOM_NAMES[meaning])
    assert found is not None
    assert found[0].key == concept


# What a code measures by its LOINC property, and the units such a property can carry.
BY_PROPERTY = {
    "Moles/volume": {"mmol/L", "umol/L", "pmol/L", "meq/L"},
    "Mass/volume": {"mg/dL", "g/dL", "g/L", "mg/L", "pg/mL", "ng/L"},
    "Mass Ratio": {"mg/g"},
    "Partial pressure": {"mm[Hg]", "kPa"},
    "#/volume": {"10*9/L", "10*3/uL"},
}


@pytest.mark.parametrize(
    ("code", "measured"),
    [
        ("2160-0", "Mass/volume"),
        ("14682-9", "Moles/volume"),
        ("17861-6", "Mass/volume"),
        ("2000-8", "Moles/volume"),
        ("19123-9", "Mass/volume"),
        ("2601-3", "Moles/volume"),
        ("1995-0", "Moles/volume"),
        ("1994-3", "Moles/volume"),
        ("777-3", "#/volume"),
        ("9318-7", "Mass Ratio"),
        ("14959-1", "Mass Ratio"),
        ("14749-6", "Moles/volume"),
        ("2345-7", "Mass/volume"),
        ("2524-7", "Moles/volume"),
        ("16362-6", "Moles/volume"),
        ("2955-3", "Moles/volume"),
        ("2828-2", "Moles/volume"),
        ("2078-4", "Moles/volume"),
        ("1960-4", "Moles/volume"),
        ("2019-8", "Partial pressure"),
        ("2021-4", "Partial pressure"),
        ("11557-6", "Partial pressure"),
    ],
)
def test_a_code_s_units_are_of_the_property_in_its_name(code: str, measured: str) -> None:
    found = concept_of_code(code)
    assert found is not None
    assert set(found[1].units) <= BY_PROPERTY[measured]
