"""Write facts as a FHIR R4 collection Bundle."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

import msgspec

from thalweg.exchange.fhir.model import LOINC, UCUM
from thalweg.exchange.fhir.observation import TAKEN
from thalweg.record.concept import concept
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from thalweg.record.case import Person
    from thalweg.record.concept import LaboratoryCode
    from thalweg.record.fact import Fact

__all__ = ["write_bundle"]

CATEGORIES: Final = "http://terminology.hl7.org/CodeSystem/observation-category"
SNOMED: Final = "http://snomed.info/sct"
SPECIMEN_CODES: Final = {"body fluid": "309051001"}
MEASURED_ON_THE_BODY: Final = ("weight", "height")
NAMESPACE: Final = uuid.UUID("5d0f4c7e-64a5-4b0e-9b3e-1f6f6f6c1a10")
"""Of our resource ids, which are the same for the same content."""


def write_bundle(path: Path, person: Person, facts: Iterable[Fact]) -> tuple[Fact, ...]:
    """Write a person and the facts that LOINC has a code for.

    Parameters
    ----------
    path : Path
        Replaced if it exists.
    person : Person
        Becomes the Patient.
    facts : iterable of Fact
        Every quantity becomes an Observation with the digits and the unit it was recorded with.

    Returns
    -------
    tuple of Fact
        Those that have no code for their unit and were left out.
    """
    patient_url = _url("Patient", person.reference)
    entries: list[dict[str, Any]] = [{"fullUrl": patient_url, "resource": _patient(person)}]
    left_out = []
    for fact in facts:
        code = _code(fact)
        if code is None:
            left_out.append(fact)
            continue
        observation = _observation(fact, code, patient_url)
        if code.specimen:
            url = _url("Specimen", person.reference, fact.id)
            entries.append({"fullUrl": url, "resource": _specimen(code.specimen, patient_url)})
            observation["specimen"] = {"reference": url}
        url = _url("Observation", person.reference, fact.id)
        entries.append({"fullUrl": url, "resource": observation})
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    encoder = msgspec.json.Encoder(decimal_format="number")
    path.write_bytes(msgspec.json.format(encoder.encode(bundle), indent=2) + b"\n")
    return tuple(left_out)


def _url(*parts: str) -> str:
    return f"urn:uuid:{uuid.uuid5(NAMESPACE, '|'.join(parts))}"


def _code(fact: Fact) -> LaboratoryCode | None:
    """Return the first code of the concept that reports in the fact's unit."""
    codes = concept(fact.concept).codes
    return next((code for code in codes if fact.unit in code.units), None)


def _patient(person: Person) -> dict[str, Any]:
    return {
        "resourceType": "Patient",
        "identifier": [{"value": person.reference}],
        "name": [{"text": person.name}],
        "gender": person.sex,
        "birthDate": person.born.isoformat(),
    }


def _specimen(kind: str, patient_url: str) -> dict[str, Any]:
    return {
        "resourceType": "Specimen",
        "type": {"coding": [{"system": SNOMED, "code": SPECIMEN_CODES[kind]}], "text": kind},
        "subject": {"reference": patient_url},
    }


def _observation(fact: Fact, code: LaboratoryCode, patient_url: str) -> dict[str, Any]:
    assert isinstance(fact.value, Decimal)  # noqa: S101 - only quantities have a code with units
    status = next((name for name, doubt in TAKEN.items() if doubt in fact.questions), "final")
    category = "vital-signs" if fact.concept in MEASURED_ON_THE_BODY else "laboratory"

    return {
        "resourceType": "Observation",
        "status": status,
        "category": [{"coding": [{"system": CATEGORIES, "code": category}]}],
        "code": {
            "coding": [{"system": LOINC, "code": code.code}],
            "text": concept(fact.concept).name,
        },
        "subject": {"reference": patient_url},
        "effectiveDateTime": fact.at.isoformat(),
        "valueQuantity": {
            "value": fact.value,
            "unit": printed(fact.unit or ""),
            "system": UCUM,
            "code": fact.unit,
        },
    }
