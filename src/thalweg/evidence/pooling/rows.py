"""Series as rows of a pool: what a page or picture shows of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.pooling.intervals import clopper_pearson

if TYPE_CHECKING:
    from thalweg.evidence.series import Series

__all__ = ["PoolRow", "row_of"]

NAMELESS = ("Authors not shown", "Ureterocutaneostomy series")
_KINDS = {"median": "median ", "mean": "mean ", "minimum": "at least ", "maximum": "at most "}


@dataclass(frozen=True, slots=True)
class PoolRow:
    """One series as a row.

    Parameters
    ----------
    label : str
        First author or place, year, group.
    year : int
    total : int
        Counted, at least 1.
    events : int or None
        None only for a row that stays out.
    follow_up : str
        In words, months.
    follow_up_months : float or None
        As a number, where it is known.
    source : str
        Key of the bibliography, or empty.
    read : str
        How the figures were checked (see `thalweg.evidence.bibliography`), or empty.
    own : bool
        The unit's own.
    why_out : str
        Why it stays out of the pool; empty where it is in it.
    group : str
        For comparing groups; may be empty.
    """

    label: str
    year: int
    total: int
    events: int | None
    follow_up: str = "not known"
    follow_up_months: float | None = None
    source: str = ""
    read: str = ""
    own: bool = False
    why_out: str = ""
    group: str = ""

    @property
    def interval(self) -> tuple[float, float] | None:
        """Exact 95 % interval of the share, 0 to 1."""
        return None if self.events is None else clopper_pearson(self.events, self.total)

    def to_json(self) -> dict[str, Any]:
        """Return it with the unit in every key."""
        share = None if self.events is None else 100.0 * self.events / self.total
        ends = self.interval
        return {
            "label": self.label,
            "year": self.year,
            "events_count": self.events,
            "total_count": self.total,
            "share_percent": share,
            "exact_interval_percent": None if ends is None else [100.0 * end for end in ends],
            "follow_up": self.follow_up,
            "follow_up_months": self.follow_up_months,
            "source": self.source or None,
            "read": self.read or None,
            "own": self.own,
            "left_out_because": self.why_out or None,
            "group": self.group or None,
        }


def _label(one: Series) -> str:
    if one.own:
        first, last = one.enrolled or (one.year, one.year)
        name = f"this unit, {first} to {last}"
    else:
        authors = bibliography()[one.source].authors
        named = not authors.startswith(NAMELESS)
        # "Kim CJ, Sano T": surname and initials; where nobody is named, where it was.
        who = authors.split(",")[0].rsplit(" ", 1)[0] if named else one.setting.split(",")[0]
        name = f"{who} {one.year}"
    return f"{name}, {one.arm}" if one.arm else name


def _follow_up(one: Series) -> str:
    if one.at_months is not None:
        return f"at {one.at_months:g} months"
    if one.follow_up_months is None:
        return "not known"
    return f"{_KINDS.get(one.follow_up_kind, '')}{one.follow_up_months:g} months"


def row_of(one: Series, *, why_out: str = "") -> PoolRow:
    """Return a series as a row."""
    return PoolRow(
        label=_label(one),
        year=one.year,
        total=one.n,
        events=one.events,
        follow_up=_follow_up(one),
        follow_up_months=one.at_months if one.at_months is not None else one.follow_up_months,
        source=one.source,
        read=one.read,
        own=one.own,
        why_out=why_out,
    )
