"""Kidney function from values on the line or from a case."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast, get_args

from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.errors import InputError
from thalweg.record.case import Chosen, Sex
from thalweg.service.typed import as_json, typed_facts

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date
    from pathlib import Path

__all__ = ["kidney_of_case", "kidney_of_values"]

OPTIONS = {"cystatin-c": "--cystatin", "albumin-creatinine-ratio": "--albumin-ratio"}
"""Options that are shorter than their concept's name."""


def kidney_of_values(
    given: Mapping[str, str], *, sex: str | None, flags: Mapping[str, bool], at: date
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
    return as_json(kidney_findings(inputs))


def kidney_of_case(
    case_id: str,
    given: Mapping[str, str],
    *,
    sex: str | None,
    flags: Mapping[str, bool],
    home: Path | None,
    at: date,
) -> list[dict[str, Any]]:
    """Return the kidney findings of a case; what is typed on the line is added, not recorded.

    Raises
    ------
    InputError
        If there is no such case, age or sex is given beside it, or a value cannot be used.
    """
    from thalweg.service.keeping import open_store  # noqa: PLC0415 - not for values on the line
    from thalweg.service.workup import require_born  # noqa: PLC0415 - likewise

    for option, own, typed in (("--age", "birth date", given.get("age")), ("--sex", "sex", sex)):
        if typed is not None:
            raise InputError(
                f"a case has its own {own}", where=option, mend=f"leave {option} out with an ID"
            )
    with open_store(home) as store:
        case = store.get_case(case_id)
    require_born(case, at)
    added = typed_facts(given, flags, at, options=OPTIONS)
    case = replace(case, facts=(*case.facts, *added.values()))
    return as_json(kidney_findings(KidneyInputs.from_case(case, at)))
