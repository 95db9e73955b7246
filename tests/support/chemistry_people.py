"""Results of an invented person for acid-base tests, written as the line writes them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.assess.chemistry.report import ChemistryInputs, chemistry_findings
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, Moment, Origin
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.record.finding import Finding

DAY = date(2026, 3, 2)
HERE = Origin("by hand")
PERSON = Person("SU-1", "Nobody", date(1960, 1, 1), "female")
URINE: dict[str, str | bool] = {
    "urine-sodium": "40mmol/L",
    "urine-potassium": "30mmol/L",
    "urine-chloride": "90mmol/L",
}
PH = {"ph-arterial", "ph-capillary", "ph-venous", "ph"}


def chem_fact(key: str, value: str | bool, at: Moment = DAY) -> Fact:
    """Return a fact from what a test writes, such as ``"137mmol/L"``."""
    if isinstance(value, bool) or (not value[0].isdigit() and value[0] != "-"):
        return Fact(key, value, None, at, HERE)
    number, unit = (Decimal(value), "[pH]") if key in PH else parse_quantity(value)
    return Fact(key, number, unit, at, HERE)


def report(given: Mapping[str, str | bool], *more: Fact, at: date = DAY) -> dict[str, Finding]:
    """Return the findings by name, of a case with the given facts of one day and some more."""
    facts = (*(chem_fact(key, value) for key, value in given.items()), *more)
    inputs = ChemistryInputs.from_case(Case("c", PERSON, facts), at)
    return {finding.name: finding for finding in chemistry_findings(inputs)}


def ions(sodium: float, chloride: float, base: float, albumin: float | None = 40) -> dict[str, Any]:
    """Return the three ions of the gap, and albumin where it is given."""
    found = {
        "sodium": f"{sodium}mmol/L",
        "chloride": f"{chloride}mmol/L",
        "bicarbonate": f"{base}mmol/L",
    }
    return found if albumin is None else found | {"albumin": f"{albumin}g/L"}


def arterial(ph: float, pco2: float) -> dict[str, str]:
    """Return an arterial blood gas."""
    return {"ph-arterial": f"{ph}", "pco2-arterial": f"{pco2}mmHg"}


def told(finding: Finding) -> str:
    """Return all cautions as one text."""
    return " ".join(finding.all_cautions)
