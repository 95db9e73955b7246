"""The small form in which a score's item says when it counts; spelled as in the catalogue."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, cast, get_args

from thalweg.errors import InputError
from thalweg.record.case import Sex
from thalweg.record.concept import concept
from thalweg.record.units import parse_unit, printed

__all__ = [
    "DERIVED",
    "AllOf",
    "AnyOf",
    "Bound",
    "Condition",
    "OfSex",
    "OneOf",
    "YesNo",
    "leaves",
    "parse_condition",
]

DERIVED: Mapping[str, str] = {
    "age": "a",
    "bmi": "kg/m2",
    "gfr": "mL/min/{1.73_m2}",
    "weight-loss-share-1-month": "%",
    "weight-loss-share-2-months": "%",
    "weight-loss-share-3-months": "%",
    "weight-loss-share-6-months": "%",
}
"""Quantities that are computed and not recorded, with their units; age in completed years."""


@dataclass(frozen=True, slots=True)
class YesNo:
    """``{ fact = "heart-failure", is = true }``: a yes-no concept has this value."""

    name: str
    expected: bool


@dataclass(frozen=True, slots=True)
class OneOf:
    """``{ choice = "asa-class", one_of = ["III"] }``: a choice is among these words."""

    name: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bound:
    """``{ quantity = "gfr", at_least = 30, below = 45, unit = … }``: a quantity keeps its bounds.

    Parameters
    ----------
    name : str
        A concept of quantity, or a key of `DERIVED`.
    low, high : float or None
        In `unit`; None where there is no such bound.
    low_counts, high_counts : bool
        Whether the bound itself is inside: ``at_least`` and ``at_most`` against ``above`` and
        ``below``.
    unit : str
        UCUM code.
    """

    name: str
    low: float | None
    high: float | None
    low_counts: bool
    high_counts: bool
    unit: str

    def holds(self, value: float) -> bool:
        """Return whether a value in `unit` keeps the bounds."""
        above = self.low is None or value > self.low or (self.low_counts and value == self.low)
        below = self.high is None or value < self.high or (self.high_counts and value == self.high)
        return above and below


@dataclass(frozen=True, slots=True)
class OfSex:
    """``{ sex = "female" }``."""

    sex: Sex


@dataclass(frozen=True, slots=True)
class AllOf:
    """``{ all_of = [ … ] }``: every part must hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """``{ any_of = [ … ] }``: at least one part must hold."""

    parts: tuple[Condition, ...]


Condition = YesNo | OneOf | Bound | OfSex | AllOf | AnyOf

_LOW = {"at_least": True, "above": False}
_HIGH = {"at_most": True, "below": False}
_ALLOWED: Mapping[str, frozenset[str]] = {
    "fact": frozenset({"is"}),
    "choice": frozenset({"one_of"}),
    "quantity": frozenset({*_LOW, *_HIGH, "unit"}),
    "sex": frozenset(),
    "all_of": frozenset(),
    "any_of": frozenset(),
}


def parse_condition(row: Any) -> Condition:
    """Return the condition that a table writes down.

    Parameters
    ----------
    row : mapping
        With exactly one of ``fact``, ``choice``, ``quantity``, ``sex``, ``all_of``, ``any_of``.

    Raises
    ------
    InputError
        If the table is of no such form, or names a concept, word or unit that does not exist.
    """
    if not isinstance(row, Mapping):
        raise InputError(f"{row!r} is not a condition", mend='write { fact = "…", is = true }')
    heads = [key for key in _ALLOWED if key in row]
    if len(heads) != 1:
        raise InputError(
            f"a condition needs exactly one of {', '.join(_ALLOWED)} and has "
            f"{' and '.join(heads) or 'none'}",
            mend="combine several with all_of or any_of",
        )
    unknown = set(row) - _ALLOWED[heads[0]] - {heads[0]}
    if unknown:
        raise InputError(
            f"{', '.join(sorted(unknown))} does not go with {heads[0]!r}",
            mend=f"it takes {', '.join(sorted(_ALLOWED[heads[0]])) or 'nothing else'}",
        )
    return _FORMS[heads[0]](row)


def _parts(rows: Any) -> tuple[Condition, ...]:
    if not isinstance(rows, list) or not rows:
        raise InputError("a combination has no parts", mend="list at least one condition")
    return tuple(parse_condition(part) for part in rows)


def _known(key: Any, kind: str) -> str:
    row = concept(str(key))
    if row.kind != kind:
        raise InputError(f"{key!r} is a {row.kind}, not a {kind}", mend="use the form for its kind")
    return row.key


def _yes_no(row: Mapping[str, Any]) -> YesNo:
    if not isinstance(row.get("is"), bool):
        raise InputError(f"{row['fact']!r} does not say what it must be", mend="add is = true")
    return YesNo(_known(row["fact"], "yes-no"), row["is"])


def _one_of(row: Mapping[str, Any]) -> OneOf:
    key = _known(row["choice"], "choice")
    words = tuple(row.get("one_of", ()))
    strange = [word for word in words if word not in concept(key).choices]
    if strange or not words:
        raise InputError(
            f"{key!r} cannot be {', '.join(map(repr, strange)) or 'nothing'}",
            mend=f"choose from {', '.join(concept(key).choices)}",
        )
    return OneOf(key, words)


def _edge(row: Mapping[str, Any], names: Mapping[str, bool]) -> tuple[float | None, bool]:
    given = [name for name in names if name in row]
    if not given:
        return None, True
    value = row[given[0]]
    if len(given) > 1 or isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(
            f"{' and '.join(given)} do not make one bound", mend=f"write {given[0]} = 30"
        )
    return float(value), names[given[0]]


def _bound(row: Mapping[str, Any]) -> Bound:
    name, unit = str(row["quantity"]), parse_unit(str(row.get("unit", "")))
    units = (DERIVED[name],) if name in DERIVED else concept(_known(name, "quantity")).units
    if unit not in units:
        raise InputError(
            f"{name!r} cannot be in {printed(unit) or unit}", mend=f"use {' or '.join(units)}"
        )
    (low, low_counts), (high, high_counts) = _edge(row, _LOW), _edge(row, _HIGH)
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        raise InputError(f"{name!r} has no bounds that a value could keep", mend="correct them")
    return Bound(name, low, high, low_counts, high_counts, unit)


def _of_sex(row: Mapping[str, Any]) -> OfSex:
    if row["sex"] not in get_args(Sex):
        raise InputError(f"sex = {row['sex']!r}", mend='write "female" or "male"')
    return OfSex(cast("Sex", row["sex"]))


_FORMS: Mapping[str, Callable[[Mapping[str, Any]], Condition]] = {
    "fact": _yes_no,
    "choice": _one_of,
    "quantity": _bound,
    "sex": _of_sex,
    "all_of": lambda row: AllOf(_parts(row["all_of"])),
    "any_of": lambda row: AnyOf(_parts(row["any_of"])),
}


def leaves(condition: Condition) -> Iterator[YesNo | OneOf | Bound]:
    """Yield every part of a condition that asks a fact or a computed quantity."""
    match condition:
        case AllOf() | AnyOf():
            for part in condition.parts:
                yield from leaves(part)
        case YesNo() | OneOf() | Bound():
            yield condition
        case OfSex():
            return
