"""One option of the sheet for the talk: what it is, what it asks, and how it fits the person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.plan.criteria.weighed import youngest
from thalweg.record.concept import concepts
from thalweg.record.fact import moment_key
from thalweg.record.truth import Truth
from thalweg.sheets.document import (
    Block,
    Cautions,
    Cell,
    Heading,
    Items,
    Section,
    Table,
    Text,
    Tone,
)
from thalweg.sheets.handout.content import standing, told
from thalweg.sheets.handout.figures import arrays_of

if TYPE_CHECKING:
    from datetime import date

    from thalweg.plan.catalogue import Criterion
    from thalweg.plan.criteria.weighed import Weighed
    from thalweg.sheets.handout.content import Option, Told
    from thalweg.sheets.messages import Wording

__all__ = ["option_section", "plain_concept", "plain_fact", "plain_parts"]

PICTURE_PT = 9.0
"""Of the words in pictures, which also stand in the tables of numbers."""

_ANSWER = {
    Truth.MET: ("label.yes", Tone.GOOD),
    Truth.NOT_MET: ("label.no", Tone.CARE),
    Truth.NOT_KNOWN: ("label.unknown", Tone.UNKNOWN),
}


def plain_fact(criterion: Criterion, words: Wording) -> str:
    """Return a criterion as a plain statement; the unit's own in its own words."""
    key = f"criterion.{criterion.key}"
    if criterion.local_source or not words.has(key):
        return words.own(f"{criterion.sentence}.")
    return words(key)


def plain_concept(key: str, words: Wording) -> str:
    """Return a missing fact as something to find out."""
    return (
        words(f"concept.{key}") if words.has(f"concept.{key}") else words.own(concepts()[key].name)
    )


def _criterion(one: Weighed, at: date, words: Wording) -> tuple[Cell | str, ...]:
    key, tone = _ANSWER[one.truth]
    moment = youngest(one.judged.facts, one.judged.findings, at)
    known = one.truth is not Truth.NOT_KNOWN and (one.judged.facts or one.judged.findings)
    day = words.day(moment_key(moment).date()) if known else ""
    return (plain_fact(one.criterion, words), Cell(words(key), tone), day)


def plain_parts(plain: Told, words: Wording) -> tuple[Block, ...]:
    """Return the operation, daily life and checks for life of an option."""
    blocks: list[Block] = []
    if plain.operation:
        blocks += [Heading(words("label.part.operation")), Text(plain.operation)]
    blocks += [Heading(words("label.part.daily")), Items(plain.daily)]
    blocks += [Heading(words("label.part.checks")), Items((plain.blood, *plain.checks))]
    return tuple(blocks)


def option_section(option: Option, at: date, words: Wording) -> Section:
    """Return everything about one option but its numbers.

    Parameters
    ----------
    option : Option
    at : date
        The day the sheet speaks of.
    words : Wording
    """
    row = option.row
    plain = told(row.diversion, words)
    blocks: list[Block] = [Heading(words("label.part.what")), Text(plain.what)]
    own = (words("notice.own-words"),) if plain.own_words else ()
    blocks.append(Cautions((*standing(row.diversion, words), *own)))
    picture = plain.picture(option, words, size="page", share=0.8)
    if picture is not None:
        blocks.append(picture)
    if option.place_mm is not None and option.example:
        blocks.append(Text(words("each.site-example")))
    blocks += plain_parts(plain, words)
    blocks += [
        Heading(words("label.part.fit")),
        Table(
            (words("label.needs"), words("label.for-you"), words("label.as-of")),
            tuple(_criterion(one, at, words) for one in row.weighed),
            (5.0, 1.8, 2.0),
            caption=words("each.fit-caption"),
        ),
        Text(words("each.fit-care")),
    ]
    pictures = arrays_of(option.figures, words, across=4, text_pt=PICTURE_PT)
    if pictures:
        blocks += [Heading(words("label.part.pictures")), *pictures]
    title = plain.name
    if not plain.own_words:
        title = words("label.title.each", name=plain.name, medical=plain.medical)
    return Section(f"option-{option.key}", title, tuple(blocks), new_page=True)
