"""The kidneys over time: what a surgeon reads in ten seconds, then all of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.fact import say_moment
from thalweg.record.truth import Truth
from thalweg.sheets.document import Block, Cautions, Cell, Section, Table, Tone
from thalweg.sheets.pictures.decline import decline_picture
from thalweg.sheets.plan.words import cautions_of, source_marks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.assess.decline.report import Decline
    from thalweg.record.finding import Finding

__all__ = ["kidney_course_section"]

_ANSWER = {Truth.MET: "yes", Truth.NOT_MET: "no", Truth.NOT_KNOWN: "not known"}
_TONE = {Truth.MET: Tone.BAD, Truth.NOT_MET: Tone.GOOD, Truth.NOT_KNOWN: Tone.UNKNOWN}


def _value(finding: Finding) -> Cell | str:
    if isinstance(finding.value, Truth):
        return Cell(_ANSWER[finding.value], _TONE[finding.value])
    if finding.value is None:
        return Cell("not known", Tone.UNKNOWN)
    if "stage" in str(finding.value) and "stage 0)" not in str(finding.value):
        return Cell(finding.shown(), Tone.CARE)
    return finding.shown()


def _table(findings: Iterable[Finding]) -> Table:
    return Table(
        ("What", "Value", "Because", "As of", "Source"),
        tuple(
            (
                finding.title,
                _value(finding),
                " ".join(finding.cautions[:1]),
                say_moment(finding.at)[:10],
                source_marks(finding.method.sources),
            )
            for finding in findings
        ),
        (3.0, 2.6, 3.8, 1.3, 2.0),
        caption="Acute injury, decline and each kidney's part.",
    )


def kidney_course_section(
    findings: tuple[Finding, ...], decline: Decline | None
) -> tuple[Section, ...]:
    """Return the section on the kidneys over time; none where the record carries nothing.

    Parameters
    ----------
    findings : tuple of Finding
        Of injury, decline and each kidney.
    decline : Decline or None
        What is drawn.
    """
    if not findings:
        return ()
    blocks: list[Block] = []
    if decline is not None and decline.course is not None:
        blocks.append(decline_picture(decline))
    blocks.append(_table(findings))
    said = {caution for one in findings for caution in one.cautions[:1]}
    blocks.append(Cautions(tuple(one for one in cautions_of(findings) if one not in said)))
    return (Section("kidney-course", "The kidneys over time", tuple(blocks), new_page=True),)
