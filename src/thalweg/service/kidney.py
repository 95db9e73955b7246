"""Kidney function from values on the line or from a case."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, cast, get_args

from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.record.case import Chosen, Sex
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin
from thalweg.record.plausible import questions_about
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date
    from pathlib import Path

    from thalweg.record.finding import Finding

__all__ = ["fact_from_line", "kidney_of_case", "kidney_of_values"]

_LINE = Origin("command line")


def fact_from_line(key: str, text: str, at: date, *, option: str = "") -> Fact:
    """Return the fact that a value typed with its unit states.

    Parameters
    ----------
    key : str
        Concept; ``age`` alone may be a bare number, of years.
    text : str
        Such as ``1.2mg/dL``.
    at : date
        The day it is taken to be true of.
    option : str
        Where it was typed, for the error; the concept's own name where empty.

    Raises
    ------
    InputError
        If the number, its unit or its size cannot be.
    """
    where = option or f"--{key}"
    row = concept(key)
    try:
        if key == "age" and text.strip().replace(".", "", 1).isdigit():
            value, unit = Decimal(text.strip()), "a"
        else:
            value, unit = parse_quantity(text)
        questions = questions_about(row, value, unit)
    except InvalidOperation as error:
        raise InputError(f"{text!r} is not a number", where=where) from error
    except InputError as refused:
        raise refused.at(where) from None
    return Fact(key, value, unit, at, _LINE, questions=questions)


def _as_json(findings: tuple[Finding, ...]) -> list[dict[str, Any]]:
    # `shown` is for the face that prints: a number with unit, interval and rounding as on paper.
    return [{**finding.to_json(cite), "shown": finding.shown()} for finding in findings]


OPTIONS = {"cystatin-c": "--cystatin", "albumin-creatinine-ratio": "--albumin-ratio"}
"""Options that are shorter than their concept's name."""


def _typed(given: Mapping[str, str], flags: Mapping[str, bool], at: date) -> dict[str, Fact]:
    """Return the facts typed on the line by concept; a flag not set says nothing."""
    values = {
        key: fact_from_line(key, text, at, option=OPTIONS.get(key, ""))
        for key, text in given.items()
    }
    said = {key: Fact(key, True, None, at, _LINE) for key, on in flags.items() if on}
    return {**values, **said}


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
    facts = _typed(given, flags, at)
    chosen = {key: Chosen(fact) for key, fact in facts.items() if key != "age"}
    inputs = KidneyInputs(age=facts["age"], sex=cast("Sex", sex), at=at)
    named: dict[str, Any] = {key.replace("-", "_"): one for key, one in chosen.items()}
    inputs = replace(inputs, **named)
    return _as_json(kidney_findings(inputs))


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
    case = replace(case, facts=(*case.facts, *_typed(given, flags, at).values()))
    return _as_json(kidney_findings(KidneyInputs.from_case(case, at)))
