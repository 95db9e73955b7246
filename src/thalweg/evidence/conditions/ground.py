"""What conditions are judged on, and what a judgement holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from thalweg.record.concept import concept
from thalweg.record.reckon import day_of
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from thalweg.evidence.conditions.form import Condition
    from thalweg.record.case import Case, Chosen, Sex
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding

__all__ = [
    "FactAges",
    "Ground",
    "Judged",
    "all_of_judged",
    "any_of_judged",
    "gathered",
    "latest",
    "old",
]


def latest(case: Case, at: Moment) -> dict[str, Chosen]:
    """Return the fact that answers each recorded concept, or why none does; later ones left out."""
    then = case.known_on(day_of(at))
    return {key: then.latest(key) for key in dict.fromkeys(fact.concept for fact in then.facts)}


@dataclass(frozen=True, slots=True)
class FactAges:
    """How long facts keep, in days; by default for ever.

    Parameters
    ----------
    usual_days : int or None
        After so long any fact is called old.
    old_after_days : mapping of str to int
        The same for particular concepts.
    expires_after_days : mapping of str to int
        After so long the fact no longer answers at all.
    lasting : tuple of str
        Yes-no concepts whose yes does not age.
    """

    usual_days: int | None = None
    old_after_days: Mapping[str, int] = field(default_factory=dict)
    expires_after_days: Mapping[str, int] = field(default_factory=dict)
    lasting: tuple[str, ...] = ()

    def expired(self, fact: Fact, at: Moment) -> bool:
        """Return whether a fact is too old to answer."""
        limit = self.expires_after_days.get(fact.concept)
        return limit is not None and _days(fact.at, at) > limit

    def said(self, fact: Fact, at: Moment, limit: int | None = None) -> str:
        """Return the sentence that an old fact is read with, or an empty one.

        Parameters
        ----------
        fact : Fact
        at : date or aware datetime
            The moment of judging.
        limit : int, optional
            The age in days that the one who asks allows, before the usual one.
        """
        name = f"'{concept(fact.concept).name}'"
        if self.expired(fact, at):
            days, keeps = _days(fact.at, at), self.expires_after_days[fact.concept]
            return f"{name} was recorded {days} days ago and counts for {keeps}: ask again."
        if limit is None and not (fact.concept in self.lasting and fact.value is True):
            limit = self.old_after_days.get(fact.concept, self.usual_days)
        return old(name, fact.at, at, limit)


def _days(of: Moment, at: Moment) -> int:
    return (day_of(at) - day_of(of)).days


def old(called: str, of: Moment, at: Moment, limit: int | None) -> str:
    """Return the sentence for what is older than `limit` days, else an empty one."""
    days = _days(of, at)
    if limit is None or days <= limit:
        return ""
    return f"{called} is old: {days} days, where {limit} are allowed. Repeat it."


@dataclass(frozen=True, slots=True)
class Judged:
    """The truth of a condition and what it rests on.

    Parameters
    ----------
    truth : Truth
        Met, not met or not known.
    facts, findings : tuple
        What was used.
    missing : tuple of str
        Where not known: concepts of which any could settle it.
    would_open : str
        Where not met: what would have to change, as a clause.
    doubts : tuple of str
        Sentences that weigh on the verdict: old, questioned, contradictory, too close to call.
    """

    truth: Truth
    facts: tuple[Fact, ...] = ()
    findings: tuple[Finding, ...] = ()
    missing: tuple[str, ...] = ()
    would_open: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ground:
    """Everything that one person's conditions are judged on.

    Parameters
    ----------
    facts : mapping
        The fact that answers each concept, or the conflict that prevents it.
    at : date or aware datetime
        The moment of judging, against which facts age.
    findings : mapping
        Computed values by the name under which conditions ask them.
    instead : mapping
        Computed answers that go before the recorded fact, by concept.
    sex : "female" or "male", optional
    ages : FactAges
        How long facts keep where a condition does not say.
    own : mapping
        How a floor judges the forms of condition that it added, by their class.
    """

    facts: Mapping[str, Chosen]
    at: Moment
    findings: Mapping[str, Finding] = field(default_factory=dict)
    instead: Mapping[str, Finding] = field(default_factory=dict)
    sex: Sex | None = None
    ages: FactAges = field(default_factory=FactAges)
    own: Mapping[type[Condition], Callable[[Any], Judged]] = field(default_factory=dict)


def gathered(truth: Truth, parts: Iterable[Judged], joiner: str = "; and ") -> Judged:
    """Return one judgement that rests on everything that its parts rest on."""
    kept = tuple(parts)
    facts = {fact.id: fact for part in kept for fact in part.facts}
    findings = {finding.name: finding for part in kept for finding in part.findings}
    clauses = dict.fromkeys(part.would_open for part in kept if part.would_open)
    return Judged(
        truth,
        tuple(facts.values()),
        tuple(findings.values()),
        tuple(dict.fromkeys(key for part in kept for key in part.missing)),
        joiner.join(clauses) if truth is Truth.NOT_MET else "",
        tuple(dict.fromkeys(doubt for part in kept for doubt in part.doubts)),
    )


def all_of_judged(parts: Iterable[Judged]) -> Judged:
    """Return the judgement that every part holds; the failing parts decide."""
    kept = tuple(parts)
    failing = [part for part in kept if part.truth is Truth.NOT_MET]
    if failing:
        return gathered(Truth.NOT_MET, failing)
    known = all(part.truth is Truth.MET for part in kept)
    return gathered(Truth.MET if known else Truth.NOT_KNOWN, kept)


def any_of_judged(parts: Iterable[Judged]) -> Judged:
    """Return the judgement that some part holds, resting on the part least in doubt."""
    kept = tuple(parts)
    holding = [part for part in kept if part.truth is Truth.MET]
    if holding:
        # One witness is enough. Taking the one with fewest doubts means that learning more
        # can never make a settled condition look worse.
        return min(holding, key=lambda part: len(part.doubts))
    known = all(part.truth is Truth.NOT_MET for part in kept)
    return gathered(Truth.NOT_MET if known else Truth.NOT_KNOWN, kept, "; or ")
