"""One FHIR Observation as facts, or as a sentence saying why it is none."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.fhir.model import LOINC, UCUM
from thalweg.exchange.fhir.specimen import specimen_questions
from thalweg.exchange.reading import Reading, moment, quantity_fact
from thalweg.record.concept import concept_of_code
from thalweg.record.fact import Origin
from thalweg.record.units import parse_unit, printed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.exchange.fhir.model import CodeableConcept, Observation, Part, Quantity, Specimen
    from thalweg.record.concept import Concept, LaboratoryCode
    from thalweg.record.fact import Moment

__all__ = ["Observations", "full_reference"]

TAKEN: Final = {
    "final": "",
    "amended": "",
    "corrected": "",
    "preliminary": "The result is preliminary.",
    "unknown": "The sender does not know whether the result is final.",
}
"""Observation.status and what to question (hl7.org/fhir/R4/valueset-observation-status.html)."""

LEFT_OUT: Final = {
    "entered-in-error": "was entered in error",
    "cancelled": "was cancelled",
    "registered": "is registered without a result yet",
}
_TO_THE_DAY: Final = re.compile(r"\d{4}(-\d{2})?", re.ASCII)
Found = tuple["Concept", "LaboratoryCode"]


@dataclass(slots=True)
class Observations:
    """Takes observations one by one.

    Parameters
    ----------
    file : str
        Name of the file, for the facts' origin.
    specimens : mapping of str to Specimen
        By every reference under which the bundle's results may name them.
    reading : Reading
        Takes facts and sentences.
    unknown : Counter
        Codes that are not recorded, with the number of results under each.
    """

    file: str
    specimens: Mapping[str, Specimen]
    reading: Reading
    unknown: Counter[str] = field(default_factory=Counter)

    def take(self, observation: Observation, place: str) -> None:
        """Put the results of one Observation into the reading.

        Raises
        ------
        InputError
            If it holds a result that ought to be taken in but cannot be used.
        """
        parts: tuple[Part, ...] = (observation, *observation.component)
        known = []
        for part in parts:
            found = _concepts(part.code)
            if found:
                known.append((part, found))
            elif part.value_quantity or part.has_other_value or part.data_absent_reason:
                self.unknown[_shown(part.code)] += 1
        for part, found in known:
            self._take_part(observation, part, found, place)

    def _take_part(
        self, observation: Observation, part: Part, found: list[Found], place: str
    ) -> None:
        row = found[0][0]
        if any(other.key != row.key for other, _ in found):
            raise InputError(
                f"one result is coded as {' and as '.join(other.name for other, _ in found)}",
                mend="have the sender correct its codes",
            )
        why_not = _why_not(observation, part)
        if why_not:
            self.reading.not_taken.append(f"{self.file} {place}: {row.name} {why_not}.")
        if why_not or part.value_quantity is None or part.value_quantity.value is None:
            return
        quantity = part.value_quantity
        unit, code = _unit(quantity, found)
        named, specimen = observation.specimen is not None, None
        if observation.specimen:
            specimen = self.specimens.get(full_reference(observation.specimen.reference, place))
        doubts = [
            TAKEN[observation.status],
            *specimen_questions(row, code, specimen, named=named),
        ]
        assert quantity.value is not None  # noqa: S101 - returned above
        self.reading.facts.append(
            quantity_fact(
                row.key,
                quantity.value,
                unit,
                _when(observation),
                Origin("FHIR bundle", f"{self.file} {place}"),
                questions=tuple(doubt for doubt in doubts if doubt),
            )
        )


def full_reference(reference: str, place: str) -> str:
    """Return the name that a reference made at `place` goes by, without its version."""
    bare = reference.partition("/_history/")[0]
    return f"{place}{bare}" if bare.startswith("#") else bare


def _concepts(code: CodeableConcept) -> list[Found]:
    """Return what the LOINC codes among the codings stand for, where it is recorded."""
    found = (concept_of_code(coding.code) for coding in code.coding if coding.system == LOINC)
    return [each for each in found if each]


def _shown(code: CodeableConcept) -> str:
    """Return a code as a sentence names it, LOINC first; never the sender's free text."""
    codings = sorted(code.coding, key=lambda coding: coding.system != LOINC)
    if not codings:
        return "a result without a code"
    first = codings[0]
    return f"LOINC {first.code}" if first.system == LOINC else f"the local code {first.code!r}"


def _why_not(observation: Observation, part: Part) -> str:
    """Return a clause saying why a result of ours is left out, or an empty one."""
    status, quantity = observation.status, part.value_quantity
    if status in LEFT_OUT:
        return f"{LEFT_OUT[status]} and was not taken in"
    if status not in TAKEN:
        raise InputError(f"the status {status!r} is not one of FHIR R4", mend="correct it")
    if observation.modifier_extension or part.modifier_extension or observation.implicit_rules:
        return "carries a modifying extension that is not understood and was not taken in"
    if quantity is not None and quantity.comparator:
        value = "" if quantity.value is None else f" {quantity.value} {quantity.code}"
        return f"is a limit ({quantity.comparator}{value}), not a value, and was not taken in"
    if quantity is None and part.has_other_value:
        return "is not given as a number with a unit and was not taken in"
    is_panel = part is observation and bool(observation.component)
    if (quantity is None or quantity.value is None) and not is_panel:
        return "has no value" + (", for a reason the sender gives" * bool(part.data_absent_reason))
    return ""


def _unit(quantity: Quantity, found: list[Found]) -> tuple[str, LaboratoryCode]:
    """Return the UCUM code, and the LOINC code that reports in it."""
    if quantity.system != UCUM:
        raise InputError(
            "the unit is not coded in UCUM (valueQuantity.system)",
            mend=f"the sender must give system {UCUM} and a code",
        )
    unit = parse_unit(quantity.code)
    for _, code in found:
        if unit in code.units:
            return unit, code
    codes = " or ".join(code.code for _, code in found)
    units = " or ".join(printed(known) for _, code in found for known in code.units)
    raise InputError(
        f"LOINC {codes} does not report in {printed(unit) or unit}",
        mend=f"it reports in {units}: have the sender correct code or unit",
    )


def _when(observation: Observation) -> Moment:
    """Return when the result was true of the person; for a period, its end."""
    period = observation.effective_period
    given = observation.effective_date_time or observation.effective_instant
    if not given and period:
        given = period.end or period.start
    if not given:
        raise InputError(
            "it does not say when it was taken (effectiveDateTime, -Period or -Instant)",
            mend="have the sender give the time of the specimen",
        )
    if _TO_THE_DAY.fullmatch(given):
        raise InputError(
            f"its time {given!r} names no day", mend="have the sender give at least the day"
        )
    return moment(given)
