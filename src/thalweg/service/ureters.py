"""Trace the ureters that are marked on a case's images."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.measure.findings import course_findings
from thalweg.measure.trace import trace_ureter
from thalweg.plan.staging import FreedUreter, division_of, pivot_of
from thalweg.service.tracing import acquired_on, image_cautions

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from thalweg.measure.course import Course
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Mark, Moment
    from thalweg.record.finding import Finding
    from thalweg.record.image import ImageVolume
    from thalweg.service.images import Images

    Draw = Callable[[ImageVolume, Course, str], Any]

__all__ = ["SIDES", "Draw", "TracedUreter", "traced_ureters"]

SIDES = ("left", "right")


@dataclass(frozen=True, eq=False)
class TracedUreter:
    """One marked ureter: traced, or why not.

    Parameters
    ----------
    side : str
        ``"left"`` or ``"right"``.
    at : date or aware datetime
        When the images were acquired.
    course : Course or None
    freed : FreedUreter or None
        None where it was not traced or its pivot is not known.
    findings : tuple of Finding
        Length first.
    facts : tuple of Fact
        The marks.
    picture : object or None
        What `draw` made of it.
    problem : str
        Why it was not traced or cannot be freed; empty where all is well.
    """

    side: str
    at: Moment
    course: Course | None
    freed: FreedUreter | None
    findings: tuple[Finding, ...]
    facts: tuple[Fact, ...]
    picture: Any = None
    problem: str = ""


def traced_ureters(
    case: Case, images: Images, *, draw: Draw | None, at: date, progress: Progress
) -> tuple[TracedUreter, ...]:
    """Return every marked ureter; one that cannot be traced does not stop the other."""
    found = []
    for side in SIDES:
        mark, chosen = case.mark(f"ureter-{side}")
        if mark is None or chosen.fact is None:
            if chosen.caution:
                found.append(TracedUreter(side, at, None, None, (), (), problem=chosen.caution))
            continue
        try:
            volume = images.volume(mark.series_uid)
            progress(f"Tracing the {side} ureter", 0, 1)
            found.append(_traced(case, side, mark, chosen.fact, volume, draw, at))
            progress(f"Tracing the {side} ureter", 1, 1)
        except InputError as refused:
            problem = f"The {side} ureter was not traced: {refused}"
            found.append(TracedUreter(side, at, None, None, (), (chosen.fact,), problem=problem))
    return tuple(found)


def _traced(
    case: Case,
    side: str,
    mark: Mark,
    fact: Fact,
    volume: ImageVolume,
    draw: Draw | None,
    at: date,
) -> TracedUreter:
    start, *via, end = mark.points_mm
    course = trace_ureter(volume, start, end, via)
    taken, undated = acquired_on(volume.acquired, at)
    doubts = (*image_cautions(volume), *undated)
    findings = tuple(
        finding.with_cautions(doubts)
        for finding in course_findings(course, at=taken, side=side, facts=(fact,))
    )
    pole, held = case.mark(f"lower-pole-{side}")
    freed, problem = None, ""
    if pole is None or held.fact is None:
        problem = held.caution or (
            f"How far the {side} ureter can be freed is not known: mark the lower pole of its "
            f"kidney (lower-pole-{side})."
        )
    else:
        pivot = pivot_of(course, pole.points_mm[0])
        division, why = division_of(course, pivot)
        freed = FreedUreter(side, course, pivot, division, (fact, held.fact), why)
    picture = None if draw is None else draw(volume, course, side)
    facts = (fact,) if held.fact is None else (fact, held.fact)
    return TracedUreter(side, taken, course, freed, findings, facts, picture, problem)
