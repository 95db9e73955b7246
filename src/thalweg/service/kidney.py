"""Kidney function from values on the line or from a case."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast, get_args

from thalweg.assess.kidney.course import kidney_course
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.kidney.risk import REGIONS
from thalweg.assess.renogram.rules import RENOGRAM_TABLE, renogram_rules
from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.errors import InputError
from thalweg.record.case import Chosen, Sex
from thalweg.service.protocol import read_protocol
from thalweg.service.typed import as_json, typed_facts

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date
    from pathlib import Path

    from thalweg.assess.kidney.risk import Region

__all__ = ["kidney_of_case", "kidney_of_values"]

OPTIONS = {
    "cystatin-c": "--cystatin",
    "albumin-creatinine-ratio": "--albumin-ratio",
}
"""Options that are shorter than their concept's name."""


def _region(text: str | None) -> Region | None:
    if text is None or text in REGIONS:
        return text
    raise InputError(
        f"{text!r} is not a region", where="--region", mend=f"choose {' or '.join(REGIONS)}"
    )


def kidney_of_values(
    given: Mapping[str, str],
    *,
    sex: str | None,
    flags: Mapping[str, bool],
    at: date,
    region: str | None = None,
    protocol: Path | None = None,
) -> list[dict[str, Any]]:
    """Return the kidney findings for values typed on the line, as JSON has them.

    Parameters
    ----------
    given : mapping
        Concept key to typed value with unit.
    sex : str or None
        As the equations use it.
    flags : mapping
        Yes-no concepts; False means that nobody said.
    at : date
        The day of the values.
    region : str, optional
        Of the risk of kidney failure.
    protocol : Path, optional
        Folder of the unit's own rules.

    Raises
    ------
    InputError
        If age or sex is missing, or a value cannot be used.
    """
    if "age" not in given:
        raise InputError("the age is missing", mend="give --age, in years")
    if sex not in get_args(Sex):
        fault = f"{sex!r} is neither female nor male" if sex else "the sex is missing"
        raise InputError(fault, mend="give --sex female or --sex male, as the equations use it")
    facts = typed_facts(given, flags, at, options=OPTIONS)
    chosen = {key: Chosen(fact) for key, fact in facts.items() if key != "age"}
    inputs = KidneyInputs(age=facts["age"], sex=cast("Sex", sex), at=at)
    named: dict[str, Any] = {key.replace("-", "_"): one for key, one in chosen.items()}
    inputs = replace(inputs, **named)
    rules = kidney_rules(read_protocol(protocol).table(KIDNEY_TABLE))
    return as_json(kidney_findings(inputs, rules, region=_region(region)))


def kidney_of_case(
    case_id: str,
    given: Mapping[str, str],
    *,
    sex: str | None,
    flags: Mapping[str, bool],
    home: Path | None,
    at: date,
    region: str | None = None,
    protocol: Path | None = None,
) -> list[dict[str, Any]]:
    """Return the kidney findings of a case; what is typed on the line is added, not recorded.

    Raises
    ------
    InputError
        If there is no such case, age or sex is given beside it, or a value cannot be used.
    """
    from thalweg.service.keeping import open_store  # noqa: PLC0415 - not for values on the line
    from thalweg.service.renogram_course import (  # noqa: PLC0415 - likewise
        computed_shares,
        worked_renograms,
    )
    from thalweg.service.workup import require_born  # noqa: PLC0415 - likewise

    for option, own, typed in (("--age", "birth date", given.get("age")), ("--sex", "sex", sex)):
        if typed is not None:
            raise InputError(
                f"a case has its own {own}", where=option, mend=f"leave {option} out with an ID"
            )
    theirs = read_protocol(protocol)
    limits = renogram_rules(theirs.table(RENOGRAM_TABLE))
    with open_store(home) as store:
        case = store.get_case(case_id)
        require_born(case, at)
        then = case.known_on(at)
        renograms = worked_renograms(then, store, rules=limits, drawn=False, at=at)
    added = typed_facts(given, flags, at, options=OPTIONS)
    case = replace(case, facts=(*case.facts, *added.values()))
    rules = kidney_rules(theirs.table(KIDNEY_TABLE))
    inputs = KidneyInputs.from_case(case, at, rules)
    found = kidney_findings(inputs, rules, region=_region(region))
    relied = next(one for one in found if one.name == "gfr-to-rely-on")
    course = kidney_course(case, at, relied, rules, computed_shares(renograms))
    return as_json((*found, *course))
