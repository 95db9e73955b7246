"""The nearest change that would open a closed option, as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.fact import say_moment
from thalweg.sheets.document import Block, Cell, Items, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.plan.nearest import Nearest, Step

__all__ = ["nearest_blocks", "nearest_sources"]

_TONE = {
    "changeable": Tone.CARE,
    "treatable": Tone.CARE,
    "not judged": Tone.UNKNOWN,
    "not changeable": Tone.BAD,
}


def _row(step: Step) -> tuple[Cell | str, ...]:
    day = "" if step.at is None else f", {say_moment(step.at)[:10]}"
    far = f": {step.distance}" if step.distance else ""
    return (
        f"{step.wanted[:1].upper()}{step.wanted[1:]}",
        f"{step.now}{day}{far}",
        Cell(step.change.can, _TONE[step.change.can]),
        step.verdict.partition(": ")[2],
        step.change.local_source or source_marks(step.change.sources),
    )


def nearest_blocks(nearest: Nearest | None) -> tuple[Block, ...]:
    """Return the steps, what would bring a short ureter further, and what would follow.

    Parameters
    ----------
    nearest : Nearest or None
        None gives nothing.
    """
    if nearest is None:
        return ()
    table = Table(
        ("Nearest change", "Now, and how far", "Can it change?", "How", "Source"),
        tuple(map(_row, nearest.steps)),
        (2.8, 3.0, 1.5, 3.6, 2.0),
        caption="What would have to be otherwise for this option not to be closed.",
    )
    levers = tuple(
        f"{step.called[:1].upper()}{step.called[1:]}: {lever.says}."
        for step in nearest.steps
        for lever in step.levers
    )
    _, *after = nearest.lines()[len(nearest.steps) - 1 :]
    told = Text(" ".join(f"{line[:1].upper()}{line[1:]}." for line in after))
    return (table, *((Items(levers),) if levers else ()), told)


def nearest_sources(found: Iterable[Nearest]) -> list[str]:
    """Return the bibliography keys of what is said to change or not."""
    return [key for one in found for step in one.steps for key in step.change.sources]
