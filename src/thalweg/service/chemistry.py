"""Acid-base and electrolytes from values on the line or from a case."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from thalweg.assess.chemistry.basis import Sample
from thalweg.assess.chemistry.report import ChemistryInputs, chemistry_findings, chemistry_rules
from thalweg.errors import InputError
from thalweg.record.concept import concept
from thalweg.record.fact import Fact
from thalweg.service.protocol import read_protocol
from thalweg.service.typed import LINE, as_json, typed_facts

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date
    from pathlib import Path

    from thalweg.record.case import Case
    from thalweg.record.finding import Finding
    from thalweg.service.protocol import Protocol

__all__ = ["chemistry_of", "chemistry_of_case", "chemistry_of_values"]

OPTIONS = {
    "ionised-calcium": "--ionised-calcium",
    **{f"{key}-{end}": f"--{key}" for key in ("ph", "pco2") for end in ("arterial", "venous")},
}
"""Options that are shorter than their concept's name."""
GAS = ("ph", "pco2")


def chemistry_of(
    case: Case, findings: Iterable[Finding], *, at: date, protocol: Protocol
) -> tuple[Finding, ...]:
    """Return the chemistry findings of a case already read, beside its kidney findings."""
    gfr = next((one for one in findings if one.name == "gfr-to-rely-on"), None)
    inputs = ChemistryInputs.from_case(case, at, gfr)
    return chemistry_findings(inputs, chemistry_rules(protocol.table("chemistry")))


def _typed(
    given: Mapping[str, str],
    flags: Mapping[str, bool],
    *,
    sample: str | None,
    segment: str | None,
    at: date,
) -> list[Fact]:
    """Return the facts typed on the line; the kind of sample names pH and carbon dioxide."""
    if sample is not None and sample not in get_args(Sample):
        raise InputError(
            f"{sample!r} is no kind of blood sample",
            where="--sample",
            mend="write arterial, capillary or venous, or leave it out where it is not known",
        )
    ending = "" if sample in (None, "not said") else f"-{sample}"
    named = {f"{key}{ending}" if key in GAS else key: text for key, text in given.items()}
    facts = list(typed_facts(named, flags, at, options=OPTIONS).values())
    if segment is not None:
        choices = concept("bowel-segment").choices
        if segment not in choices:
            raise InputError(
                f"{segment!r} is not a bowel segment",
                where="--segment",
                mend=f"choose from {', '.join(choices)}",
            )
        facts.append(Fact("bowel-segment", segment, None, at, LINE))
    return facts


def chemistry_of_values(
    given: Mapping[str, str],
    flags: Mapping[str, bool],
    *,
    sample: str | None = None,
    segment: str | None = None,
    protocol: Path | None = None,
    at: date,
) -> list[dict[str, Any]]:
    """Return the chemistry findings for values typed on the line, as JSON has them.

    Parameters
    ----------
    given : mapping
        Concept key to typed value with unit; ``ph`` and ``pco2`` are of the `sample`.
    flags : mapping
        Yes-no concepts; False means that nobody said.
    sample : str, optional
        ``"arterial"`` or ``"venous"``.
    segment : str, optional
        Bowel segment that urine touches.
    protocol : Path, optional
        Folder of the unit's own rules.
    at : date
        The day of the values.

    Raises
    ------
    InputError
        If nothing was measured, or a value cannot be used.
    """
    rules = chemistry_rules(read_protocol(protocol).table("chemistry"))
    facts = _typed(given, flags, sample=sample, segment=segment, at=at)
    if not given:
        raise InputError("there is no result to work on", mend="give --bicarbonate 21mmol/L")
    return as_json(chemistry_findings(ChemistryInputs.from_facts(facts, at), rules))


def chemistry_of_case(
    case_id: str,
    given: Mapping[str, str],
    flags: Mapping[str, bool],
    *,
    sample: str | None = None,
    segment: str | None = None,
    protocol: Path | None = None,
    home: Path | None,
    at: date,
) -> list[dict[str, Any]]:
    """Return the chemistry findings of a case; what is typed is added, not recorded.

    Raises
    ------
    InputError
        If there is no such case, or a value cannot be used.
    """
    from thalweg.assess.kidney.inputs import KidneyInputs  # noqa: PLC0415 - not for the line
    from thalweg.assess.kidney.report import kidney_findings  # noqa: PLC0415 - likewise
    from thalweg.service.keeping import open_store  # noqa: PLC0415 - likewise
    from thalweg.service.workup import require_born  # noqa: PLC0415 - likewise

    rules = read_protocol(protocol)
    added = _typed(given, flags, sample=sample, segment=segment, at=at)
    with open_store(home) as store:
        case = store.get_case(case_id)
    require_born(case, at)
    case = replace(case, facts=(*case.facts, *added))
    kidney = kidney_findings(KidneyInputs.from_case(case, at))
    return as_json(chemistry_of(case, kidney, at=at, protocol=rules))
