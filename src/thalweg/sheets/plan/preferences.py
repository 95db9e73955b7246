"""The plan's page on what matters to the person: answers, order, how steady, what would turn it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.plan.preferences.places import OVERLAP, PLACES
from thalweg.plan.preferences.printed import SWING, answer_said, flips_said
from thalweg.plan.preferences.questions import NEXT_QUESTION
from thalweg.plan.preferences.weights import WEIGHTS
from thalweg.record.concept import concepts
from thalweg.sheets.document import Block, Cautions, Items, Section, Text
from thalweg.sheets.pictures.places import PlaceBar, places_picture
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from thalweg.plan.preferences.report import Preferences

__all__ = ["preference_sources", "preferences_section"]


def preferences_section(found: Preferences | None) -> tuple[Section, ...]:
    """Return the page, or nothing where no order was worked out.

    Parameters
    ----------
    found : Preferences or None
    """
    if found is None:
        return ()
    blocks: list[Block] = [Text(found.steadiness, lead=True)]
    if found.wishes:
        blocks.append(Text(f"In the person's own words: {found.wishes}."))
    blocks += _answers(found)
    if found.telling and len(found.order) > 1:
        bars = [
            PlaceBar(one.row.diversion.name, one.shares, one.place, one.span) for one in found.order
        ]
        blocks += [places_picture(bars), Text(_order(found))]
        turns = flips_said(found)
        if turns:
            blocks += [Text("What would turn it:"), Items(turns)]
    blocks += _apart(found)
    blocks.append(Text(_next(found)))
    main = ("lahdelma-2001-smaa-2", "lahdelma-2003-smaa-o", "davidson-1970-ties")
    blocks.append(Text(f"{SWING} Rests on {source_marks(main)}; the rest stands with the sources."))
    blocks.append(Cautions((*found.cautions, *OVERLAP, *WEIGHTS.cautions)))
    return (Section("preferences", "What matters to the person", tuple(blocks), new_page=True),)


def _answers(found: Preferences) -> list[Block]:
    """Return the answers; day and origin once above them where all share them."""
    facts = [answer.fact for answer in found.given.answers if answer.fact is not None]
    if not facts:
        return []
    told = [f"{fact.at.isoformat()[:10]}, {fact.origin.kind}" for fact in facts]
    said = [answer_said(found, one) for one in found.given.answers if one.fact is not None]
    if len(set(told)) == 1:
        return [Text(f"Asked which of two matters more ({told[0]}):"), Items(tuple(said))]
    each = tuple(f"{words} ({from_})" for words, from_ in zip(said, told, strict=True))
    return [Text("Asked which of two matters more:"), Items(each)]


def _order(found: Preferences) -> str:
    """Return what the picture does not show: cautions of the appraisal, and what is not known."""
    said = ["Places are among the open options only."]
    cautioned = [
        one.row.diversion.titled for one in found.order if one.row.verdict == "open with cautions"
    ]
    if cautioned:
        said.append(f"Open with cautions: {', '.join(cautioned)}.")
    lacking: dict[str, list[str]] = {}
    for one in found.order:
        for name in one.unknown:
            lacking.setdefault(name, []).append(one.row.diversion.titled)
    for name, options in lacking.items():
        of = "any of them" if len(options) == len(found.order) else ", ".join(options)
        said.append(f"Not known of {of}, and so drawn as anything: “{name}”.")
    said += [
        f"In nothing known better than {' or '.join(one.no_worse)}, and worse in something: "
        f"{one.row.diversion.name}."
        for one in found.order
        if one.no_worse
    ]
    return " ".join(said)


def _apart(found: Preferences) -> list[Block]:
    """Return the options that have no place: undecided ones with what they wait for, and closed."""
    blocks: list[Block] = []
    if found.undecided:
        waits = tuple(
            f"{row.diversion.titled} waits for: "
            f"{', '.join(concepts()[key].name for key in row.missing)}"
            for row in found.undecided
        )
        blocks += [Text("Not yet decidable, and so without a place:"), Items(waits)]
    if found.closed:
        names = ", ".join(row.diversion.titled for row in found.closed)
        blocks.append(Text(f"Closed, whatever is answered: {names}."))
    return blocks


def _next(found: Preferences) -> str:
    question = found.asking.question
    if question is None:
        return found.asking.reason
    first, second = question.words
    return (
        "To ask next, because its answer would tell most. If only one of the two could be had, "
        f"which? First: {first}. Second: {second}. (First, second, no difference, or do not know.)"
    )


def preference_sources(found: Preferences | None) -> tuple[str, ...]:
    """Return the sources that the page rests on."""
    if found is None:
        return ()
    keys = [*WEIGHTS.sources, *PLACES.sources, *NEXT_QUESTION.sources, "edwards-barron-1994-swing"]
    keys += [key for one in found.known.attributes for key in one.sources]
    for one in found.order:
        held = found.known.holdings.get(one.row.diversion.key)
        keys += held.sources if held else ()
    return tuple(dict.fromkeys(keys))
