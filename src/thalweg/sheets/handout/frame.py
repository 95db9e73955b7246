"""What the sheets for the person share: glossary, last line, lines to write on."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from thalweg.sheets.document import (
    Beside,
    Cautions,
    Document,
    Items,
    Labels,
    Lines,
    Section,
    Table,
    Text,
)
from thalweg.sheets.messages.catalogue import glossary
from thalweg.sheets.messages.grade import reading_grade

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.sheets.document import Block
    from thalweg.sheets.messages import Wording

__all__ = ["explained", "finished", "ring_lines", "running_texts"]

_ENDS = (".", "?", "!", ":", "”")
"""How a sentence ends; what ends otherwise is a name in a list."""
UNMEASURED = ("sources", "sign")
"""Sections of publications and of names: nobody reads them as a text."""


def running_texts(sections: Iterable[Section]) -> Iterator[str]:
    """Yield every sentence of the sections, in the order in which it is read."""
    for section in sections:
        if section.key not in UNMEASURED:
            yield from _texts(section.blocks)


def _texts(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Text):
            yield block.text
        elif isinstance(block, Items | Cautions):
            yield from block.items
        elif isinstance(block, Beside):
            yield from _texts(block.blocks)


def explained(sections: Iterable[Section], words: Wording) -> Section:
    """Return the words that these sections use and that are explained before them.

    In English the words are looked for; a translation has other forms of them, and gets all.
    """
    keys = glossary()
    if words.language == "en":
        said = " ".join((*running_texts(sections), *_cells(sections))).casefold()
        keys = tuple(key for key in keys if _used(words(f"label.glossary.{key}"), said))
    rows = tuple((words(f"label.glossary.{key}"), words(f"glossary.means.{key}")) for key in keys)
    return Section(
        "words",
        words("label.title.glossary"),
        (
            Table(
                (words("label.word"), words("label.means")),
                rows,
                (1.0, 4.0),
                caption=words("glossary.caption"),
                row_heads=True,
            ),
        ),
    )


def _cells(sections: Iterable[Section]) -> Iterator[str]:
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Table):
                for row in block.rows:
                    yield from (one if isinstance(one, str) else one.text for one in row)


def _used(word: str, said: str) -> bool:
    return re.search(rf"\b{re.escape(word.casefold())}s?\b", said) is not None


def ring_lines(words: Wording) -> tuple[Lines, ...]:
    """Return lines for the numbers to ring."""
    return tuple(Lines(words(f"start.ring-{one}"), 1) for one in ("nurse", "ward", "night"))


def finished(
    sections: tuple[Section, ...],
    words: Wording,
    *,
    title: str,
    subtitle: str,
    running: str,
    warning: str,
    made_on: str,
    text_pt: float,
) -> Document:
    """Return the document, its last line saying how hard it is to read."""
    said = [text for text in running_texts(sections) if text.endswith(_ENDS)]
    grade = reading_grade(said) if words.language == "en" else None
    last = words("grade.none")
    if grade is not None:
        last = words("grade.measured", grade=round(max(grade, 0.0), 1))
    return Document(
        title=title,
        subtitle=subtitle,
        running=running,
        warning=warning,
        made_on=made_on,
        sections=sections,
        language=words.language,
        direction=words.direction,
        text_pt=text_pt,
        labels=Labels(
            contents=words("label.contents"),
            # The numbers are put in where the pages are made.
            page=words.raw("label.page"),
            cautions=words("label.cautions"),
        ),
        last=last,
    )
