"""Tables of findings, and the words that several parts of the plan share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.fact import say_moment
from thalweg.sheets.document import Cell, Table, Tone

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.record.finding import Finding

__all__ = ["VERDICT_TONE", "WARNING", "cautions_of", "finding_table", "source_marks"]

WARNING = (
    "Supports and does not replace licensed judgement. Check every number against the person; "
    "local protocol comes first."
)

VERDICT_TONE = {
    "open": Tone.GOOD,
    "open with cautions": Tone.CARE,
    "closed": Tone.BAD,
    "not yet decidable": Tone.UNKNOWN,
}


def source_marks(keys: Iterable[str]) -> str:
    """Return bibliography keys as the marks by which the list of sources is found."""
    return ", ".join(f"[{key}]" for key in keys)


def finding_table(findings: Iterable[Finding], caption: str) -> Table:
    """Return findings as rows: what, value with unit and interval, day, source."""
    rows = []
    for finding in findings:
        value: Cell | str = finding.shown()
        if finding.value is None:
            value = Cell("not known", Tone.UNKNOWN)
        rows.append(
            (
                finding.title,
                value,
                say_moment(finding.at)[:10],
                source_marks(finding.method.sources),
            )
        )
    return Table(
        ("What", "Value", "As of", "Source"), tuple(rows), (4.2, 3.0, 1.4, 2.6), caption=caption
    )


def cautions_of(findings: Iterable[Finding]) -> tuple[str, ...]:
    """Return every caution of the findings, each once."""
    return tuple(dict.fromkeys(c for finding in findings for c in finding.all_cautions))
