"""The completeness of a work-up for programs and for people at the keyboard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from thalweg.plan.workup.report import COMPLETENESS
from thalweg.plan.workup.rulebook import IMAGES
from thalweg.record.concept import concept
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Callable

    from thalweg.plan.workup.outcomes import Outcome
    from thalweg.plan.workup.report import Completeness, Open
    from thalweg.plan.workup.standing import Standing

__all__ = ["changes", "completeness_json", "completeness_lines", "counts_said", "told_once"]

SHOWN = 5
"""Items told first; all of them stand in the plan and in JSON."""
WORDS = {"not asked": "not asked here", "not known whether asked": "not known whether asked"}


def counts_said(whole: Completeness) -> str:
    """Return how many items stand how, those with none left out."""
    told = [f"{count} {WORDS.get(state, state)}" for state, count in whole.counts.items() if count]
    return ", ".join(told)


def changes(one: Open, whole: Completeness) -> tuple[str, ...]:
    """Return what an open item could change, as clauses; joint changes name the other items."""
    told = []
    by_others: dict[tuple[str, ...], dict[str, list[Outcome]]] = {}
    for outcome in one.outcomes:
        ways = by_others.setdefault(outcome.together_with, {})
        ways.setdefault(outcome.diversion, []).append(outcome)
    for others, ways in by_others.items():
        if others:
            told.append(f"only together with: {', '.join(map(whole.words, others))}")
        for key, outcomes in ways.items():
            ends = "; or ".join(f"{each.after} ({each.when})" for each in outcomes)
            told.append(f"{whole.names[key]}: {outcomes[0].before} → {ends}")
    told += [
        f"{each.title}: between {each.least:.0f} and {each.most:.0f} {printed(each.unit)}"
        for each in one.rates
    ]
    if not told and one.estimates:
        titles = ", ".join(dict.fromkeys(finding.title for finding in one.estimates))
        told.append(f"no verdict; waiting for it or resting on it: {titles}")
    return tuple(told) or (f"no verdict and no estimate; it serves: {one.standing.item.serves}",)


def told_once(whole: Completeness) -> tuple[Open, ...]:
    """Return the open items, of those that change something only together the first alone."""
    seen: set[frozenset[str]] = set()
    kept = []
    for one in whole.open:
        joint = {
            frozenset((one.standing.item.key, *outcome.together_with)) for outcome in one.together
        }
        if not joint or not joint <= seen:
            kept.append(one)
        seen |= joint
    return tuple(kept)


def completeness_lines(whole: Completeness) -> list[str]:
    """Return what a person at the keyboard reads: counts, then what to settle first."""
    day = whole.question.operation
    for_ = f", for an operation on {day.isoformat()}" if day else ""
    lines = [f"Work-up on {whole.question.at.isoformat()}{for_}: {counts_said(whole)}"]
    shown = told_once(whole)[:SHOWN]
    for number, one in enumerate(shown, 1):
        standing = one.standing
        because = f" {standing.because}" if standing.because else ""
        lines.append(f"  {number}. {standing.item.words} [{standing.state}]{because}")
        lines += [f"       {told}" for told in changes(one, whole)]
    if len(whole.open) > len(shown):
        lines.append(f"  All {len(whole.open)} that remain stand in the plan and in --json.")
    return lines


def completeness_json(whole: Completeness, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return it in the shape of ``case --json``, under ``completeness``."""
    operation = whole.question.operation
    opened = {one.standing.item.key: one for one in whole.open}
    return {
        "date": whole.question.at.isoformat(),
        "operation_date": operation.isoformat() if operation else None,
        "counts": dict(whole.counts),
        "settle_first": [one.standing.item.key for one in whole.open],
        "items": [_item(one, opened.get(one.item.key), cite) for one in whole.standings],
        "waiting": [
            {
                "diversion": one.diversion,
                "for": list(one.items),
                "could_become": list(one.could_become),
            }
            for one in whole.waiting
        ],
        "contradictions": [
            {
                "key": clash.key,
                "sentence": clash.sentence,
                "facts": [fact.to_json() for fact in clash.facts],
                "source": clash.local_source or "; ".join(map(cite, clash.sources)),
            }
            for clash in whole.clashes
        ],
        "cautions": [*COMPLETENESS.cautions, *whole.cautions],
    }


def _item(one: Standing, opened: Open | None, cite: Callable[[str], str]) -> dict[str, Any]:
    item = one.item
    return {
        "key": item.key,
        "words": item.words,
        "group": item.group,
        "state": one.state,
        "because": one.because,
        "serves": item.serves,
        "effort": item.effort,
        "old_after_days": item.old_after_days,
        "old_at_operation_days": item.old_at_operation_days,
        "days_over": one.days_over,
        "answers": [
            {
                "key": answer.key,
                "said": answer.said,
                "date": answer.on.isoformat() if answer.on else None,
                "facts": [fact.to_json() for fact in answer.facts],
            }
            for answer in one.answers
        ],
        "lacking": [list(part) for part in one.lacking],
        "lacking_words": [
            [key if key == IMAGES else concept(key).name for key in part] for part in one.lacking
        ],
        "settled_by": list(one.settled_by),
        "contradicted_by": [clash.key for clash in one.clashes],
        "source": item.local_source or "; ".join(map(cite, item.sources)),
        "could_change": [_outcome(each) for each in opened.outcomes] if opened else [],
        "criteria_waiting": list(opened.criteria) if opened else [],
        "estimates_waiting": [each.name for each in opened.estimates] if opened else [],
        "estimates_between": [
            {"title": r.title, "least": r.least, "most": r.most, "unit": r.unit}
            for r in (opened.rates if opened else ())
        ],
    }


def _outcome(one: Outcome) -> dict[str, Any]:
    return {
        "diversion": one.diversion,
        "before": one.before,
        "after": one.after,
        "when": one.when,
        "together_with": list(one.together_with),
    }
