"""The plan's renograms: the answer in one line, both kidneys side by side, curves, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.assess.renogram.shown import (
    cautions_shown,
    kidney_rows,
    said_of_drainage,
    share_line,
)
from thalweg.record.fact import say_moment
from thalweg.sheets.document import Block, Cautions, Cell, Items, Section, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from thalweg.assess.renogram.result import KidneyResult, RenogramResult
    from thalweg.record.fact import Moment
    from thalweg.record.finding import Finding
    from thalweg.sheets.document import Picture

__all__ = ["PlannedRenogram", "key_findings", "renogram_section"]

TONES = {
    "drains": Tone.GOOD,
    "impaired drainage": Tone.BAD,
    "equivocal": Tone.CARE,
    "cannot be judged": Tone.UNKNOWN,
}


@dataclass(frozen=True, eq=False)
class PlannedRenogram:
    """One renogram of a case: what it says, its pictures, or why it was not analysed.

    Parameters
    ----------
    label : str
        Name of its file.
    at : date or aware datetime
    result : RenogramResult or None
    findings : tuple of Finding
    pictures : tuple of Picture
    said : tuple of str
        What the study itself carries: cautions of file and regions.
    problem : str
    """

    label: str
    at: Moment
    result: RenogramResult | None
    findings: tuple[Finding, ...]
    pictures: tuple[Picture, ...] = ()
    said: tuple[str, ...] = ()
    problem: str = ""


def key_findings(study: PlannedRenogram) -> tuple[Finding, ...]:
    """Return what a reader looks for first: the share, and which kidney does not simply drain."""
    by_name = {one.name: one for one in study.findings}
    drainage = [by_name.get(f"renogram-{side}-drainage") for side in ("left", "right")]
    doubtful = [one for one in drainage if one is not None and one.value != "drains"]
    share = by_name.get("renogram-share-left")
    return (*([share] if share is not None else []), *doubtful)


def renogram_section(number: int, study: PlannedRenogram) -> Section:
    """Return one renogram's part of the plan.

    Parameters
    ----------
    number : int
        Its place among the case's renograms, from 1; names the section in links.
    study : PlannedRenogram
    """
    title = f"Renogram of {say_moment(study.at)[:10]}"
    if study.result is None:
        blocks: tuple[Block, ...] = (Cautions((study.problem,)),)
        return Section(f"renogram-{number}", title, blocks)
    result = study.result
    sources = dict.fromkeys(key for one in study.findings for key in one.method.sources)
    kidneys = list(result.kidneys.values())
    return Section(
        f"renogram-{number}",
        title,
        (
            Text(share_line(result), lead=True),
            *(Text(caution) for one in study.findings for caution in _change(one)),
            _table(kidneys, f"{study.label}; {result.timing}."),
            *study.pictures[:1],
            Text("What each verdict rests on:"),
            Items(tuple(said_of_drainage(kidneys))),
            *study.pictures[1:],
            Text(f"Methods: {source_marks(sources)}."),
            Cautions(cautions_shown(result, study.said)),
        ),
        new_page=True,
    )


def _change(finding: Finding) -> tuple[str, ...]:
    """Return what moved since an earlier renogram, where the record holds one."""
    return finding.cautions[:1] if finding.name == "renogram-share-change" else ()


def _table(kidneys: list[KidneyResult], caption: str) -> Table:
    columns = [dict(kidney_rows(one)) for one in kidneys]
    names = dict.fromkeys(name for rows in columns for name in rows)
    head = ("What", *(f"{one.side.capitalize()} kidney" for one in kidneys))
    return Table(
        head,
        tuple(
            (
                name[:1].upper() + name[1:],
                *(_cell(one, name, rows) for one, rows in zip(kidneys, columns, strict=True)),
            )
            for name in names
        ),
        (2.4, *(3.0 for _ in kidneys)),
        caption=caption,
    )


def _cell(one: KidneyResult, name: str, rows: dict[str, str]) -> Cell | str:
    if name == "drainage":
        return Cell(rows[name], TONES.get(one.verdict, Tone.PLAIN))
    return rows.get(name, "—")
