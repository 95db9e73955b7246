"""The plan's radiographs: each shadow with its picture, its lengths and what they are worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.record.fact import say_moment
from thalweg.sheets.document import Block, Cautions, Section, Text
from thalweg.sheets.plan.words import cautions_of, finding_table

if TYPE_CHECKING:
    from thalweg.record.finding import Finding
    from thalweg.sheets.document import Picture

__all__ = ["PlannedRadiograph", "radiograph_section"]


@dataclass(frozen=True, eq=False)
class PlannedRadiograph:
    """One ureter on one radiograph: findings, picture, how its scale was settled, what it means."""

    side: str
    label: str
    findings: tuple[Finding, ...]
    picture: Picture | None
    scale: str = ""
    said: tuple[str, ...] = ()
    problem: str = ""


def radiograph_section(number: int, film: PlannedRadiograph) -> Section:
    """Return one radiograph's part of the plan.

    Parameters
    ----------
    number : int
        Its place among the case's radiographs, from 1; names the section in links.
    film : PlannedRadiograph
    """
    blocks: list[Block] = []
    if film.problem:
        blocks.append(Cautions((film.problem,)))
    if film.findings:
        day = say_moment(film.findings[0].at)[:10]
        caption = f"On the radiograph {film.label.rpartition(',')[0]} of {day}; a lower bound."
        blocks.append(finding_table(film.findings, caption))
        blocks.append(Text(" ".join((film.scale, *film.said)).strip()))
    if film.picture is not None:
        blocks.append(film.picture)
    told = set(film.said)
    blocks.append(Cautions(tuple(c for c in cautions_of(film.findings) if c not in told)))
    title = f"{film.side.capitalize()} ureter on a radiograph"
    return Section(f"radiograph-{number}", title, tuple(blocks), new_page=True)
