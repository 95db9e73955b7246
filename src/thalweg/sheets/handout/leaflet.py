"""A leaflet on one diversion, in large print, that speaks of nobody in particular."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.outcome import outcomes
from thalweg.sheets.document import Block, Cautions, Heading, Items, Lines, Section, Text
from thalweg.sheets.handout.content import cannot_happen, standing, told
from thalweg.sheets.handout.figures import arrays_of, how_many, how_sure, whom
from thalweg.sheets.handout.frame import explained, finished, ring_lines
from thalweg.sheets.handout.option import plain_parts
from thalweg.sheets.handout.origins import publications

if TYPE_CHECKING:
    from datetime import date

    from thalweg.sheets.document import Document
    from thalweg.sheets.handout.content import Option, Told
    from thalweg.sheets.messages import Wording

__all__ = ["TEXT_PT", "leaflet_document"]

TEXT_PT = 16.0
"""Large print begins here (common practice of large-print guides)."""
PICTURE_SHARE = 0.72
"""Of the page's width: the words of a diagram for phones are then as large as the text."""
NOTES = 8


def _what(option: Option, plain: Told, words: Wording, *, adult: bool) -> Section:
    notices = [words(f"notice.{key}") for key in ("supports", "averages", "local", "unknown")]
    notices[:0] = standing(option.row.diversion, words)
    if not adult:
        notices.append(words("notice.child"))
    if plain.own_words:
        notices.append(words("notice.own-words"))
    if words.untranslated:
        notices.append(words.many("notice.untranslated", len(words.untranslated)))
    blocks: list[Block] = []
    if not plain.own_words:
        blocks.append(Text(words("label.part.medical", medical=plain.medical)))
    blocks += [Text(plain.what), Cautions(tuple(notices))]
    picture = plain.picture(option, words, size="phone", share=PICTURE_SHARE)
    if picture is not None:
        blocks.append(picture)
    return Section("what", words("label.part.what"), tuple(blocks), new_page=True)


def _numbers(option: Option, words: Wording) -> Section:
    title = words("label.part.numbers")
    if not option.figures:
        return Section("numbers", title, (Text(words("leaflet.numbers-none")),), new_page=True)
    blocks: list[Block] = [Text(words("leaflet.numbers-lead")), Text(words("numbers.range"))]
    for figure in option.figures:
        blocks.append(Heading(words(f"label.outcome.{figure.outcome}")))
        blocks.append(Text(words(f"outcome.{figure.outcome}")))
        said = (how_many(figure, words), whom(figure, words), how_sure(figure, words))
        blocks.append(Items(said))
    pictures = arrays_of(option.figures, words, across=2, text_pt=TEXT_PT)
    if pictures:
        blocks += [Heading(words("label.part.pictures")), *pictures]
    there = {one.outcome for one in option.figures}
    missing = [key for key in outcomes() if key not in there | cannot_happen(option.key)]
    if missing:
        blocks.append(Text(words("numbers.missing")))
        blocks.append(Items(tuple(words(f"label.outcome.{key}") for key in missing)))
    return Section("numbers", title, tuple(blocks), new_page=True)


def _ring(plain: Told, words: Wording) -> Section:
    alarms = (*words.items("alarm.common"), *plain.alarm)
    blocks: tuple[Block, ...] = (
        Text(words("leaflet.ring-lead"), lead=True),
        Cautions(alarms),
        Text(words("alarm.local")),
        Heading(words("label.part.who")),
        *ring_lines(words),
    )
    return Section("ring", words("label.part.ring"), blocks, new_page=True)


def leaflet_document(option: Option, words: Wording, *, at: date, adult: bool = True) -> Document:
    """Return the leaflet of one diversion.

    Parameters
    ----------
    option : Option
        Only its diversion and its figures are used: nothing of a person.
    words : Wording
    at : date
        The day it speaks of.
    adult : bool
        Whether texts and figures are about people of the reader's age.
    """
    plain = told(option.row.diversion, words)
    life = Section("life", words("label.part.life"), plain_parts(plain, words))
    what = _what(option, plain, words, adult=adult)
    numbers, ring = _numbers(option, words), _ring(plain, words)
    notes = Section("notes", words("label.part.notes"), (Lines("", NOTES),))
    blocks: tuple[Block, ...] = (Text(words("sources.none")),)
    if option.figures:
        blocks = (publications(option.figures, words, marks=False),)
    sources = Section("sources", words("label.title.sources"), blocks, new_page=True)
    rest = (what, life, numbers, ring, notes)
    return finished(
        (explained(rest, words), *rest, sources),
        words,
        title=plain.name,
        subtitle=words("label.part.subtitle"),
        running=words.day(at),
        warning=words("leaflet.warning"),
        made_on=at.isoformat(),
        text_pt=TEXT_PT,
    )
