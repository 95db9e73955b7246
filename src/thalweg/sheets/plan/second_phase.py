"""A ureter's second phase in the plan: each gap and narrowing, then and now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.measure.phases import METHODS, Verdict
from thalweg.record.fact import say_moment
from thalweg.sheets.document import Block, Cautions, Cell, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from thalweg.measure.phases import Compared, Phases
    from thalweg.record.fact import Moment

__all__ = ["PlannedPhase", "phase_blocks"]

_NOT_SEEN = Cell("fixed or passing is not known", Tone.UNKNOWN)
_OPENED = Cell("opened: peristalsis, not fixed", Tone.GOOD)


@dataclass(frozen=True, eq=False)
class PlannedPhase:
    """One ureter's second phase.

    Parameters
    ----------
    phases : Phases or None
        None where it was not used.
    at : date or aware datetime or None
        When it was acquired.
    problem : str
        Why it was not used.
    """

    phases: Phases | None
    at: Moment | None = None
    problem: str = ""


def phase_blocks(phase: PlannedPhase) -> list[Block]:
    """Return what the second phase shows, as a table; or why there is none."""
    if phase.phases is None:
        return [Cautions((phase.problem,))]
    when = "" if phase.at is None else f" of {say_moment(phase.at)}"
    if not phase.phases.stretches:
        return [
            Text(
                f"A second phase{when} was traced; the first has no gap and no narrowing to look up"
                " on it."
            )
        ]
    return [
        Table(
            ("Stations", "First phase", "Second phase", "Reading"),
            tuple(_row(one) for one in phase.phases.stretches),
            (1.6, 2.8, 2.8, 3.6),
            caption=f"Gaps and narrowings looked up on the second phase{when}; stations and "
            "calibres in mm, stations on the first phase. Source "
            f"{source_marks(METHODS['stretch'].sources)}.",
        )
    ]


def _row(one: Compared) -> tuple[Cell | str, ...]:
    stations = f"{one.from_mm:.0f} to {one.to_mm:.0f}"
    return (stations, _first(one), _second(one), _reading(one))


def _first(one: Compared) -> str:
    if one.narrow is None:
        return "gap, no contrast"
    limit = "less than " if one.narrow.less_than else ""
    return f"narrowing, {limit}{one.narrow.least_calibre_mm:.1f} mm"


def _second(one: Compared) -> str:
    if one.verdict is Verdict.NOT_SEEN:
        return "not seen"
    if one.least_calibre_mm is None:
        return "no contrast"
    opened = "open, " if one.verdict is Verdict.OPENED else "narrow, "
    return f"{opened}{one.least_calibre_mm:.1f} mm"


def _reading(one: Compared) -> Cell:
    if one.verdict is Verdict.OPENED:
        return _OPENED
    if one.verdict is Verdict.NOT_SEEN:
        return _NOT_SEEN
    shut = one.least_calibre_mm is None
    return Cell("shut or empty both times" if shut else "narrow both times: holds", Tone.CARE)
