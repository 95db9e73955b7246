"""Facts typed on the command line, and findings in the shape that every face prints."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError, UnitError
from thalweg.evidence.bibliography import cite
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin
from thalweg.record.plausible import questions_about
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from thalweg.record.finding import Finding

__all__ = ["LINE", "as_json", "fact_from_line", "typed_facts"]

BARE = {
    "age": "50",
    "ph": "7.35",
    "ph-arterial": "7.40",
    "ph-capillary": "7.38",
    "ph-venous": "7.35",
}
"""Concepts that may be typed without a unit, with an example: an age is in years, and pH has no
other unit."""

LINE = Origin("command line")
"""Where a typed fact came from."""


def fact_from_line(key: str, text: str, at: date, *, option: str = "") -> Fact:
    """Return the fact that a value typed with its unit states.

    Parameters
    ----------
    key : str
        Concept; an age (in years) and a pH may be bare numbers.
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
        if key in BARE and text.strip().replace(".", "", 1).isdigit():
            value, unit = Decimal(text.strip()), row.unit or ""
        else:
            value, unit = parse_quantity(text)
        questions = questions_about(row, value, unit)
    except UnitError as refused:
        if key not in BARE or any(letter.isdigit() for letter in text):
            raise refused.at(where) from None
        raise InputError(
            f"{text!r} is not a number", where=where, mend=f"write it like {BARE[key]}"
        ) from None
    except InvalidOperation as error:
        raise InputError(f"{text!r} is not a number", where=where) from error
    except InputError as refused:
        raise refused.at(where) from None
    return Fact(key, value, unit, at, LINE, questions=questions)


def as_json(findings: Iterable[Finding]) -> list[dict[str, Any]]:
    """Return findings as JSON has them, with ``shown``: as paper prints each."""
    return [{**finding.to_json(cite), "shown": finding.shown()} for finding in findings]


def typed_facts(
    given: Mapping[str, str],
    flags: Mapping[str, bool],
    at: date,
    *,
    options: Mapping[str, str] | None = None,
) -> dict[str, Fact]:
    """Return the facts typed on the line by concept.

    Parameters
    ----------
    given : mapping
        Concept key to typed value with unit.
    flags : mapping
        Yes-no concepts; False means that nobody said.
    at : date
        The day they are taken to be true of.
    options : mapping, optional
        Options that are shorter than their concept's name, for errors.

    Raises
    ------
    InputError
        If a number, its unit or its size cannot be.
    """
    names = options or {}
    values = {
        key: fact_from_line(key, text, at, option=names.get(key, "")) for key, text in given.items()
    }
    said = {key: Fact(key, True, None, at, LINE) for key, on in flags.items() if on}
    return {**values, **said}
