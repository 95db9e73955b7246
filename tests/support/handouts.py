"""Sheets for invented people, made without images."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.support.appraisal_people import FAVOURABLE, TODAY, case_of

from thalweg.evidence.figures import figures_for
from thalweg.plan.appraise import appraise
from thalweg.plan.catalogue import catalogue
from thalweg.sheets.document import Beside, Cautions, Heading, Items, Lines, Picture, Table, Text
from thalweg.sheets.handout import HandoutContent, Option

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

    from thalweg.plan.catalogue import Catalogue
    from thalweg.record.case import Case
    from thalweg.sheets.document import Block, Document


def sheet_of(
    case: Case | None = None, *, at: date = TODAY, rules: Catalogue | None = None
) -> HandoutContent:
    """Return what the sheet says of a person, by default one whom little speaks against."""
    case = case or case_of(FAVOURABLE)
    appraisal = appraise(case, (), (), rules or catalogue(), at)
    options = tuple(
        Option(row, figures_for(row.diversion.key))
        for row in appraisal.diversions
        if row.verdict != "closed"
    )
    return HandoutContent(case, at, appraisal, options)


def without(*keys: str) -> Mapping[str, bool | str]:
    """Return the favourable facts but some."""
    return {key: value for key, value in FAVOURABLE.items() if key not in keys}


def strings(document: Document) -> Iterator[str]:
    """Yield every string that a document shows."""
    yield from (document.title, document.subtitle, document.running, document.warning)
    yield from (document.last, document.labels.page, document.labels.contents)
    yield document.labels.cautions
    for section in document.sections:
        yield section.title
        yield from _of(section.blocks)


def _of(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Text | Heading):
            yield block.text
        elif isinstance(block, Items | Cautions):
            yield from block.items
        elif isinstance(block, Lines):
            yield block.prompt
        elif isinstance(block, Picture):
            yield from (block.caption, block.alternative)
        elif isinstance(block, Beside):
            yield from _of((block.picture, *block.blocks))
        elif isinstance(block, Table):
            yield from (block.caption, *block.head)
            for row in block.rows:
                yield from (one if isinstance(one, str) else one.text for one in row)
