"""Rules on what cannot both be true of one person, read from their tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from thalweg.record.concept import concepts

if TYPE_CHECKING:
    from thalweg.evidence.conditions.form import Condition
    from thalweg.plan.workup.rows import Row

__all__ = ["ClashRule", "Differ", "Excludes", "Same", "differ", "excludes", "same"]

KINDS = ("yes-no", "choice")


class ClashRule(Protocol):
    """What every such rule has."""

    @property
    def key(self) -> str:
        """Its name in the table."""

    @property
    def sources(self) -> tuple[str, ...]:
        """Bibliography keys."""

    @property
    def local_source(self) -> str:
        """The unit's own source where its protocol replaced ours, else empty."""


@dataclass(frozen=True, slots=True)
class Same:
    """Two values of one concept about one time.

    Parameters
    ----------
    key : str
    concepts : frozenset of str
    within_days : int
        How far apart counts as one time.
    absolute, relative : float or None
        By how much quantities may differ, in the concept's own unit and as a share of the greater;
        both must be exceeded where both are given. None and None: answers may not differ at all.
    once_yes : bool
        A later no excludes an earlier yes, whenever it was.
    """

    key: str
    concepts: frozenset[str]
    within_days: int
    absolute: float | None
    relative: float | None
    once_yes: bool
    sources: tuple[str, ...]
    local_source: str


@dataclass(frozen=True, slots=True)
class Excludes:
    """A condition that cannot be true of one person, by facts no further apart than this."""

    key: str
    words: str
    never: Condition
    within_days: int | None
    sources: tuple[str, ...]
    local_source: str


@dataclass(frozen=True, slots=True)
class Differ:
    """Two quantities that must agree, or add up to `sum_to`.

    Parameters
    ----------
    key, words : str
    first : str
        A concept.
    second : str
        A concept, or the name of a finding.
    sum_to : float or None
        Then first and second must add up to it.
    factor : float
        What `second`, in its own unit, is multiplied by to be like `first` in its own.
    absolute, relative : float or None
        As for `Same`.
    within_days : int
    """

    key: str
    words: str
    first: str
    second: str
    sum_to: float | None
    factor: float | None
    absolute: float | None
    relative: float | None
    within_days: int
    sources: tuple[str, ...]
    local_source: str


def same(row: Row) -> Same:
    """Return the rule that a row of ``[same.…]`` writes down."""
    row.only(
        *("concepts", "kinds", "except", "within_days", "absolute", "relative", "once_yes"),
    )
    kinds, left_out = row.words("kinds"), row.concepts("except")
    if set(kinds) - set(KINDS):
        raise row.fault("kinds are answers only", 'write kinds = ["yes-no", "choice"]')
    named = {*row.concepts("concepts"), *(k for k, c in concepts().items() if c.kind in kinds)}
    within, once_yes = row.days("within_days"), row.flag("once_yes", otherwise=False)
    if not named or (within is None and not once_yes):
        raise row.fault("concepts or within_days are missing", "add them")
    absolute, relative = row.number("absolute"), row.number("relative")
    amounts = [key for key in named if concepts()[key].kind == "quantity"]
    if amounts and absolute is None and relative is None:
        raise row.fault(f"does not say by how much {amounts[0]} may differ", "add relative = 0.3")
    return Same(
        row.key,
        frozenset(named - set(left_out)),
        within or 0,
        absolute,
        relative,
        once_yes,
        *row.sources,
    )


def excludes(row: Row) -> Excludes:
    """Return the rule that a row of ``[excludes.…]`` writes down."""
    row.only("words", "never", "within_days")
    never = row.condition("never")
    if never is None:
        raise row.fault("'never' is missing", "write never = { all_of = [ … ] }")
    return Excludes(row.key, row.text("words"), never, row.days("within_days"), *row.sources)


def differ(row: Row) -> Differ:
    """Return the rule that a row of ``[differ.…]`` writes down."""
    row.only(
        *("words", "first", "second", "sum_to", "factor", "absolute", "relative", "within_days"),
    )
    absolute, relative = row.number("absolute"), row.number("relative")
    if absolute is None and relative is None:
        raise row.fault("does not say by how much they may differ", "add relative = 0.3")
    first = row.concept(row.text("first"))
    if concepts()[first].kind != "quantity":
        raise row.fault(f"{first!r} is not a quantity", "name a quantity")
    return Differ(
        row.key,
        row.text("words"),
        first,
        row.text("second"),
        row.number("sum_to"),
        row.number("factor"),
        absolute,
        relative,
        row.days("within_days") or 0,
        *row.sources,
    )
