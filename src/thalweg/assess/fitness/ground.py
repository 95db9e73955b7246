"""What is known of a person for the scores, and how a condition is judged on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.facts import amount, day_of
from thalweg.assess.fitness.conditions import AllOf, AnyOf, Bound, OfSex, OneOf, YesNo
from thalweg.record.concept import concept
from thalweg.record.truth import Truth, all_of, any_of
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from thalweg.assess.fitness.conditions import Condition
    from thalweg.record.case import Chosen, Sex
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["FactAges", "Ground", "Judged", "judge"]

CLOSE_SHARE = 0.1
"""A computed rate nearer to its limit than this share of it is called close."""


@dataclass(frozen=True, slots=True)
class FactAges:
    """How long facts keep, in days.

    Parameters
    ----------
    usual_days : int
        After so long any fact is called old.
    old_after_days : mapping of str to int
        The same for particular concepts.
    expires_after_days : mapping of str to int
        After so long the fact no longer answers at all.
    lasting : tuple of str
        Yes-no concepts whose yes does not age.
    """

    usual_days: int
    old_after_days: Mapping[str, int] = field(default_factory=dict)
    expires_after_days: Mapping[str, int] = field(default_factory=dict)
    lasting: tuple[str, ...] = ()

    def expired(self, fact: Fact, at: date) -> bool:
        """Return whether a fact is too old to answer."""
        limit = self.expires_after_days.get(fact.concept)
        return limit is not None and (at - day_of(fact.at)).days > limit

    def said(self, fact: Fact, at: date) -> str:
        """Return the sentence that an old fact is read with, or an empty one."""
        days = (at - day_of(fact.at)).days
        name = concept(fact.concept).name
        if self.expired(fact, at):
            limit = self.expires_after_days[fact.concept]
            return f"'{name}' was recorded {days} days ago and counts for {limit}: ask again."
        limit = self.old_after_days.get(fact.concept, self.usual_days)
        if days <= limit or (fact.concept in self.lasting and fact.value is True):
            return ""
        return f"'{name}' is {days} days old: ask or measure again."


@dataclass(frozen=True, slots=True)
class Ground:
    """Everything that the scores of one person are judged on.

    Parameters
    ----------
    facts : mapping
        What is recorded, by concept.
    findings : mapping
        What is computed, by a key of `DERIVED` or by the concept whose place it takes; it goes
        before the fact.
    sex : "female" or "male"
    at : date
        The day of judging.
    ages : FactAges
    """

    facts: Mapping[str, Chosen]
    findings: Mapping[str, Finding]
    sex: Sex
    at: date
    ages: FactAges

    def chosen(self, name: str) -> Chosen | None:
        """Return the fact that answers a concept, or the conflict that prevents it."""
        return self.facts.get(name)


@dataclass(frozen=True, slots=True)
class Judged:
    """The truth of a condition and what it rests on.

    Parameters
    ----------
    truth : Truth
    facts, findings : tuple
        What was used.
    missing : tuple of str
        Where not known: the concepts of which any could settle it.
    doubts : tuple of str
        Sentences: old, questioned, contradictory, too close to call.
    """

    truth: Truth
    facts: tuple[Fact, ...] = ()
    findings: tuple[Finding, ...] = ()
    missing: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def judge(condition: Condition, ground: Ground) -> Judged:
    """Return the truth of a condition, by Kleene's strong logic, and what it rests on."""
    match condition:
        case OfSex():
            return Judged(Truth.of(ground.sex == condition.sex))
        case AllOf() | AnyOf():
            return _combined(condition, ground)
        case YesNo() | OneOf() | Bound():
            found = ground.findings.get(condition.name)
            if found is not None:
                return _from_finding(condition, found, ground)
            return _from_fact(condition, ground)


def _combined(condition: AllOf | AnyOf, ground: Ground) -> Judged:
    parts = [judge(part, ground) for part in condition.parts]
    truths = [part.truth for part in parts]
    every = isinstance(condition, AllOf)
    truth = all_of(truths) if every else any_of(truths)
    deciding = Truth.NOT_MET if every else Truth.MET
    if truth is deciding:
        # One part decides; what the others lack does not matter then.
        return min(
            (part for part in parts if part.truth is deciding), key=lambda part: len(part.doubts)
        )
    facts = {fact.id: fact for part in parts for fact in part.facts}
    findings = {finding.name: finding for part in parts for finding in part.findings}
    return Judged(
        truth,
        tuple(facts.values()),
        tuple(findings.values()),
        tuple(dict.fromkeys(key for part in parts for key in part.missing)),
        tuple(dict.fromkeys(doubt for part in parts for doubt in part.doubts)),
    )


def _from_fact(leaf: YesNo | OneOf | Bound, ground: Ground) -> Judged:
    chosen = ground.chosen(leaf.name)
    if chosen is None or chosen.fact is None:
        conflict = () if chosen is None else chosen.conflict
        said = () if chosen is None or not chosen.conflict else (chosen.caution,)
        return Judged(Truth.NOT_KNOWN, conflict, missing=(leaf.name,), doubts=said)
    fact = chosen.fact
    doubts = tuple(filter(None, (ground.ages.said(fact, ground.at), *fact.questions)))
    if ground.ages.expired(fact, ground.at):
        return Judged(Truth.NOT_KNOWN, (fact,), missing=(leaf.name,), doubts=doubts)
    match leaf:
        case YesNo():
            truth = Truth.of(fact.value is leaf.expected)
        case OneOf():
            truth = Truth.of(fact.value in leaf.words)
        case Bound():
            if not isinstance(fact.value, Decimal):
                return Judged(Truth.NOT_KNOWN, (fact,), missing=(leaf.name,), doubts=doubts)
            truth = Truth.of(leaf.holds(_rounded(amount(fact, leaf.unit))))
    return Judged(truth, (fact,), doubts=doubts)


def _rounded(value: float) -> float:
    # A limit given in one unit and met exactly in another must not miss by a rounding error of
    # the conversion: 177 µmol/L and 2.0 mg/dL differ in the fourth digit, 100 g/L and 10 g/dL
    # only in the sixteenth.
    return float(np.format_float_positional(value, precision=10, fractional=False))


def _from_finding(leaf: YesNo | OneOf | Bound, found: Finding, ground: Ground) -> Judged:
    value = found.value
    doubts: tuple[str, ...] = ()
    match leaf:
        case YesNo() if isinstance(value, Truth) and value is not Truth.NOT_KNOWN:
            truth = value if leaf.expected else ~value
        case OneOf() if isinstance(value, str):
            truth = Truth.of(value in leaf.words)
        case Bound() if isinstance(value, float):
            whole = np.floor(value) if leaf.name == "age" else value
            truth = Truth.of(leaf.holds(_rounded(float(whole))))
            doubts = (*_close(leaf, value), *_old(leaf, found, ground))
        case _:
            missing = found.missing or (leaf.name,)
            return Judged(Truth.NOT_KNOWN, (), (found,), missing, found.cautions)
    return Judged(truth, (), (found,), (), doubts)


def _old(leaf: Bound, found: Finding, ground: Ground) -> tuple[str, ...]:
    """Return a sentence where what is computed speaks of long ago."""
    limit = ground.ages.old_after_days.get(leaf.name)
    days = (ground.at - day_of(found.at)).days
    if limit is None or days <= limit:
        return ()
    return (f"{found.title} speaks of {days} days ago: measure again.",)


def _close(leaf: Bound, value: float) -> tuple[str, ...]:
    """Return a sentence where an estimated rate lies close to a limit."""
    if leaf.name != "gfr":
        return ()
    near = [
        limit
        for limit in (leaf.low, leaf.high)
        if limit is not None and abs(value - limit) <= CLOSE_SHARE * limit
    ]
    return tuple(
        f"The rate of {value:.1f} lies within 10 % of the limit of {limit:g} {printed(leaf.unit)}, "
        "closer than an estimate can tell: have it measured where much hangs on it."
        for limit in near
    )
