"""From a condition that does not hold to the sets of steps of which any would make it hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice, product
from typing import TYPE_CHECKING

from thalweg.evidence.conditions.form import AllOf, AnyOf, Asked, Bound, OneOf, YesNo
from thalweg.evidence.conditions.judge import judge
from thalweg.plan.criteria.reaches import Reaches
from thalweg.plan.criteria.reaching import places
from thalweg.plan.nearest.changeable import Changeable
from thalweg.plan.nearest.step import Amount, Step
from thalweg.record.concept import concept
from thalweg.record.fact import say
from thalweg.record.finding import Finding
from thalweg.record.reckon import amount as reckoned
from thalweg.record.truth import Truth
from thalweg.record.units import convert, printed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from thalweg.evidence.conditions.form import Condition
    from thalweg.evidence.conditions.ground import Ground
    from thalweg.plan.criteria.reaches import ReachGround, RouteSummary
    from thalweg.plan.nearest.step import Lever
    from thalweg.record.fact import Fact

__all__ = ["Way", "WayFinder", "merged_way", "together"]

Way = tuple[Step, ...]
"""Steps that are all needed."""
MOST_WAYS = 256
MOST_PLACES = 4
"""Choices of sites that are kept, the least short first."""


@dataclass(frozen=True)
class WayFinder:
    """Finds the ways for one criterion of one diversion of one person.

    Parameters
    ----------
    criterion : str
        Its key.
    ground : Ground
        What its conditions are judged on.
    reach : ReachGround
        What its reach is.
    can : mapping
        Whether each thing can change.
    levers : callable
        The levers for a route that is short.
    """

    criterion: str
    ground: Ground
    reach: ReachGround
    can: Mapping[str, Changeable]
    levers: Callable[[RouteSummary, float], tuple[Lever, ...]]

    def ways(self, condition: Condition) -> tuple[Way, ...]:
        """Return the ways to make a condition hold, as far as it fails.

        What is not known is not a step: it is to be learnt, not changed. One empty way where
        nothing fails; none where it could not be made to hold.
        """
        if judge(condition, self.ground).truth is not Truth.NOT_MET:
            return ((),)
        found: tuple[Way, ...] = ()
        match condition:
            case AllOf():
                found = together(self.ways(part) for part in condition.parts)
            case AnyOf():
                found = tuple(way for part in condition.parts for way in self.ways(part))
            case Reaches():
                found = self._reach(condition)
            case Bound(of=of) if of is not None:
                found = self._number(condition, self.ground.findings[condition.name])
            case Asked():
                found = self._fact(condition)
        return found

    def _change(self, key: str) -> Changeable:
        """Return what is said of the criterion, else of what it asks."""
        return self.can.get(self.criterion) or self.can.get(key) or Changeable.unjudged(key)

    def _fact(self, asked: Asked) -> tuple[Way, ...]:
        fact = self.ground.facts[asked.name].fact
        if fact is None or asked.name in self.ground.instead:
            return ()
        if isinstance(asked, Bound):
            return self._number(asked, fact)
        words: tuple[bool | str, ...] = ()
        if isinstance(asked, YesNo):
            words = (asked.expected,)
        elif isinstance(asked, OneOf):
            words = asked.words
        called = concept(asked.name).name
        wanted = f"open if {asked.said()}"
        change, keys = self._change(asked.name), (self.criterion,)
        return ((Step(asked.name, called, wanted, say(fact.value), fact.at, change, keys, words),),)

    def _number(self, bound: Bound, of: Fact | Finding) -> tuple[Way, ...]:
        amount = _amount(bound, of)
        if amount is None:
            return ()
        now = of.shown() if isinstance(of, Finding) else f"{say(of.value)} {printed(of.unit or '')}"
        step = Step(
            bound.name,
            bound.called,
            f"open if {bound.said()}",
            now,
            of.at,
            self._change(bound.name),
            (self.criterion,),
            amount=amount,
            computed=bound.of is not None,
        )
        return ((step,),)

    def _reach(self, condition: Reaches) -> tuple[Way, ...]:
        choices = places(condition, self.reach)
        if not choices:
            # There is no kidney to drain: whether it reaches is asked once there is.
            return ((),)
        least = self.reach.least_margin_mm
        found = []
        for chosen in choices:
            short = [route for route in chosen if route.margin_interval_mm[1] < least]
            # A choice that fails nowhere is one that is not decided, and the whole would not fail.
            found.append((sum(least - route.margin_mm for route in short), short))
        found.sort(key=lambda one: one[0])
        return tuple(tuple(map(self._short, short)) for _, short in found[:MOST_PLACES] if short)

    def _short(self, route: RouteSummary) -> Step:
        least = self.reach.least_margin_mm
        low, high = route.margin_interval_mm
        amount = Amount(
            route.margin_mm,
            route.margin_interval_mm,
            least,
            "mm",
            sure=least + route.margin_mm - low,
        )
        return Step(
            f"reach-{route.side}",
            f"margin of the {route.side} ureter",
            f"open if the {route.side} ureter reaches '{route.site}'",
            f"margin {route.margin_mm:.0f} mm ({low:.0f} to {high:.0f})",
            route.findings[0].at if route.findings else None,
            self._change("reach"),
            (self.criterion,),
            amount=amount,
            site=route.site,
            levers=self.levers(route, amount.gap),
        )


def _amount(bound: Bound, of: Fact | Finding) -> Amount | None:
    """Return a number, where it fails its bound, in the bound's unit."""
    interval = None
    if isinstance(of, Finding):
        if not isinstance(of.value, float) or of.unit is None:
            return None
        now = convert(of.value, of.unit, bound.unit)
        if of.interval is not None:
            low, high = (convert(end, of.unit, bound.unit) for end in of.interval)
            interval = (low, high)
    else:
        now = reckoned(of, bound.unit)
    below, above = interval or (now, now)
    if bound.low is not None and now <= bound.low:
        sure = bound.low + now - below
        return Amount(now, interval, bound.low, bound.unit, sure, bound.low_counts)
    if bound.high is None:
        return None
    sure = bound.high - (above - now)
    return Amount(now, interval, bound.high, bound.unit, sure, bound.high_counts)


def together(sets: Iterable[tuple[Way, ...]]) -> tuple[Way, ...]:
    """Return the ways that take one way of each set, leaving out what contradicts itself."""
    merged = (
        merged_way(step for way in chosen for step in way)
        for chosen in islice(product(*sets), MOST_WAYS)
    )
    return tuple(dict.fromkeys(way for way in merged if way is not None))


def merged_way(steps: Iterable[Step]) -> Way | None:
    """Return steps with those on one thing made one, the stricter; None where they contradict."""
    kept: dict[tuple[str, str], Step] = {}
    for step in steps:
        key = (step.name, step.site)
        both = step if key not in kept else _both(kept[key], step)
        if both is None:
            return None
        kept[key] = both
    return tuple(kept.values())


def _both(first: Step, second: Step) -> Step | None:
    criteria = tuple(dict.fromkeys((*first.criteria, *second.criteria)))
    if first.amount is not None and second.amount is not None:
        if first.amount.unit != second.amount.unit or first.amount.gap * second.amount.gap < 0:
            return None
        further = max(first, second, key=lambda one: abs(one.amount.gap) if one.amount else 0.0)
        return replace(further, criteria=criteria)
    shared = tuple(word for word in first.words if word in second.words)
    return replace(first, words=shared, criteria=criteria) if shared else None
