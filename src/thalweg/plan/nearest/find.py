"""Find the nearest change that would open each closed option, and try it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.plan.appraise import appraise, judged_of, known_of, reach_of, with_reach
from thalweg.plan.nearest.changeable import changeable
from thalweg.plan.nearest.levers import Levers
from thalweg.plan.nearest.ways import WayFinder, merged_way, together
from thalweg.record.case import age_in_years
from thalweg.record.fact import Fact, Origin, moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from thalweg.plan.appraise import Appraisal, RouteSummary
    from thalweg.plan.appraised import Appraised, Verdict
    from thalweg.plan.catalogue import Catalogue, Diversion
    from thalweg.plan.nearest.changeable import Can, Changeable
    from thalweg.plan.nearest.step import Amount, Step
    from thalweg.plan.nearest.ways import Way
    from thalweg.plan.reach import Scene
    from thalweg.record.case import Case
    from thalweg.record.fact import Moment

__all__ = ["SUPPOSED_NUMBER", "Nearest", "Supposed", "nearest_changes", "suppose"]

SUPPOSED = Origin("supposed", "not on record")
SUPPOSED_NUMBER = Method(
    key="supposed-number",
    title="A number supposed, to see what it would change",
    formula="the limit itself, or the nearest number inside where the limit is not enough",
    valid_for="finding the nearest change that would open an option; never a result",
    sources=("thalweg-engineering",),
)
HARDNESS: Mapping[Can, int] = {
    "changeable": 0,
    "treatable": 1,
    "not judged": 2,
    "not changeable": 3,
}
MOST_OTHERS = 3
MOST_ROUNDS = 4
"""How often a way is completed by what taking it brings to light."""
INSIDE = 1e-6
"""How far inside a limit that is not enough itself, as a share of it."""


@dataclass(frozen=True, slots=True)
class Nearest:
    """The nearest change that would open one closed option.

    Parameters
    ----------
    diversion : str
        Its key.
    steps : tuple of Step
        All of them together.
    then : Verdict
        As appraised with all of them.
    missing : tuple of str
        Concepts that would then have to be learnt.
    others : tuple of tuple of Step
        Other ways, further off.
    """

    diversion: str
    steps: tuple[Step, ...]
    then: Verdict
    missing: tuple[str, ...] = ()
    others: tuple[tuple[Step, ...], ...] = ()

    @property
    def can(self) -> Can:
        """Of the step that can least change."""
        return max((step.change.can for step in self.steps), key=lambda can: HARDNESS[can])

    @property
    def outcome(self) -> str:
        """What would follow, in words."""
        what = "That alone" if len(self.steps) == 1 else f"All {len(self.steps)} together"
        text = f"{what} would make it {self.then}"
        return f"{text}, for want of {', '.join(self.missing)}" if self.missing else text

    def lines(self) -> tuple[str, ...]:
        """Return each step and the outcome as sentences without their full stops."""
        also = tuple(
            "or instead: " + "; and ".join(step.wanted.removeprefix("open if ") for step in way)
            for way in self.others
        )
        return (*(step.says for step in self.steps), self.outcome, *also)

    def to_json(self, cite: Callable[[str], str]) -> dict[str, Any]:
        """Return it for programs."""
        return {
            "can_change": self.can,
            "steps": [step.to_json(cite) for step in self.steps],
            "then": self.then,
            "then_missing": list(self.missing),
            "says": list(self.lines()),
            "others": [[step.to_json(cite) for step in way] for way in self.others],
        }


@dataclass(frozen=True)
class Supposed:
    """A person as they would be: case, findings and routes."""

    case: Case
    findings: tuple[Finding, ...]
    routes: tuple[RouteSummary, ...]


def nearest_changes(
    appraisal: Appraisal,
    case: Case,
    findings: Iterable[Finding],
    routes: Sequence[RouteSummary],
    rules: Catalogue,
    *,
    scene: Scene | None = None,
    theirs: Mapping[str, Any] | None = None,
) -> Mapping[str, Nearest]:
    """Return, for each closed option, the nearest change that would open it.

    The ways are found from the failing criteria's own conditions. The nearest has the fewest steps
    that cannot change, then the fewest at all, then the shortest way to go. It is tried: the
    verdict it would lead to is appraised as every verdict is.

    Parameters
    ----------
    appraisal : Appraisal
        Of this person, by these rules.
    case : Case
    findings : iterable of Finding
    routes : sequence of RouteSummary
        As they were appraised.
    rules : Catalogue
    scene : Scene, optional
        On which reach was computed, to say what would bring a short ureter further.
    theirs : mapping, optional
        A unit's own ``changeable.toml``.

    Returns
    -------
    mapping of str to Nearest
        By key; without those for which no way was found.
    """
    known = Supposed(case, tuple(findings), tuple(routes))
    seeker = _Seeker(
        rules, appraisal.at, changeable(theirs), Levers(known.routes, scene, rules.least_margin_mm)
    )
    found = {}
    for row in appraisal.diversions:
        if row.verdict == "closed":
            one = seeker.nearest(row.diversion, known)
            if one is not None:
                found[row.diversion.key] = one
    return found


@dataclass(frozen=True)
class _Seeker:
    """Seeks ways by one catalogue at one moment."""

    rules: Catalogue
    at: Moment
    can: Mapping[str, Changeable]
    levers: Levers

    def nearest(self, diversion: Diversion, known: Supposed) -> Nearest | None:
        """Return the nearest way that, tried, leaves an option no longer closed."""
        ways = self._ways(diversion, known)
        for number, way in enumerate(ways):
            whole, after = self._tried(way, diversion, known)
            if after.verdict != "closed":
                whole, after = self._lean(whole, after, diversion, known)
                others = tuple(one for one in ways[number + 1 :] if not set(way) <= set(one))
                return Nearest(
                    diversion.key, whole, after.verdict, after.missing, others[:MOST_OTHERS]
                )
        return None

    def _ways(self, diversion: Diversion, known: Supposed) -> list[Way]:
        """Return the ways from a person's failing criteria, the nearest first."""
        reach = reach_of(diversion, known.case, known.routes, self.rules)
        ground = with_reach(known_of(known.case, known.findings, self.at), reach)
        years = age_in_years(known.case.person.born, self.at)
        child = years < self.rules.adult_from_years
        failing = [
            one
            for one in diversion.criteria
            if one.strength == "required"
            and judged_of(one, ground, child=child).truth is Truth.NOT_MET
        ]
        ways = together(
            WayFinder(one.key, ground, reach, self.can, self.levers).ways(one.holds)
            for one in failing
        )
        return sorted(ways, key=_distance)

    def _tried(self, way: Way, diversion: Diversion, known: Supposed) -> tuple[Way, Appraised]:
        """Return a way, with what it brings to light, and the option as appraised after it."""
        for _ in range(MOST_ROUNDS):
            then, after = self._after(way, diversion, known)
            more = self._ways(diversion, then) if after.verdict == "closed" else []
            # A second kidney, once there, must reach too: what a step uncovers belongs to the way.
            further = merged_way((*way, *more[0])) if more else None
            if further is None or further == way:
                break
            way = further
        return way, after

    def _after(self, way: Way, diversion: Diversion, known: Supposed) -> tuple[Supposed, Appraised]:
        then = suppose(way, known, diversion.reach_keys, self.at)
        alone = replace(self.rules, diversions=(diversion,))
        return then, appraise(then.case, then.findings, then.routes, alone, self.at).diversions[0]

    def _lean(
        self, way: Way, after: Appraised, diversion: Diversion, known: Supposed
    ) -> tuple[Way, Appraised]:
        """Return a way without steps that another makes idle, as a kidney that is not there."""
        for step in way if len(way) > 1 else ():
            fewer = tuple(one for one in way if one is not step)
            _, still = self._after(fewer, diversion, known)
            if still.verdict != "closed":
                way, after = fewer, still
        return way, after


def _distance(way: Way) -> tuple[object, ...]:
    hard = sorted((HARDNESS[step.change.can] for step in way), reverse=True)
    shares = [step.amount.share for step in way if step.amount is not None]
    return (hard.count(3), hard.count(2), len(way), hard, max(shares, default=0.0))


def suppose(
    way: Iterable[Step], known: Supposed, diversions: Sequence[str], at: Moment
) -> Supposed:
    """Return a person as if every step had been taken, and nothing else changed.

    Parameters
    ----------
    way : iterable of Step
    known : Supposed
        As they are.
    diversions : sequence of str
        Keys under which the routes of the option run.
    at : date or aware datetime
        The moment of the steps.
    """
    facts: list[Fact] = []
    findings = {one.name: one for one in known.findings}
    routes = list(known.routes)
    for step in way:
        if step.name.startswith("reach-"):
            routes = [_reaching(route, step, diversions) for route in routes]
        elif step.computed and step.amount is not None:
            findings[step.name] = Finding(
                step.name, step.called, _inside(step.amount), step.amount.unit, at, SUPPOSED_NUMBER
            )
        elif step.amount is not None:
            value = Decimal(repr(_inside(step.amount)))
            facts.append(Fact(step.name, value, step.amount.unit, at, SUPPOSED))
        elif step.words:
            facts.append(Fact(step.name, step.words[0], None, at, SUPPOSED))
    changed = {fact.concept for fact in facts}
    now = moment_key(at)
    kept = tuple(
        fact
        for fact in known.case.facts
        if fact.concept not in changed or moment_key(fact.at) < now
    )
    case = replace(known.case, facts=(*kept, *facts))
    return Supposed(case, tuple(findings.values()), tuple(routes))


def _inside(amount: Amount) -> float:
    """Return the limit, or the nearest number inside where the limit is not enough."""
    if amount.counts:
        return amount.limit
    away = INSIDE * max(abs(amount.limit), 1.0)
    return amount.limit + (away if amount.gap > 0 else -away)


def _reaching(route: RouteSummary, step: Step, diversions: Sequence[str]) -> RouteSummary:
    mine = route.diversion in diversions and step.name == f"reach-{route.side}"
    if not mine or route.site != step.site or step.amount is None:
        return route
    gain = step.amount.sure - step.amount.now
    return replace(
        route,
        margin_mm=step.amount.sure,
        # The lower end exactly at the limit: a rounding error must not leave it undecided.
        margin_interval_mm=(step.amount.limit, route.margin_interval_mm[1] + gain),
        probability_reaches=1.0,
    )
