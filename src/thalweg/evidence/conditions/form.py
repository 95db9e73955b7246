"""The parts of which a condition is made, and how each is said in words."""

from __future__ import annotations

import tomllib
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from thalweg.record.concept import concept
from thalweg.record.truth import Truth
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from thalweg.record.case import Sex

__all__ = [
    "AllOf",
    "AnyOf",
    "Asked",
    "Bound",
    "Computed",
    "Condition",
    "OfSex",
    "OneOf",
    "YesNo",
    "computed",
]


@dataclass(frozen=True, slots=True)
class Computed:
    """A quantity that is computed and not recorded.

    Parameters
    ----------
    called : str
        As a sentence names it, such as ``"GFR"``.
    unit : str
        UCUM code in which bounds on it are given; empty where each condition says its own.
    needs : tuple of str
        Concepts that make it possible when nobody has computed it.
    settled_by : tuple of str
        Concepts that settle it when its interval lies across a bound.
    close_share : float
        For a value without an interval: how near to a bound, as a share of the bound, counts as
        too near to rely on without saying so.
    whole : bool
        Whether bounds are on completed units, as with an age in years.
    """

    called: str
    unit: str
    needs: tuple[str, ...]
    settled_by: tuple[str, ...]
    close_share: float = 0.0
    whole: bool = False


@cache
def computed() -> Mapping[str, Computed]:
    """Return the computed quantities that any condition may ask by name."""
    text = files("thalweg.evidence").joinpath("data/computed.toml").read_text(encoding="utf-8")
    return {
        key: Computed(
            row["called"],
            row["unit"],
            tuple(row["needs"]),
            tuple(row.get("settled_by", row["needs"])),
            row.get("close_share", 0.0),
            row.get("whole", False),
        )
        for key, row in tomllib.loads(text).items()
    }


class Condition(ABC):
    """What must hold. A floor adds forms of its own by a subclass, read and judged by itself."""

    __slots__ = ()

    @abstractmethod
    def said(self) -> str:
        """Return the condition as words, for explanations and for what would change a verdict."""

    def leaves(self) -> Iterator[Condition]:
        """Yield the parts that are not themselves combinations."""
        yield self


class Asked(Condition):
    """A condition that one fact, or one computed value, answers.

    Parameters
    ----------
    name : str
        A concept, or what is computed.
    max_age_days : int or None
        Age in days beyond which what answers it counts as old; None: as facts usually keep.
    """

    __slots__ = ()
    name: str
    max_age_days: int | None


@dataclass(frozen=True, slots=True)
class YesNo(Asked):
    """``{ fact = "bowel-disease", is = false }``: a yes-no concept has this value."""

    name: str
    expected: bool
    max_age_days: int | None = None

    def said(self) -> str:
        """Return for example ``'heart failure' no``."""
        return f"'{concept(self.name).name}' {'yes' if self.expected else 'no'}"


@dataclass(frozen=True, slots=True)
class OneOf(Asked):
    """``{ choice = "dexterity", one_of = ["full"] }``: a choice is among these words."""

    name: str
    words: tuple[str, ...]
    max_age_days: int | None = None

    def said(self) -> str:
        """Return for example ``'use of the hands' full or limited``."""
        return f"'{concept(self.name).name}' {' or '.join(self.words)}"


@dataclass(frozen=True, slots=True)
class Bound(Asked):
    """``{ quantity = "gfr", at_least = 30, below = 45, unit = … }``: a quantity keeps its bounds.

    ``{ finding = "gfr-to-rely-on", called = "GFR", needs = […], settled_by = […], … }`` asks a
    computed value that is not on the common list.

    Parameters
    ----------
    name : str
        A concept of quantity, a key of `computed`, or the name of a finding.
    low, high : float or None
        In `unit`; None where there is no such bound.
    low_counts, high_counts : bool
        Whether the bound itself is inside: ``at_least`` and ``at_most`` against ``above`` and
        ``below``.
    unit : str
        UCUM code.
    of : Computed or None
        What is computed; None for a recorded quantity.
    """

    name: str
    low: float | None
    high: float | None
    unit: str
    low_counts: bool = True
    high_counts: bool = True
    max_age_days: int | None = None
    of: Computed | None = None

    @property
    def called(self) -> str:
        """The quantity as a sentence names it."""
        return self.of.called if self.of else concept(self.name).name

    @property
    def limits(self) -> tuple[float, ...]:
        """The bounds there are."""
        return tuple(limit for limit in (self.low, self.high) if limit is not None)

    def said(self) -> str:
        """Return for example ``GFR at least 30 and below 45 mL/min/1.73 m²``."""
        low = "at least" if self.low_counts else "above"
        high = "at most" if self.high_counts else "below"
        clauses = [f"{low} {self.low:g}"] if self.low is not None else []
        clauses += [f"{high} {self.high:g}"] if self.high is not None else []
        return f"{self.called} {' and '.join(clauses)} {printed(self.unit)}".rstrip()

    def holds(self, value: float) -> bool:
        """Return whether a value in `unit` keeps the bounds."""
        return self.over(value, value) is Truth.MET

    def over(self, least: float, most: float) -> Truth:
        """Return whether a value known to lie between two, in `unit`, keeps the bounds.

        NOT_KNOWN when they lie across a bound, so that the value could keep it or not.
        """
        return _past(self.low, self.low_counts, least, most) & _past(
            None if self.high is None else -self.high, self.high_counts, -most, -least
        )


def _past(limit: float | None, counts: bool, least: float, most: float) -> Truth:
    """Return whether a value between `least` and `most` is above a limit, or at it if it counts."""
    if limit is None or least > limit or (counts and least == limit):
        return Truth.MET
    return Truth.NOT_KNOWN if most > limit or (counts and most == limit) else Truth.NOT_MET


@dataclass(frozen=True, slots=True)
class OfSex(Condition):
    """``{ sex = "female" }``."""

    sex: Sex

    def said(self) -> str:
        """Return the sex."""
        return self.sex


@dataclass(frozen=True, slots=True)
class AllOf(Condition):
    """``{ all_of = [ … ] }``: every part must hold."""

    parts: tuple[Condition, ...]

    def said(self) -> str:
        """Return the parts joined by "and"."""
        return f"({'; and '.join(part.said() for part in self.parts)})"

    def leaves(self) -> Iterator[Condition]:
        """Yield the leaves of every part."""
        for part in self.parts:
            yield from part.leaves()


@dataclass(frozen=True, slots=True)
class AnyOf(Condition):
    """``{ any_of = [ … ] }``: at least one part must hold."""

    parts: tuple[Condition, ...]

    def said(self) -> str:
        """Return the parts joined by "or"."""
        return f"({'; or '.join(part.said() for part in self.parts)})"

    def leaves(self) -> Iterator[Condition]:
        """Yield the leaves of every part."""
        for part in self.parts:
            yield from part.leaves()
