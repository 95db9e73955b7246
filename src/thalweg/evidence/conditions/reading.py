"""Read a condition from the form in which data files write it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.conditions.form import (
    AllOf,
    AnyOf,
    Bound,
    Computed,
    Condition,
    OfSex,
    OneOf,
    YesNo,
    computed,
)
from thalweg.record.case import Sex
from thalweg.record.concept import concept
from thalweg.record.units import parse_unit, printed

__all__ = ["FORMS", "Form", "known_keys", "parse"]

_LOW = {"at_least": True, "above": False}
_HIGH = {"at_most": True, "below": False}
_BOUND = frozenset({*_LOW, *_HIGH, "unit", "max_age_days"})


@dataclass(frozen=True, slots=True)
class Form:
    """One form of condition: which further keys go with its own, and how it is read."""

    read: Callable[[Mapping[str, Any]], Condition]
    keys: frozenset[str] = frozenset()


def parse(row: Any, own: Mapping[str, Form] | None = None) -> Condition:
    """Return the condition that a table writes down.

    Parameters
    ----------
    row : mapping
        With exactly one of the keys ``fact``, ``choice``, ``quantity``, ``finding``, ``sex``,
        ``all_of``, ``any_of`` or those of `own`, and the further keys of that form.
    own : mapping of str to Form, optional
        Forms that one floor alone can judge, by their key.

    Raises
    ------
    InputError
        If the table is of no such form, or names a concept, word or unit that does not exist.
    """
    if not isinstance(row, Mapping):
        raise InputError(f"{row!r} is not a table", mend='write { fact = "…", is = true }')
    own = own or {}
    heads = [key for key in (*FORMS, *_COMBINED, *own) if key in row]
    if len(heads) != 1:
        raise InputError(
            f"a condition needs exactly one of {', '.join((*FORMS, *_COMBINED, *own))} and has "
            f"{' and '.join(heads) or 'none'}",
            mend="combine several with all_of or any_of",
        )
    head = heads[0]
    form = own.get(head) or FORMS.get(head)
    keys = form.keys if form else frozenset[str]()
    unknown = set(row) - keys - {head}
    if unknown:
        raise InputError(
            f"{', '.join(sorted(unknown))} does not go with {head!r}",
            mend=f"it takes {', '.join(sorted(keys)) or 'nothing else'}",
        )
    if form:
        return form.read(row)
    rows = row[head]
    if not isinstance(rows, list) or not rows:
        raise InputError(f"{head!r} has no parts", mend="list at least one condition")
    return _COMBINED[head](tuple(parse(part, own) for part in rows))


def _known(key: Any, kind: str) -> str:
    row = concept(str(key))
    if row.kind != kind:
        raise InputError(f"{key!r} is a {row.kind}, not a {kind}", mend="use the form for its kind")
    return row.key


def known_keys(row: Mapping[str, Any], name: str) -> tuple[str, ...]:
    """Return the concepts that an entry of a table lists, all of which exist."""
    return tuple(concept(key).key for key in row.get(name, ()))


def _age(row: Mapping[str, Any]) -> int | None:
    age = row.get("max_age_days")
    if age is not None and (not isinstance(age, int) or isinstance(age, bool) or age <= 0):
        raise InputError(f"max_age_days = {age!r} is not a number of days", mend="write 90")
    return age


def _yes_no(row: Mapping[str, Any]) -> YesNo:
    if not isinstance(row.get("is"), bool):
        raise InputError(f"{row['fact']!r} does not say what it must be", mend="add is = true")
    return YesNo(_known(row["fact"], "yes-no"), row["is"], _age(row))


def _one_of(row: Mapping[str, Any]) -> OneOf:
    key = _known(row["choice"], "choice")
    words = tuple(row.get("one_of", ()))
    strange = [word for word in words if word not in concept(key).choices]
    if strange or not words:
        raise InputError(
            f"{key!r} cannot be {', '.join(map(repr, strange)) or 'nothing'}",
            mend=f"choose from {', '.join(concept(key).choices)}",
        )
    return OneOf(key, words, _age(row))


def _edge(row: Mapping[str, Any], names: Mapping[str, bool]) -> tuple[float | None, bool]:
    given = [name for name in names if name in row]
    if not given:
        return None, True
    value = row[given[0]]
    if len(given) > 1:
        raise InputError(f"{' and '.join(given)} do not make one bound", mend="keep one of them")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"the bound {value!r} is not a number", mend=f"write {given[0]} = 30")
    return float(value), names[given[0]]


def _bound(row: Mapping[str, Any], name: str, of: Computed | None) -> Bound:
    (low, low_counts), (high, high_counts) = _edge(row, _LOW), _edge(row, _HIGH)
    if low is None and high is None:
        raise InputError(f"{name!r} has no bounds", mend="give at_least, at_most, above or below")
    unit = parse_unit(str(row.get("unit", "")))
    if low is not None and high is not None:
        touching = low_counts and high_counts
        if low > high or (low == high and not touching):
            raise InputError(f"no value lies from {low:g} to {high:g}", mend="correct the bounds")
    return Bound(name, low, high, unit, low_counts, high_counts, _age(row), of)


def _quantity(row: Mapping[str, Any]) -> Bound:
    name = str(row["quantity"])
    of = computed().get(name)
    bound = _bound(row, name if of else _known(name, "quantity"), of)
    units = (of.unit,) if of else concept(name).units
    if bound.unit not in units:
        raise InputError(
            f"{name!r} cannot be in {printed(bound.unit) or bound.unit}",
            mend=f"use {' or '.join(units)}",
        )
    return bound


def _finding(row: Mapping[str, Any]) -> Bound:
    name = str(row["finding"])
    needs, settled_by = known_keys(row, "needs"), known_keys(row, "settled_by")
    if not needs or not settled_by:
        raise InputError(
            f"the finding {name!r} does not say which facts would settle it",
            mend='add needs = ["…"] and settled_by = ["…"]',
        )
    close = row.get("close_share", 0.0)
    if isinstance(close, bool) or not isinstance(close, int | float) or not 0 <= close < 1:
        raise InputError(f"close_share = {close!r} is not a share", mend="write close_share = 0.1")
    of = Computed(str(row.get("called", name)), "", needs, settled_by, float(close))
    return _bound(row, name, of)


def _of_sex(row: Mapping[str, Any]) -> OfSex:
    if row["sex"] not in get_args(Sex):
        raise InputError(f"sex = {row['sex']!r}", mend='write "female" or "male"')
    return OfSex(cast("Sex", row["sex"]))


FORMS: Mapping[str, Form] = {
    "fact": Form(_yes_no, frozenset({"is", "max_age_days"})),
    "choice": Form(_one_of, frozenset({"one_of", "max_age_days"})),
    "quantity": Form(_quantity, _BOUND),
    "finding": Form(_finding, _BOUND | {"called", "needs", "settled_by", "close_share"}),
    "sex": Form(_of_sex),
}
"""The common forms, by the key that heads them."""
_COMBINED: Mapping[str, Callable[[tuple[Condition, ...]], Condition]] = {
    "all_of": AllOf,
    "any_of": AnyOf,
}
