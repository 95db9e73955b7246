"""The narrow part of FHIR R4 that is read, as structs; every other element is passed over.

Decimals are exact: FHIR's trailing zeros carry meaning (hl7.org/fhir/R4/datatypes.html#decimal).
"""

from __future__ import annotations

from decimal import Decimal  # noqa: TC003 - msgspec reads the annotations
from typing import Any, Final

import msgspec

__all__ = [
    "LOINC",
    "UCUM",
    "Bundle",
    "CodeableConcept",
    "Coding",
    "Entry",
    "Head",
    "Observation",
    "Part",
    "Patient",
    "Quantity",
    "Reference",
    "Specimen",
]

LOINC: Final = "http://loinc.org"
UCUM: Final = "http://unitsofmeasure.org"


class Coding(msgspec.Struct, frozen=True):
    """A code in a code system."""

    system: str = ""
    code: str = ""


class CodeableConcept(msgspec.Struct, frozen=True):
    """Several codes for one thing."""

    coding: tuple[Coding, ...] = ()


class Quantity(msgspec.Struct, frozen=True):
    """A number with a coded unit."""

    value: Decimal | None = None
    comparator: str = ""
    system: str = ""
    code: str = ""


class Reference(msgspec.Struct, frozen=True):
    """A pointer to another resource."""

    reference: str = ""


class Period(msgspec.Struct, frozen=True):
    """A span of time."""

    start: str = ""
    end: str = ""


class Part(msgspec.Struct, frozen=True, rename="camel"):
    """What an Observation and a component of one have in common."""

    code: CodeableConcept = CodeableConcept()
    value_quantity: Quantity | None = None
    value_codeable_concept: Any = None
    value_string: Any = None
    value_boolean: Any = None
    value_integer: Any = None
    value_range: Any = None
    value_ratio: Any = None
    value_sampled_data: Any = None
    value_time: Any = None
    value_date_time: Any = None
    value_period: Any = None
    data_absent_reason: Any = None
    modifier_extension: tuple[Any, ...] = ()

    @property
    def has_other_value(self) -> bool:
        """True where the value is there, but is no quantity."""
        others = (
            self.value_codeable_concept,
            self.value_string,
            self.value_boolean,
            self.value_integer,
            self.value_range,
            self.value_ratio,
            self.value_sampled_data,
            self.value_time,
            self.value_date_time,
            self.value_period,
        )
        return any(other is not None for other in others)


class Observation(Part, frozen=True, rename="camel"):
    """A result or a panel of results."""

    status: str = ""
    subject: Reference = Reference()
    effective_date_time: str = ""
    effective_instant: str = ""
    effective_period: Period | None = None
    specimen: Reference | None = None
    component: tuple[Part, ...] = ()
    contained: tuple[msgspec.Raw, ...] = ()
    implicit_rules: str = ""


class Identifier(msgspec.Struct, frozen=True):
    """A number that somebody gave the person."""

    value: str = ""


class Patient(msgspec.Struct, frozen=True, rename="camel"):
    """Whom the results are about."""

    id: str = ""
    identifier: tuple[Identifier, ...] = ()
    gender: str = ""
    birth_date: str = ""


class Specimen(msgspec.Struct, frozen=True):
    """What was measured in."""

    id: str = ""
    type: CodeableConcept = CodeableConcept()


class Head(msgspec.Struct, frozen=True, rename="camel"):
    """What kind of resource it is, and its name inside the bundle."""

    resource_type: str
    id: str = ""


class Entry(msgspec.Struct, frozen=True, rename="camel"):
    """One entry of a bundle."""

    full_url: str = ""
    resource: msgspec.Raw = msgspec.Raw(b"")


class Bundle(msgspec.Struct, frozen=True):
    """A collection of resources; `entry` is decoded one by one."""

    type: str
    entry: tuple[msgspec.Raw, ...] = ()
