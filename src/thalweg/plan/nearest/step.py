"""One thing that would have to be otherwise, with the numbers it is now and would have to be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import bibliography
from thalweg.record.fact import say_moment
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal

    from thalweg.plan.nearest.changeable import Changeable
    from thalweg.record.fact import Moment

__all__ = ["Amount", "Lever", "Step"]


@dataclass(frozen=True, slots=True)
class Amount:
    """How far a number is from where it would have to be, all in one unit.

    Parameters
    ----------
    now : float
        As it is.
    interval : tuple of float or None
        Its interval.
    limit : float
        Where it would have to be.
    unit : str
        UCUM.
    sure : float
        What the estimate would have to be for its whole interval to lie beyond the limit, the
        doubt being as wide as now; the limit itself where there is no interval.
    counts : bool
        Whether the limit itself is enough.
    """

    now: float
    interval: tuple[float, float] | None
    limit: float
    unit: str
    sure: float
    counts: bool = True

    @property
    def gap(self) -> float:
        """How much is lacking, negative where it must fall."""
        return self.limit - self.now

    @property
    def share(self) -> float:
        """The gap as a share of the greater number, by which like steps are ranked."""
        return abs(self.gap) / max(abs(self.limit), abs(self.now), 1e-9)


@dataclass(frozen=True, slots=True)
class Lever:
    """One way to bring a short ureter further.

    Parameters
    ----------
    kind : "site", "division" or "pivot"
    says : str
        The sentence, with its numbers.
    margin_mm : float
        Margin that it would leave.
    enough : bool
        Whether the estimate then reaches.
    move_mm : float or None
        How far pivot or division is moved.
    room_mm : float or None
        How far it could be.
    site : str
        Where it goes, for another site.
    """

    kind: str
    says: str
    margin_mm: float
    enough: bool
    move_mm: float | None = None
    room_mm: float | None = None
    site: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return it for programs; lengths in mm."""
        return {
            "lever": self.kind,
            "says": self.says,
            "margin_then_mm": self.margin_mm,
            "enough": self.enough,
            "move_mm": self.move_mm,
            "room_mm": self.room_mm,
            "site": self.site or None,
        }


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that would have to be otherwise.

    Parameters
    ----------
    name : str
        A concept, the name of a finding, or ``reach-left`` and ``reach-right``.
    called : str
        As a sentence names it.
    wanted : str
        What it would have to be, in words.
    now : str
        What it is, with unit and interval.
    at : date, aware datetime or None
        Of what it is now.
    change : Changeable
    criteria : tuple of str
        Keys of the criteria that ask it.
    words : tuple
        For a fact: the values any of which would do.
    amount : Amount or None
        For a number.
    computed : bool
        Whether the number is a finding and not recorded.
    site : str
        For reach: the site, or base, in question.
    levers : tuple of Lever
        For reach.
    """

    name: str
    called: str
    wanted: str
    now: str
    at: Moment | None
    change: Changeable
    criteria: tuple[str, ...] = ()
    words: tuple[bool | str | Decimal, ...] = ()
    amount: Amount | None = None
    computed: bool = False
    site: str = ""
    levers: tuple[Lever, ...] = ()

    @property
    def distance(self) -> str:
        """How far it is to go, in words, or empty."""
        if self.amount is None:
            return ""
        unit = printed(self.amount.unit)
        more = "more" if self.amount.gap > 0 else "less"
        text = f"{_figure(abs(self.amount.gap))} {unit} {more}"
        if self.amount.interval is None:
            return text
        whole = _figure(abs(self.amount.sure - self.amount.now))
        return f"{text} by the estimate, {whole} {unit} {more} for its whole interval"

    @property
    def says(self) -> str:
        """The whole step as one sentence without its full stop."""
        day = f" ({say_moment(self.at)[:10]})" if self.at is not None else ""
        far = f": {self.distance}" if self.distance else ""
        ways = "".join(f"; {lever.says}" for lever in self.levers)
        return f"{self.wanted}; now {self.now}{day}{far}{ways}. {self.verdict}"

    @property
    def verdict(self) -> str:
        """Whether it can change, and how."""
        own = self.change.local_source
        said = f" (by this unit's own protocol: {own})" if own else ""
        return f"{self.change.can.capitalize()}: {self.change.how}{said}"

    def to_json(self, cite: Callable[[str], str]) -> dict[str, Any]:
        """Return it for programs; every number beside its unit."""
        amount = self.amount
        return {
            "criteria": list(self.criteria),
            "concept": self.name,
            "name": self.called,
            "wanted": self.wanted,
            "now": self.now,
            "date": None if self.at is None else self.at.isoformat(),
            "unit": None if amount is None else amount.unit,
            "value_now": None if amount is None else amount.now,
            "interval_now": list(amount.interval) if amount and amount.interval else None,
            "limit": None if amount is None else amount.limit,
            "limit_counts": None if amount is None else amount.counts,
            "gap": None if amount is None else amount.gap,
            "value_to_be_sure": None if amount is None else amount.sure,
            "site": self.site or None,
            "levers": [one.to_json() for one in self.levers],
            "can_change": self.change.can,
            "how": self.change.how,
            "source": self.change.local_source
            or "; ".join(cite(key) for key in self.change.sources),
            "checked": [bibliography()[key].read for key in self.change.sources],
            "says": self.says,
        }


def _figure(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 10 or value == round(value) else f"{value:.1f}"
