"""The work-up's completeness: how every item stands, and what to settle first and why."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, get_args

from thalweg.evidence.bibliography import cite as cite_bibliography
from thalweg.plan.criteria.reaches import Reaches
from thalweg.plan.workup.clashes import clashes
from thalweg.plan.workup.outcomes import Rehearsed
from thalweg.plan.workup.standing import Question, State, standings
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from thalweg.plan.appraised import Appraised
    from thalweg.plan.workup.clashes import Clash
    from thalweg.plan.workup.outcomes import Outcome, Waiting
    from thalweg.plan.workup.rehearse import Rehearsal
    from thalweg.plan.workup.rulebook import WorkupRules
    from thalweg.plan.workup.standing import Measured, Standing

__all__ = ["COMPLETENESS", "STANDING_CAUTIONS", "Completeness", "Open", "Range", "completeness"]

STANDING_CAUTIONS = (
    (
        "What an answer could change is what the criteria on record would then say, tried over "
        "its plausible ends; it is no forecast, and no reason to leave a question unasked."
    ),
    (
        "The list and its limits of age are common practice unless a source stands beside them; "
        "the unit's own protocol takes precedence."
    ),
)

COMPLETENESS = Method(
    key="workup-completeness",
    title="Completeness of the work-up",
    formula=(
        "an item is done when each of its parts has an answer no older than its limit on the day "
        "of the operation, else today, and no other fact excludes it; what it could change: the "
        "appraisal repeated over the plausible answers"
    ),
    valid_for="a person in whom a urinary diversion is considered",
    sources=("thalweg-engineering",),
    cautions=STANDING_CAUTIONS,
)


@dataclass(frozen=True, slots=True)
class Range:
    """Between which values an estimate would lie, over the answers tried."""

    title: str
    least: float
    most: float
    unit: str


@dataclass(frozen=True, slots=True)
class Open:
    """An item in which something remains to do, and what it could change.

    Parameters
    ----------
    standing : Standing
    alone : tuple of Outcome
        Verdicts that it changes by itself.
    together : tuple of Outcome
        Where it changes none: those that it changes with others.
    estimates : tuple of Finding
        What waits for it, or rests on an answer too old or contradicted.
    criteria : tuple of str
        Keys of criteria that are not known and wait for it.
    rates : tuple of Range
        What would be computed.
    """

    standing: Standing
    alone: tuple[Outcome, ...] = ()
    together: tuple[Outcome, ...] = ()
    estimates: tuple[Finding, ...] = ()
    criteria: tuple[str, ...] = ()
    rates: tuple[Range, ...] = ()

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """Every verdict that it could change."""
        return (*self.alone, *self.together)


@dataclass(frozen=True, slots=True)
class Completeness:
    """How complete a work-up is on a day.

    Parameters
    ----------
    question : Question
    rules : WorkupRules
    standings : tuple of Standing
        Every item, in the rules' order.
    open : tuple of Open
        What remains to do, the most important first.
    clashes : tuple of Clash
    waiting : tuple of Waiting
        Every undecided diversion.
    names : mapping
        Name of each diversion by key.
    cautions : tuple of str
    """

    question: Question
    rules: WorkupRules
    standings: tuple[Standing, ...]
    open: tuple[Open, ...]
    clashes: tuple[Clash, ...]
    waiting: tuple[Waiting, ...]
    names: Mapping[str, str]
    cautions: tuple[str, ...]

    @property
    def counts(self) -> Mapping[State, int]:
        """How many items stand how; every state."""
        counted = Counter(one.state for one in self.standings)
        return {state: counted[state] for state in get_args(State)}

    @property
    def sources(self) -> tuple[str, ...]:
        """Bibliography keys of every item asked and of every contradiction found."""
        asked = [one.item.sources for one in self.standings if one.state != "not asked"]
        found = [clash.sources for clash in self.clashes]
        return tuple(dict.fromkeys(key for keys in (*asked, *found) for key in keys))

    def words(self, key: str) -> str:
        """Return an item's words."""
        return next(one.item.words for one in self.standings if one.item.key == key)

    def finding(self) -> Finding:
        """Return the whole as a finding: met where nothing remains to do."""
        facts = {fact.id: fact for one in self.standings for fact in one.facts}
        moments = [fact.at for fact in facts.values()]
        concepts = [key for one in self.open for part in one.standing.lacking for key in part[:1]]
        known = [key for key in dict.fromkeys(concepts) if key != "images"]
        return Finding(
            name="workup-complete",
            title="Work-up complete",
            value=Truth.of(not self.open),
            unit=None,
            at=max(moments, key=moment_key, default=self.question.at),
            method=COMPLETENESS,
            facts=tuple(facts.values()),
            cautions=(*self.cautions, *(one.sentence for one in self.clashes)),
            missing=tuple(known),
        )

    def to_json(self, cite: Callable[[str], str] = cite_bibliography) -> dict[str, Any]:
        """Return it in the shape of ``case --json``, under ``completeness``."""
        from thalweg.plan.workup.printed import completeness_json  # noqa: PLC0415 - each way

        return completeness_json(self, cite)


def completeness(
    rehearsal: Rehearsal,
    rules: WorkupRules,
    question: Question,
    measured: Mapping[str, Measured],
    cautions: tuple[str, ...] = (),
) -> Completeness:
    """Return how complete a work-up is, and what each open item could change.

    Parameters
    ----------
    rehearsal : Rehearsal
        The case with all that was computed from it.
    rules : WorkupRules
    question : Question
        For which days the answers must serve.
    measured : mapping
        What was measured on the images.
    cautions : tuple of str
        To be said beside it.

    Returns
    -------
    Completeness
        What remains to do is in this order: by the verdicts that an item alone settles among
        diversions that reach and wait for nothing else, then by the verdicts it changes among
        those that reach, then among all, then by those it changes with others, by the estimates
        that wait, by the least trouble, and as the rules list it.
    """
    case, findings = rehearsal.case, rehearsal.findings
    found = clashes(case, findings, rules, question.at)
    stand = standings(case, findings, rehearsal.base, found, measured, rules, question)
    rehearsed = Rehearsed(rehearsal, rules, measured)
    todo = tuple(one for one in stand if one.open)
    waiting = tuple(
        one
        for row in rehearsal.base.diversions
        if (one := rehearsed.waiting(row.diversion.key, todo)) is not None
    )
    opened = [_opened(one, todo, rehearsed, rehearsal) for one in todo]
    ranked = sorted(opened, key=lambda one: _rank(one, rehearsal, waiting, rules))
    unfinished = tuple(
        f"Too many joint answers to try them all for: {row.diversion.name}."
        for row in rehearsal.base.diversions
        if row.diversion.key in rehearsed.unfinished
    )
    return Completeness(
        question,
        rules,
        stand,
        tuple(ranked),
        found,
        waiting,
        {row.diversion.key: row.diversion.name for row in rehearsal.base.diversions},
        (*cautions, *rules.notices, *unfinished),
    )


def _opened(
    one: Standing, todo: Sequence[Standing], rehearsed: Rehearsed, rehearsal: Rehearsal
) -> Open:
    alone = rehearsed.alone(one)
    together = () if alone else rehearsed.together(one, todo)
    mine = frozenset(one.item.concepts)
    criteria = [
        weighed.criterion.key
        for row in rehearsal.base.diversions
        for weighed in row.weighed
        if mine & set(weighed.judged.missing)
    ]
    return Open(
        one,
        alone,
        together,
        _waiting_estimates(one, mine, rehearsal.findings),
        tuple(dict.fromkeys(criteria)),
        _rates(one, rehearsed, rehearsal),
    )


def _waiting_estimates(
    one: Standing, mine: frozenset[str], findings: Iterable[Finding]
) -> tuple[Finding, ...]:
    """Return what waits for an item or rests on its doubtful answers, each at its root."""
    doubtful = {fact.id for fact in one.facts} | {
        fact.id for clash in one.clashes for fact in clash.facts
    }
    named = [
        finding
        for finding in findings
        if mine & set(finding.missing) or any(fact.id in doubtful for fact in finding.facts)
    ]
    names = {finding.name for finding in named}
    return tuple(
        finding for finding in named if not any(below.name in names for below in finding.findings)
    )


def _rates(one: Standing, rehearsed: Rehearsed, rehearsal: Rehearsal) -> tuple[Range, ...]:
    """Return between which values the filtration rate would lie."""
    values, unit = [], ""
    for trial in rehearsed.trials(one):
        for finding in rehearsal.findings_if(dict(trial.answers)):
            if finding.name == "gfr-to-rely-on" and isinstance(finding.value, float):
                values.append(finding.value)
                unit = finding.unit or ""
    if not values or min(values) == max(values):
        return ()
    return (Range("Filtration rate to rely on", min(values), max(values), unit),)


def _reaches(row: Appraised) -> bool:
    """Return whether nothing about reach stands against a diversion or is still open."""
    return all(
        weighed.truth is Truth.MET
        for weighed in row.weighed
        if weighed.criterion.strength == "required"
        and any(isinstance(leaf, Reaches) for leaf in weighed.criterion.holds.leaves())
    )


def _rank(
    one: Open, rehearsal: Rehearsal, waiting: Sequence[Waiting], rules: WorkupRules
) -> tuple[int, ...]:
    reaching = {row.diversion.key for row in rehearsal.base.diversions if _reaches(row)}
    item = one.standing.item
    only = {each.diversion for each in waiting if each.items == (item.key,)} & reaching
    changed = [outcome.diversion for outcome in one.alone]
    return (
        -len([key for key in changed if key in only]),
        -len([key for key in changed if key in reaching]),
        -len(changed),
        -len(one.together),
        -len(one.estimates),
        rules.efforts.index(item.effort),
        [each.key for each in rules.items].index(item.key),
    )
