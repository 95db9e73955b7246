"""Where the numbers of a sheet come from, for those who check them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.bibliography import bibliography, cite
from thalweg.sheets.document import Block, Section, Table, Text
from thalweg.sheets.handout.content import told

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.evidence.figures import Figure
    from thalweg.sheets.handout.content import HandoutContent, Option
    from thalweg.sheets.messages import Wording

__all__ = ["figure_rows", "publications", "sources_section"]


def _named(figure: Figure, words: Wording) -> str:
    return words(f"label.outcome.{figure.outcome}")


def figure_rows(options: Iterable[Option], words: Wording) -> tuple[tuple[str, ...], ...]:
    """Return a row for each figure: of what, what was counted, and in which publications."""
    return tuple(
        (
            ": ".join((told(option.row.diversion, words).short, _named(figure, words))),
            words(f"definition.{figure.group.definition_group}"),
            "; ".join(words.own(f"{one.events}/{one.n} [{one.source}]") for one in figure.series),
        )
        for option in options
        for figure in option.figures
    )


def publications(figures: Iterable[Figure], words: Wording, *, marks: bool = True) -> Table:
    """Return every publication behind the figures, and how its numbers were read.

    With `marks`, each has before it the key by which a table of figures names it.
    """
    keys = sorted({one.source for figure in figures for one in figure.series})
    named = ("source", "report", "checked")[0 if marks else 1 :]
    return Table(
        tuple(words(f"label.{key}") for key in named),
        tuple(
            (
                *((words.own(f"[{key}]"),) if marks else ()),
                words.own(cite(key)),
                words(f"sources.read-{bibliography()[key].read}"),
            )
            for key in keys
        ),
        (2.4, 5.4, 1.8) if marks else (3.4, 1.6),
        caption=words("sources.publications"),
    )


def sources_section(content: HandoutContent, words: Wording) -> Section:
    """Return the page of sources; said to be none where there is none."""
    title = words("label.title.sources")
    figures = [figure for option in content.options for figure in option.figures]
    if not figures:
        return Section("sources", title, (Text(words("sources.none")),), new_page=True)
    blocks: tuple[Block, ...] = (
        Text(words("sources.lead")),
        Table(
            tuple(words(f"label.{key}") for key in ("what", "counted", "source")),
            figure_rows(content.options, words),
            (3.0, 3.4, 4.2),
            caption=words("sources.caption"),
        ),
        publications(figures, words),
    )
    return Section("sources", title, blocks, new_page=True, small=True)
