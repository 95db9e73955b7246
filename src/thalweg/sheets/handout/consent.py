"""The sheet for the talk: every option that is not closed, side by side, for one person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.sheets.document import (
    Block,
    Cautions,
    Cell,
    Items,
    Lines,
    Section,
    Table,
    Text,
    Tone,
)
from thalweg.sheets.handout.content import told
from thalweg.sheets.handout.figures import outcome_blocks, told_outcomes
from thalweg.sheets.handout.frame import explained, finished, ring_lines
from thalweg.sheets.handout.option import option_section, plain_concept, plain_fact
from thalweg.sheets.handout.origins import sources_section

if TYPE_CHECKING:
    from thalweg.plan.appraised import Appraised
    from thalweg.sheets.document import Document
    from thalweg.sheets.handout.content import HandoutContent
    from thalweg.sheets.messages import Wording

__all__ = ["TEXT_PT", "consent_document"]

TEXT_PT = 12.0
"""Least size that guides to print for patients ask for (common practice)."""
OWN_LINES = 6
SETTLERS = 6

_VERDICT = {
    "open": ("label.open", Tone.GOOD),
    "open with cautions": ("label.care", Tone.CARE),
    "not yet decidable": ("label.undecided", Tone.UNKNOWN),
}


def _start(content: HandoutContent, words: Wording) -> Section:
    notices = [words(f"notice.{key}") for key in ("supports", "averages", "local", "order")]
    notices.append(words("notice.unknown"))
    if not content.adult:
        notices.append(words("notice.child"))
    if any(image.phantom for image in content.case.images):
        notices.append(words("notice.phantom"))
    if words.untranslated:
        notices.append(words.many("notice.untranslated", len(words.untranslated)))
    blocks: tuple[Block, ...] = (
        Text(words("sheet.lead"), lead=True),
        *(Text(one) for one in words.items("start.text")),
        Cautions((*notices, *(words.own(one) for one in content.notices))),
        Text(words("start.ring")),
        *ring_lines(words),
    )
    return Section("start", words("label.title.start"), blocks)


def _glance(content: HandoutContent, words: Wording) -> Section:
    title = words("label.title.glance")
    if not content.options:
        return Section("glance", title, (Text(words("glance.none")),), new_page=True)
    rows: list[tuple[Cell | str, ...]] = []
    for option in content.options:
        one = told(option.row.diversion, words)
        key, tone = _VERDICT[option.row.verdict]
        shown = (one.glance[part] for part in ("out", "bag", "tube", "bowel"))
        rows.append((one.short, *shown, Cell(words(key), tone)))
    head = ("option", "out", "bag", "tube", "bowel", "for-you")
    table = Table(
        tuple(words(f"label.{key}") for key in head),
        tuple(rows),
        (2.6, 2.0, 1.6, 2.1, 1.7, 1.7),
        caption=words("glance.caption"),
        row_heads=True,
    )
    return Section(
        "glance",
        title,
        (table, Text(words("glance.status")), Text(words("each.pictures"))),
        new_page=True,
    )


def _numbers(content: HandoutContent, words: Wording) -> tuple[Section, ...]:
    plain = {one.key: told(one.row.diversion, words) for one in content.options}
    blocks: list[Block] = [
        Text(words("numbers.lead")),
        Text(words("numbers.range")),
        Text(words("numbers.definition")),
        Text(words("sure.rule")),
    ]
    for outcome in told_outcomes(content.options):
        blocks += outcome_blocks(outcome, content.options, plain, words)
    return (Section("numbers", words("label.title.numbers"), tuple(blocks), new_page=True),)


def _closed(row: Appraised, words: Wording) -> str:
    name = told(row.diversion, words).name
    against = [
        words("other.quoted", fact=plain_fact(one.criterion, words))
        for one in row.weighed
        if one.criterion.strength == "required" and one.truth.value == "not met"
    ]
    if not against:
        return words("other.closed-unsaid", name=name)
    return words("other.closed-because", name=name, why=" ".join(against))


def _other(content: HandoutContent, words: Wording) -> Section:
    blocks: list[Block] = [Text(one) for one in words.items("other.text")]
    closed = [row for row in content.appraisal.diversions if row.verdict == "closed"]
    if closed:
        blocks.append(Text(words("other.closed")))
        blocks.append(Items(tuple(_closed(row, words) for row in closed)))
    return Section("other", words("label.title.other"), tuple(blocks), new_page=True)


def _unknown(content: HandoutContent, words: Wording) -> Section:
    settlers = content.appraisal.settles[:SETTLERS]
    blocks: list[Block] = []
    if settlers:
        blocks.append(Text(words("unknown.lead")))
        helped = tuple(
            words.many("unknown.helps", len(one.waiting), what=plain_concept(one.concept, words))
            for one in settlers
        )
        blocks.append(Items(helped))
    else:
        blocks.append(Text(words("unknown.none")))
    blocks.append(Text(words("unknown.evidence")))
    blocks.append(Items(words.items("unknown.evidence-items")))
    return Section("unknown", words("label.title.unknown"), tuple(blocks))


def _questions(words: Wording) -> Section:
    blocks = (Items(words.items("questions.items")), Lines(words("questions.own"), OWN_LINES))
    return Section("questions", words("label.title.questions"), blocks)


def _sign(words: Wording) -> Section:
    who = tuple(words(f"sign.{one}") for one in ("person", "doctor", "interpreter"))
    table = Table(
        ("", *(words(f"label.{one}") for one in ("name", "signature", "date"))),
        tuple((one, "", "", "") for one in who),
        (2.6, 2.6, 2.6, 1.8),
        roomy=True,
        row_heads=True,
    )
    blocks = (
        Cautions((words("sign.not-consent"),)),
        Text(words("sign.lead")),
        Items(words.items("sign.items")),
        Lines(words("sign.decided"), 2),
        table,
    )
    return Section("sign", words("label.title.sign"), blocks, new_page=True)


def consent_document(content: HandoutContent, words: Wording) -> Document:
    """Return the sheet for the talk.

    Parameters
    ----------
    content : HandoutContent
    words : Wording

    Returns
    -------
    Document
        Before you start; words explained; the options side by side; each option; numbers; other
        choices and doing nothing; what is not known; questions; signatures; sources.
    """
    start = _start(content, words)
    rest = (
        _glance(content, words),
        *(option_section(one, content.at, words) for one in content.options),
        *_numbers(content, words),
        _other(content, words),
        _unknown(content, words),
        _questions(words),
        _sign(words),
        sources_section(content, words),
    )
    person = content.case.person
    born = words("label.part.born", day=words.day(person.born))
    case = words("label.part.case", case=content.case.id)
    return finished(
        (start, explained((start, *rest), words), *rest),
        words,
        title=words("label.title.sheet"),
        subtitle=f"{words.own(person.name)}, {born}",
        running=f"{case} · {words.day(content.at)}",
        warning=words("sheet.warning"),
        made_on=content.at.isoformat(),
        text_pt=TEXT_PT,
    )
