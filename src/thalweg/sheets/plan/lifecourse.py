"""What each open diversion would mean over a life: curves, a table for each horizon, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.lifecourse.figures import FIGURES, horizon_words
from thalweg.sheets.document import Block, Cautions, Cell, Section, Table, Text, Tone
from thalweg.sheets.pictures.lives import lives_picture

if TYPE_CHECKING:
    from thalweg.plan.lifecourse.report import LifeReport

__all__ = ["PlannedLives", "lifecourse_section", "lifecourse_sources"]

COLUMNS = (
    ("survival", "Alive, of 100"),
    ("operations", "Further operations"),
    ("nights", "Nights in hospital"),
    ("tube-changes", "Tube changes"),
    ("tube-days", "Days with a tube"),
    ("bag-days", "Days with a bag"),
    ("lost-unit", "A kidney lost, of 100"),
    ("kidney-failure", "Kidneys failed, of 100"),
    ("gfr", "GFR of those alive"),
)
SHARES = (3.1, *(1.25,) * len(COLUMNS))


@dataclass(frozen=True)
class PlannedLives:
    """The life course of a plan, or why there is none.

    Parameters
    ----------
    report : LifeReport or None
        At the horizons of the tables.
    curves : LifeReport or None
        At many horizons.
    reason : str
        Which diversions are in it, or why there is no life course.
    """

    report: LifeReport | None
    curves: LifeReport | None
    reason: str


def _cell(report: LifeReport, option: str, key: str, horizon: int) -> Cell | str:
    found = report.estimate(option, key, horizon)
    if found is None:
        dead = key == "gfr" and np.isinf(report.course.years[horizon])
        return "" if dead else Cell("not known", Tone.UNKNOWN)
    figure = next(one for one in FIGURES if one.key == key)
    scale = 100.0 if figure.chance else 1.0
    digits = 1 if key == "operations" else 0
    middle, low, high = (value * scale for value in (found.mean, *found.interval))
    return f"{middle:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def _table(report: LifeReport, horizon: int) -> Table:
    years = report.course.years[horizon]
    columns = [one for one in COLUMNS if not (np.isinf(years) and one[0] in {"survival", "gfr"})]
    rows = tuple(
        (
            report.course.option(option).name,
            *(_cell(report, option, key, horizon) for key, _ in columns),
        )
        for option in report.course.tallies
    )
    when = "Over the whole life" if np.isinf(years) else f"By {horizon_words(years)}"
    return Table(
        ("Diversion", *(title for _, title in columns)),
        rows,
        SHARES[: len(columns) + 1],
        caption=(
            f"{when} after the operation: mean of simulated lives, and the 95 % interval that "
            "doubt of the rates leaves (GFR: median and 95 % of people, mL/min/1.73 m²)."
        ),
    )


def _lacking(report: LifeReport) -> tuple[str, ...]:
    """Return what is missing from the figures of each option."""
    said = []
    for option in report.course.tallies:
        rates = report.course.option(option)
        words = [
            text
            for name, texts in rates.unknown.items()
            for text in texts
            if not name.startswith("event:")
        ]
        if words:
            said.append(f"{rates.name}: {' '.join(dict.fromkeys(words))}")
    return tuple(said)


def lifecourse_section(lives: PlannedLives) -> Section:
    """Return the section of the life course; its reason where there is none.

    Parameters
    ----------
    lives : PlannedLives
    """
    blocks: list[Block] = [Text(lives.reason)]
    if lives.report is not None:
        if lives.curves is not None:
            blocks.append(lives_picture(lives.curves))
        blocks += [_table(lives.report, n) for n in range(len(lives.report.course.years))]
        blocks.append(Cautions((*lives.report.cautions(), *_lacking(lives.report))))
    return Section("life-course", "What each would mean over a life", tuple(blocks), new_page=True)


def lifecourse_sources(lives: PlannedLives | None) -> tuple[str, ...]:
    """Return the sources below the figures, each once."""
    if lives is None or lives.report is None:
        return ()
    report = lives.report
    return tuple(
        dict.fromkeys(key for option in report.course.tallies for key in report.sources(option))
    )
