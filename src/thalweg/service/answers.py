"""Answers typed on the line: values with units, words of a choice, yes and no by name."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.evidence.conditions.form import computed
from thalweg.record.concept import concept
from thalweg.record.fact import Fact
from thalweg.service.typed import LINE, fact_from_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

__all__ = ["Typed", "answered"]

OWN_OPTIONS = {
    "creatinine": "--creatinine",
    "haemoglobin": "--haemoglobin",
    "albumin": "--albumin",
    "oxygen-saturation": "--spo2",
    "height": "--height",
    "weight": "--weight",
    "operation-hours": "--hours",
    "planned-diversion": "--diversion",
}
"""Concepts that have an option of their own beside ``--value``."""
# A computed quantity cannot be typed; these say what to type instead.
INSTEAD = {
    "bmi": "height and weight",
    "gfr": "creatinine, cystatin-c or measured-gfr",
    "age": "--age",
}


@dataclass(frozen=True)
class Typed:
    """What was typed on the line.

    Parameters
    ----------
    values : mapping
        Text by concept, from options of their own and ``--value``.
    has, lacks : tuple of str
        Yes-no concepts said to be there, and not to be.
    age, sex : str or None
    """

    values: Mapping[str, str]
    has: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    age: str | None = None
    sex: str | None = None


def _typed_fact(key: str, text: str, at: date) -> Fact:
    try:
        row = concept(key)
    except InputError as error:
        raise error.at("--value") from None
    where = OWN_OPTIONS.get(key, f"--value {key}")
    if row.kind == "quantity":
        return fact_from_line(key, text, at, option=where)
    if row.kind == "choice":
        if text not in row.choices:
            near = get_close_matches(text, row.choices, n=1, cutoff=0.4) or row.choices
            raise InputError(
                f"{text!r} is not one of its answers",
                where=where,
                mend=f"choose {' or '.join(map(repr, near))}",
            )
        return Fact(key, text, None, at, LINE)
    raise InputError(
        f"is {'answered yes or no' if row.kind == 'yes-no' else 'no value to type'}",
        where=where,
        mend=f"use --has {key} or --lacks {key}" if row.kind == "yes-no" else "leave it out",
    )


def _yes_no(keys: Iterable[str], value: bool, at: date) -> dict[str, Fact]:
    option = "--has" if value else "--lacks"
    found = {}
    for key in keys:
        try:
            row = concept(key)
        except InputError as error:
            raise error.at(option) from None
        if row.kind != "yes-no":
            raise InputError(
                f"{key!r} is not answered yes or no", where=option, mend=f"use --value {key}=…"
            )
        found[key] = Fact(key, value, None, at, LINE)
    return found


def answered(typed: Typed, at: date) -> dict[str, Fact]:
    """Return the facts typed on the line, by concept.

    Parameters
    ----------
    typed : Typed
    at : date
        The day they are taken to be true of.

    Raises
    ------
    InputError
        If a value, word or name cannot be, or one thing is said to be there and not to be.
    """
    for key in typed.values:
        if key in computed():
            raise InputError(
                f"{key!r} is computed here",
                where="--value",
                mend=f"give {INSTEAD.get(key, 'weight and the weight lost')}",
            )
    both = sorted(set(typed.has) & set(typed.lacks))
    if both:
        raise InputError(
            f"{both[0]} is said to be there and not to be", mend="leave out --has or --lacks"
        )
    return {
        **{key: _typed_fact(key, text, at) for key, text in typed.values.items()},
        **_yes_no(typed.has, True, at),
        **_yes_no(typed.lacks, False, at),
    }
