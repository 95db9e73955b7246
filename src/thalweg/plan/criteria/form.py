"""Read an expression from the form in which the catalogue writes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, cast, get_args

from thalweg.errors import InputError
from thalweg.plan.criteria.expression import (
    AllOf,
    AnyOf,
    Expression,
    FindingBound,
    OneOf,
    QuantityBound,
    Reaches,
    Side,
    Sites,
    YesNo,
)
from thalweg.record.concept import concept
from thalweg.record.units import parse_unit, printed

__all__ = ["parse"]

_ALLOWED: Mapping[str, frozenset[str]] = {
    "fact": frozenset({"is", "max_age_days"}),
    "choice": frozenset({"one_of", "max_age_days"}),
    "quantity": frozenset({"at_least", "at_most", "unit", "max_age_days"}),
    "finding": frozenset(
        {
            "called",
            "at_least",
            "at_most",
            "unit",
            "needs",
            "settled_by",
            "close_share",
            "max_age_days",
        }
    ),
    "reach": frozenset({"side", "sites", "needs"}),
    "all_of": frozenset(),
    "any_of": frozenset(),
}


def parse(row: Any) -> Expression:
    """Return the expression that a table of the catalogue writes down.

    Parameters
    ----------
    row : mapping
        With exactly one of the keys ``fact``, ``choice``, ``quantity``, ``finding``, ``reach``,
        ``all_of``, ``any_of``, and the further keys of that form.

    Raises
    ------
    InputError
        If the table is of no such form, or names a concept, word or unit that does not exist.
    """
    if not isinstance(row, Mapping):
        raise InputError(f"{row!r} is not a table", mend='write { fact = "…", is = true }')
    heads = [key for key in _ALLOWED if key in row]
    if len(heads) != 1:
        raise InputError(
            f"a condition needs exactly one of {', '.join(_ALLOWED)} and has "
            f"{' and '.join(heads) or 'none'}",
            mend="combine several with all_of or any_of",
        )
    head = heads[0]
    unknown = set(row) - _ALLOWED[head] - {head}
    if unknown:
        raise InputError(
            f"{', '.join(sorted(unknown))} does not go with {head!r}",
            mend=f"it takes {', '.join(sorted(_ALLOWED[head])) or 'nothing else'}",
        )
    if head in ("all_of", "any_of"):
        return _combined(head, row[head])
    return _LEAVES[head](row)


def _combined(head: str, rows: Any) -> AllOf | AnyOf:
    if not isinstance(rows, list) or not rows:
        raise InputError(f"{head!r} has no parts", mend="list at least one condition")
    parts = tuple(parse(part) for part in rows)
    return AllOf(parts) if head == "all_of" else AnyOf(parts)


def _known(key: Any, kind: str) -> str:
    row = concept(str(key))
    if row.kind != kind:
        raise InputError(f"{key!r} is a {row.kind}, not a {kind}", mend="use the form for its kind")
    return row.key


def _known_keys(row: Mapping[str, Any], name: str) -> tuple[str, ...]:
    return tuple(concept(key).key for key in row.get(name, ()))


def _age(row: Mapping[str, Any]) -> int | None:
    age = row.get("max_age_days")
    if age is not None and (not isinstance(age, int) or isinstance(age, bool) or age <= 0):
        raise InputError(f"max_age_days = {age!r} is not a number of days", mend="write 90")
    return age


def _bounds(row: Mapping[str, Any]) -> tuple[float | None, float | None, str]:
    bounds = [row.get("at_least"), row.get("at_most")]
    for bound in bounds:
        if bound is not None and (isinstance(bound, bool) or not isinstance(bound, int | float)):
            raise InputError(f"the bound {bound!r} is not a number", mend="write a plain number")
    low, high = (None if bound is None else float(bound) for bound in bounds)
    if low is None and high is None:
        raise InputError("a bound is missing", mend="give at_least, at_most or both")
    if low is not None and high is not None and low > high:
        raise InputError(f"at_least {low:g} is above at_most {high:g}", mend="swap them")
    return low, high, parse_unit(str(row.get("unit", "")))


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


def _quantity(row: Mapping[str, Any]) -> QuantityBound:
    key = _known(row["quantity"], "quantity")
    low, high, unit = _bounds(row)
    if unit not in concept(key).units:
        raise InputError(
            f"{key!r} cannot be in {printed(unit) or unit}",
            mend=f"use one of {', '.join(concept(key).units)}",
        )
    return QuantityBound(key, low, high, unit, _age(row))


def _finding(row: Mapping[str, Any]) -> FindingBound:
    low, high, unit = _bounds(row)
    needs, settled_by = _known_keys(row, "needs"), _known_keys(row, "settled_by")
    if not needs or not settled_by:
        raise InputError(
            f"the finding {row['finding']!r} does not say which facts would settle it",
            mend='add needs = ["…"] and settled_by = ["…"]',
        )
    close = row.get("close_share", 0.0)
    if isinstance(close, bool) or not isinstance(close, int | float) or not 0 <= close < 1:
        raise InputError(f"close_share = {close!r} is not a share", mend="write close_share = 0.1")
    return FindingBound(
        name=str(row["finding"]),
        called=str(row.get("called", row["finding"])),
        at_least=low,
        at_most=high,
        unit=unit,
        needs=needs,
        settled_by=settled_by,
        close_share=float(close),
        max_age_days=_age(row),
    )


def _reach(row: Mapping[str, Any]) -> Reaches:
    side, sites = row.get("side", "each"), row.get("sites", "own")
    if row["reach"] is not True or side not in get_args(Side) or sites not in get_args(Sites):
        raise InputError(
            "a condition on reach is not of its form",
            mend='write { reach = true, side = "left", "right" or "each", '
            'sites = "own", "shared" or "apart" }',
        )
    return Reaches(cast("Side", side), cast("Sites", sites), _known_keys(row, "needs"))


_LEAVES: Mapping[str, Callable[[Mapping[str, Any]], Expression]] = {
    "fact": _yes_no,
    "choice": _one_of,
    "quantity": _quantity,
    "finding": _finding,
    "reach": _reach,
}
