"""What the answers say, as lines for people and in a shape for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import cite as cite_bibliography
from thalweg.plan.preferences.answers import WORDS
from thalweg.plan.preferences.weights import SEED

if TYPE_CHECKING:
    from collections.abc import Callable

    from thalweg.plan.preferences.answers import Answer
    from thalweg.plan.preferences.questions import Question
    from thalweg.plan.preferences.report import Preferences

__all__ = ["SWING", "answer_said", "flips_said", "preference_lines", "preferences_json"]

FLIPS_SHOWN, ANSWERS_SHOWN = 3, 2
SWING = (
    "A simpler way, on paper: give 100 points to the step that matters most (all of it, from its "
    "worst to its best), and to each other step as many as it is worth beside that."
)


def answer_said(found: Preferences, answer: Answer) -> str:
    """Return an answer as a sentence without its date."""
    first, second = found.name_of(answer.first), found.name_of(answer.second)
    told = {
        "first": f"“{first}” matters more than “{second}”",
        "second": f"“{second}” matters more than “{first}”",
        "no difference": f"“{first}” and “{second}” matter the same",
        "do not know": f"between “{first}” and “{second}”: does not know",
    }
    return told[answer.word]


def flips_said(found: Preferences) -> tuple[str, ...]:
    """Return what would put another option first, in sentences."""
    names = {one.row.diversion.key: one.row.diversion.name for one in found.order}
    said = []
    if found.weight_flips:
        turns = "; ".join(
            f"{names[flip.option]} if “{found.name_of(flip.attribute)}” weighed {flip.times:.1f} "
            "times as much"
            for flip in found.weight_flips[:FLIPS_SHOWN]
        )
        lead = found.order[0].row.diversion.name
        said.append(f"Before {lead} would stand, against what the answers say on average: {turns}.")
    seen: set[str] = set()
    for each in found.answer_flips:
        if each.option in seen or len(seen) == ANSWERS_SHOWN:
            continue
        seen.add(each.option)
        more, less = each.question.first.name, each.question.second.name
        if each.word == "second":
            more, less = less, more
        said.append(
            f"{names[each.option]} first most often: if “{more}” mattered more than “{less}”, "
            "which was not asked yet."
        )
    return tuple(said)


def preference_lines(found: Preferences) -> list[str]:
    """Return what a person at the keyboard reads."""
    lines = [f"In the person's own words: {found.wishes}"] if found.wishes else []
    lines += ["Answers on record:"] if found.given.answers else ["No answer is on record yet."]
    for answer in found.given.answers:
        when = f" ({answer.fact.at.isoformat()[:10]})" if answer.fact else ""
        lines.append(f"  {answer.key} = {answer.word}: {answer_said(found, answer)}{when}")
    lines.append(found.steadiness)
    shown = found.order if found.telling else ()
    if len(shown) > 1:
        lines.append("Open options, by mean place (95 % of places; share of first places):")
    for number, one in enumerate(shown, 1):
        low, high = one.span
        places = f"place {low}" if low == high else f"places {low} to {high}"
        lines.append(
            f"  {number}. {one.row.diversion.titled} ({one.row.verdict}): mean {one.place:.1f}, "
            f"{places}; first in {100 * one.first:.0f} of 100"
        )
        lines += [f"       no worse in anything known: {name}" for name in one.no_worse]
    for row in found.undecided:
        lines.append(f"  ? {row.diversion.titled}: waits for {', '.join(row.missing)}")
    for row in found.closed:
        lines.append(f"  x {row.diversion.titled}: closed")
    turns = flips_said(found) if shown else ()
    lines += [f"What would turn it: {sentence}" for sentence in turns]
    lines += _asked(found.asking.question) if found.asking.question else [found.asking.reason]
    return [*lines, *(f"! {caution}" for caution in found.cautions)]


def _asked(question: Question) -> list[str]:
    first, second = question.words
    answers = " or ".join(f'"{question.key}={word}"' for word in WORDS)
    return [
        "Next question: if only one of the two could be had, which would it be?",
        f"  first: {first}",
        f"  second: {second}",
        f"  --answer {answers}",
    ]


def _question_json(question: Question | None) -> dict[str, Any] | None:
    if question is None:
        return None
    first, second = question.words
    return {
        "key": question.key,
        "first": {"key": question.first.key, "name": question.first.name, "words": first},
        "second": {"key": question.second.key, "name": question.second.name, "words": second},
        "answers": list(WORDS),
        "gain_bit": question.gain_bit,
        "chance_percent": {word: 100 * share for word, share in question.chance.items()},
        "would_come_first": dict(question.leads),
    }


def preferences_json(
    found: Preferences, cite: Callable[[str], str] = cite_bibliography
) -> dict[str, Any]:
    """Return everything for programs; shares in percent of the draws.

    Parameters
    ----------
    found : Preferences
    cite : callable
        Turns a bibliography key into a citation.
    """
    return {
        "date": found.at.isoformat(),
        "wishes": found.wishes or None,
        "answers": [
            {
                "key": one.key,
                "answer": one.word,
                "fact": one.fact.to_json() if one.fact else None,
                "earlier": [fact.to_json() for fact in one.earlier],
            }
            for one in found.given.answers
        ],
        "pull_apart": [list(circle) for circle in found.circles],
        "matters": [
            {
                "key": one.key,
                "name": one.name,
                "levels": [words for _, words in one.levels],
                "note": one.note,
                "source": one.local_source or "; ".join(map(cite, one.sources)),
            }
            for one in found.known.attributes
        ],
        "order": [
            {
                "key": one.row.diversion.key,
                "name": one.row.diversion.name,
                "verdict": one.row.verdict,
                "mean_place": one.place,
                "places": list(one.span),
                "place_shares_percent": [100 * share for share in one.shares],
                "not_known": list(one.unknown),
                "no_worse": list(one.no_worse),
            }
            for one in found.order
        ],
        "undecided": [
            {"key": row.diversion.key, "name": row.diversion.name, "waits_for": list(row.missing)}
            for row in found.undecided
        ],
        "closed": [
            {
                "key": row.diversion.key,
                "name": row.diversion.name,
                "would_open": list(row.would_open),
            }
            for row in found.closed
        ],
        "steadiness": found.steadiness,
        "would_turn": list(flips_said(found)),
        "next_question": _question_json(found.asking.question),
        "no_question_because": found.asking.reason,
        "sampling": {
            "draws": len(found.weights.share),
            "effective_draws": found.weights.effective,
            "seed": SEED,
        },
        "findings": [finding.to_json(cite) for finding in found.findings()],
        "cautions": list(found.cautions),
    }
