"""What a score or category is made of: items with levels, bands, event rates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from thalweg.evidence.conditions.form import Asked

if TYPE_CHECKING:
    from thalweg.evidence.conditions.form import Condition
    from thalweg.record.method import Method

__all__ = ["Applies", "Band", "Item", "Level", "RateSet", "Rule", "Weight"]

Weight = Literal["good", "care", "bad", "plain"]
"""How much a result should catch the eye; never the only carrier of its meaning."""


@dataclass(frozen=True, slots=True)
class Level:
    """One of the things an item can come to; the first whose condition holds is it.

    Parameters
    ----------
    name : str
        What it is called, such as ``"at risk"``; in a score, what the points are given for.
    points : float
    when : Condition or None
        None: when none before it holds.
    says : str
        A sentence for the reader when it holds, or empty.
    weight : Weight
    """

    name: str
    points: float
    when: Condition | None
    says: str = ""
    weight: Weight = "plain"


@dataclass(frozen=True, slots=True)
class Item:
    """One question of a score; the worse of a pair goes first among its levels."""

    key: str
    words: str
    levels: tuple[Level, ...]
    note: str = ""

    @property
    def asks(self) -> tuple[str, ...]:
        """Names of the concepts and computed quantities it asks, each once."""
        leaves = (leaf for one in self.levels if one.when for leaf in one.when.leaves())
        return tuple(dict.fromkeys(leaf.name for leaf in leaves if isinstance(leaf, Asked)))


@dataclass(frozen=True, slots=True)
class Band:
    """A run of totals from `least` up to the next band, and what it is called."""

    least: float
    name: str
    says: str = ""
    weight: Weight = "plain"


@dataclass(frozen=True, slots=True)
class RateSet:
    """Published rates of an event by total: whose, of what, and in how many.

    Parameters
    ----------
    key, label : str
        `label` says people, time and event, without which the rate means nothing.
    least : tuple of float
        Lowest total of each group, ascending.
    events, of : tuple of int
        People with the event and people in each group; empty where not printed.
    percent : tuple of float
        As printed, where the events are not.
    decimals : int
        Of the printed percentages.
    sources : tuple of str
    note : str
    """

    key: str
    label: str
    least: tuple[float, ...]
    events: tuple[int, ...]
    of: tuple[int, ...]
    percent: tuple[float, ...]
    decimals: int
    sources: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class Applies:
    """For whom a score was made, and what to say of another person."""

    when: Condition
    otherwise: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A score (items are added up) or a category (one item, whose level is the answer).

    Parameters
    ----------
    key, title, asks : str
        `asks`: the question it answers, for the page.
    items : tuple of Item
    bands : tuple of Band
    rates : tuple of RateSet
    method : Method
    applies : Applies or None
    undecided : str
        What a category is called while it is not known; empty: it has then no value.
    local_source : str
        The unit's own words for where the rule comes from, or empty.
    extends : str
        Key of the rule whose items it takes over, or empty.
    """

    key: str
    title: str
    asks: str
    items: tuple[Item, ...]
    bands: tuple[Band, ...]
    rates: tuple[RateSet, ...]
    method: Method
    applies: Applies | None
    undecided: str
    local_source: str
    extends: str = ""

    @property
    def is_score(self) -> bool:
        """Whether items are added up."""
        return bool(self.bands)

    @property
    def shared(self) -> tuple[str, ...]:
        """Concepts that more than one item asks."""
        asked = [name for item in self.items for name in item.asks]
        return tuple(dict.fromkeys(name for name in asked if asked.count(name) > 1))
