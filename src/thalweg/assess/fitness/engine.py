"""Evaluate a score or category on what is known: what it comes to, and what it could come to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from thalweg.evidence.conditions.ground import Judged, gathered
from thalweg.evidence.conditions.judge import judge
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.fitness.form import Band, Item, Level, Rule
    from thalweg.evidence.conditions.ground import Ground
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["ItemResult", "RuleResult", "evaluate"]


@dataclass(frozen=True, slots=True)
class ItemResult:
    """What one item comes to.

    Parameters
    ----------
    item : Item
    possible : tuple of Level
        Of which one is true; a single one where it is known.
    judged : Judged
        What was used, what is missing, and what weighs on it.
    """

    item: Item
    possible: tuple[Level, ...]
    judged: Judged

    @property
    def least(self) -> float:
        """Fewest points it can come to."""
        return min(level.points for level in self.possible)

    @property
    def most(self) -> float:
        """Most points it can come to."""
        return max(level.points for level in self.possible)

    @property
    def known(self) -> bool:
        """Whether it is settled, as far as points and name go."""
        return len({(level.points, level.name) for level in self.possible}) == 1


@dataclass(frozen=True, slots=True)
class RuleResult:
    """What a rule comes to.

    Parameters
    ----------
    rule : Rule
    items : tuple of ItemResult
        In the order of the rule.
    least, most : float
        The total lies between them, both of which can be true; equal where it is known.
    applies : Truth
        Whether the rule was made for such a person.
    """

    rule: Rule
    items: tuple[ItemResult, ...]
    least: float
    most: float
    applies: Truth

    @property
    def known(self) -> bool:
        """Whether the total, or the category, is settled."""
        if self.rule.is_score:
            return self.least == self.most
        return self.items[0].known

    @property
    def bands(self) -> tuple[Band, ...]:
        """Bands in which the total can lie."""
        bands = self.rule.bands
        ends = [band.least for band in bands[1:]] + [float("inf")]
        return tuple(
            band
            for band, end in zip(bands, ends, strict=True)
            if self.most >= band.least and self.least < end
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the bands, or of the categories, that are still possible, each once."""
        if self.rule.is_score:
            return tuple(band.name for band in self.bands)
        return tuple(dict.fromkeys(level.name for level in self.items[0].possible))

    @property
    def narrowing(self) -> tuple[ItemResult, ...]:
        """Items that are not known, the one that would narrow the total most first."""
        open_items = [one for one in self.items if not one.known]
        return tuple(sorted(open_items, key=lambda one: one.least - one.most))

    @property
    def missing(self) -> tuple[str, ...]:
        """Concepts that would settle it, those that would narrow it most first."""
        return tuple(dict.fromkeys(key for one in self.narrowing for key in one.judged.missing))

    @property
    def facts(self) -> tuple[Fact, ...]:
        """Every fact used, each once."""
        return tuple({f.id: f for one in self.items for f in one.judged.facts}.values())

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every computed value used, each once."""
        return tuple({f.name: f for one in self.items for f in one.judged.findings}.values())

    @property
    def doubts(self) -> tuple[str, ...]:
        """Every sentence that weighs on it, each once."""
        return tuple(dict.fromkeys(doubt for one in self.items for doubt in one.judged.doubts))


def _item(item: Item, ground: Ground) -> ItemResult:
    """Return the levels that are still possible: up to the first that certainly holds."""
    possible: list[Level] = []
    parts: list[Judged] = []
    for level in item.levels:
        if level.when is None:
            possible.append(level)
            break
        judged = judge(level.when, ground)
        parts.append(judged)
        if judged.truth is not Truth.NOT_MET:
            possible.append(level)
        if judged.truth is Truth.MET:
            break
    known = len({(level.points, level.name) for level in possible}) == 1
    judged = gathered(Truth.MET if known else Truth.NOT_KNOWN, parts)
    return ItemResult(item, tuple(possible), replace(judged, missing=()) if known else judged)


def evaluate(rule: Rule, ground: Ground) -> RuleResult:
    """Return what a rule comes to on what is known.

    Parameters
    ----------
    rule : Rule
        A score or category.
    ground : Ground
        What is known; what is not known is never counted as absent.

    Returns
    -------
    RuleResult
        `least` and `most` are attained: no two items ask the same unknown (the form sees to
        that), so that some answer to the open questions leads to each.
    """
    items = tuple(_item(item, ground) for item in rule.items)
    least, most = sum(one.least for one in items), sum(one.most for one in items)
    applies = Truth.MET if rule.applies is None else judge(rule.applies.when, ground).truth
    return RuleResult(rule, items, least, most, applies)
