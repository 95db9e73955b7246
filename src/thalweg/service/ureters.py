"""Trace the ureters that are marked on a case's images."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.measure.findings import course_findings
from thalweg.measure.pelvis_finding import pelvis_finding
from thalweg.plan.staging import FreedUreter, division_of, pivot_of
from thalweg.service.marked import marked_ureter, measured_course, refusal
from thalweg.service.marked_phase import marked_again
from thalweg.service.tracing import pelvis_beside

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from thalweg.measure.course import Course
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding
    from thalweg.record.image import ImageVolume
    from thalweg.service.images import Images
    from thalweg.service.marked import MeasuredCourse
    from thalweg.service.marked_phase import SeenAgain

__all__ = ["SIDES", "Draw", "TracedUreter", "traced_ureters"]

SIDES = ("left", "right")


@dataclass(frozen=True)
class Draw:
    """How to make pictures while an image is in memory.

    Parameters
    ----------
    course : callable
        Takes image, course, side, and pivot and division as stations in mm (None: not known).
    refusal : callable
        Takes image, what was refused, and side; may return None.
    """

    course: Callable[[ImageVolume, Course, str, float | None, float | None], Any]
    refusal: Callable[[ImageVolume, InputError, str], Any]


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
    again : SeenAgain or None
        What a second phase shows of it, or why nothing; None where none is marked.
    """

    side: str
    at: Moment
    course: Course | None
    freed: FreedUreter | None
    findings: tuple[Finding, ...]
    facts: tuple[Fact, ...]
    picture: Any = None
    problem: str = ""
    again: SeenAgain | None = None


def traced_ureters(
    case: Case, images: Images, *, draw: Draw | None, at: date, progress: Progress
) -> tuple[TracedUreter, ...]:
    """Return every marked ureter; one that cannot be traced does not stop the other."""
    found = []
    for side in SIDES:
        marked = marked_ureter(case, side)
        if marked.mark is None or marked.fact is None:
            if marked.caution:
                found.append(TracedUreter(side, at, None, None, (), (), problem=marked.caution))
            continue
        progress(f"Tracing the {side} ureter", 0, 1)
        try:
            measured = measured_course(marked, images, side=side, at=at)
        except InputError as refused:
            problem = refusal(side, refused, by_hand=marked.by_hand)
            picture, undrawn = None, ""
            if draw is not None and refused.detail is not None:  # the image was read, then refused
                volume = images.volume(marked.mark.series_uid)
                picture, undrawn = _drawn(draw.refusal, volume, refused, side)
            problem += undrawn
            found.append(TracedUreter(side, at, None, None, (), (marked.fact,), picture, problem))
            continue
        again = marked_again(case, side, marked.fact, measured, images, progress=progress)
        found.append(_freed(case, side, marked.fact, measured, again, draw))
        progress(f"Tracing the {side} ureter", 1, 1)
    return tuple(found)


def _freed(
    case: Case,
    side: str,
    fact: Fact,
    measured: MeasuredCourse,
    again: SeenAgain | None,
    draw: Draw | None,
) -> TracedUreter:
    """Return a measured ureter with what of it can be freed, its findings and its picture."""
    course, volume = measured.course, measured.volume
    told = course_findings(course, at=measured.taken, side=side, facts=(fact,))
    pelvis = pelvis_beside(course, volume)
    wide = pelvis_finding(pelvis, at=measured.taken, side=side, facts=(fact,))
    findings = tuple(finding.with_cautions(measured.doubts) for finding in (*told, wide))
    phases, seconds = (None, ()) if again is None else (again.phases, again.facts)
    findings += () if again is None else again.findings
    pole, held = case.mark(f"lower-pole-{side}")
    freed, problem = None, ""
    if course.points_mm[-1, 2] > course.points_mm[0, 2]:
        problem = (
            f"How far the {side} ureter can be freed is not known: it runs upward, so that the "
            "height of its kidney's lower pole does not say where it stays held."
        )
    elif pole is None or held.fact is None:
        problem = held.caution or (
            f"How far the {side} ureter can be freed is not known: mark the lower pole of its "
            f"kidney (lower-pole-{side})."
        )
    else:
        pivot = pivot_of(course, pole.points_mm[0])
        division, why = division_of(course, pivot, phases)
        freed = FreedUreter(side, course, pivot, division, (fact, held.fact, *seconds), why)
    picture, undrawn = None, ""
    if draw is not None and volume is not None:
        stations = (None, None) if freed is None else (freed.pivot_mm, freed.division_mm)
        picture, undrawn = _drawn(draw.course, volume, course, side, *stations)
    facts = (fact, *(() if held.fact is None else (held.fact,)), *seconds)
    problem += undrawn
    return TracedUreter(
        side, measured.taken, course, freed, findings, facts, picture, problem, again
    )


def _drawn(draw: Callable[..., Any], *what: Any) -> tuple[Any, str]:
    """Return a picture, or what to say where there is none: no measure waits for its picture."""
    try:
        return draw(*what), ""
    except Exception as unforeseen:  # noqa: BLE001 - our fault, said, and the rest holds
        return None, f" Its picture could not be drawn ({type(unforeseen).__name__})."
