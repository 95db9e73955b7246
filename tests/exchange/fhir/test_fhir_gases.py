"""Blood gases, ions and the rest keep apart what their LOINC codes keep apart.

The names are LOINC's own, as read in public lists (docs/verification.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.support.casefolder import PATIENT, bundle, result

from thalweg.exchange.fhir import read_fhir

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("code", "value", "unit", "concept"),
    [
        ("1963-8", "21.5", "mmol/L", "bicarbonate"),  # Bicarbonate in Serum or Plasma
        ("2028-9", "22.5", "meq/L", "total-co2"),  # Carbon dioxide, total, in Serum or Plasma
        ("2019-8", "4.6", "kPa", "pco2-arterial"),  # Carbon dioxide in Arterial blood
        ("2021-4", "44", "mm[Hg]", "pco2-venous"),  # Carbon dioxide in Venous blood
        ("2744-1", "7.31", "[pH]", "ph-arterial"),  # pH of Arterial blood
        ("1925-7", "-6.1", "mmol/L", "base-excess"),  # Base excess in Arterial blood
        ("1927-3", "-5.2", "mmol/L", "base-excess"),  # Base excess in Venous blood by calculation
        ("11555-0", "-4.0", "mmol/L", "base-excess"),  # Base excess in Blood by calculation
        ("11557-6", "41", "mm[Hg]", "pco2"),  # Carbon dioxide [Partial pressure] in Blood
        ("11558-4", "7.36", "[pH]", "ph"),  # pH of Blood
        ("2020-6", "42", "mm[Hg]", "pco2-capillary"),  # Carbon dioxide in Capillary blood
        ("2745-8", "7.38", "[pH]", "ph-capillary"),  # pH of Capillary blood
        ("2746-6", "7.33", "[pH]", "ph-venous"),  # pH of Venous blood
        ("1960-4", "20.5", "mmol/L", "bicarbonate"),  # Bicarbonate in Arterial blood
        ("17861-6", "9.1", "mg/dL", "calcium"),  # Calcium [Mass/volume] in Serum or Plasma
        ("2000-8", "2.28", "mmol/L", "calcium"),  # Calcium [Moles/volume] in Serum or Plasma
        ("1995-0", "1.2", "mmol/L", "ionised-calcium"),  # Calcium.ionized in Serum or Plasma
        ("1994-3", "1.18", "mmol/L", "ionised-calcium"),  # Calcium.ionized in Blood
        ("19123-9", "1.9", "mg/dL", "magnesium"),  # Magnesium [Mass/volume] in Serum or Plasma
        ("2601-3", "0.81", "mmol/L", "magnesium"),  # Magnesium [Moles/volume] in Serum or Plasma
        ("777-3", "231", "10*9/L", "platelets"),  # Platelets [#/volume] in Blood by Automated count
        ("9318-7", "45", "mg/g", "albumin-creatinine-ratio"),  # Albumin/Creatinine [Mass Ratio]
        ("14959-1", "45", "mg/g", "albumin-creatinine-ratio"),  # Microalbumin/Creatinine, the same
        ("14749-6", "5.4", "mmol/L", "glucose"),  # Glucose [Moles/volume] in Serum or Plasma
        ("2345-7", "97", "mg/dL", "glucose"),  # Glucose [Mass/volume] in Serum or Plasma
        ("2524-7", "1.1", "mmol/L", "lactate"),  # Lactate [Moles/volume] in Serum or Plasma
        ("16362-6", "31", "umol/L", "ammonia"),  # Ammonia [Moles/volume] in Plasma
        ("2692-2", "288", "mosm/kg", "osmolality"),  # Osmolality of Serum or Plasma
        ("2955-3", "40", "mmol/L", "urine-sodium"),  # Sodium in Urine
        ("2828-2", "35", "mmol/L", "urine-potassium"),  # Potassium in Urine
        ("2078-4", "60", "mmol/L", "urine-chloride"),  # Chloride in Urine
    ],
)
def test_each_code_is_its_own_concept(
    tmp_path: Path, code: str, value: str, unit: str, concept: str
) -> None:
    path = tmp_path / "gas.json"
    path.write_text(bundle(PATIENT, result(code, value, unit)), encoding="utf-8")
    found = read_fhir(path)
    (fact,) = found.facts
    assert (fact.concept, str(fact.value), fact.unit, fact.questions) == (concept, value, unit, ())
