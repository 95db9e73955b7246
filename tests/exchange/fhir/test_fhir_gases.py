"""Blood gases and total CO2 keep apart what their LOINC codes keep apart (loinc.org names)."""

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
        ("2955-3", "40", "mmol/L", "urine-sodium"),  # Sodium in Urine
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
