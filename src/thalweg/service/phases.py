"""A second phase beside a traced one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.dicom import read_volume
from thalweg.measure.phases import compared, phase_findings
from thalweg.measure.trace import trace_ureter
from thalweg.progress import silent
from thalweg.service.tracing import acquired_on, image_cautions

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from thalweg.measure.course import Course
    from thalweg.measure.phases import Phases
    from thalweg.progress import Progress
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding
    from thalweg.record.image import ImageVolume

__all__ = ["SAME_MARKS", "SecondPhase", "second_phase", "seen_again"]

SAME_MARKS = (
    "The points of the first phase were used on the second: both series are taken to share one"
    " frame of reference."
)


@dataclass(frozen=True)
class SecondPhase:
    """The second course and what it says of the first."""

    course: Course
    phases: Phases
    findings: tuple[Finding, ...]

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        told = dict.fromkeys(c for finding in self.findings for c in finding.all_cautions)
        return [*(f"{finding}" for finding in self.findings), *(f"! {caution}" for caution in told)]

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers in millimetres, and the full findings."""
        return {
            "length_mm": self.course.length_mm,
            "length_sd_mm": self.course.length_sd_mm,
            "length_difference_mm": self.phases.length_difference_mm,
            "length_difference_sd_mm": self.phases.length_difference_sd_mm,
            "start_shift_mm": self.phases.start_shift_mm.tolist(),
            "end_shift_mm": self.phases.end_shift_mm.tolist(),
            "apart_mm": self.phases.apart_mm,
            "stretches": [
                {
                    "kind": one.kind,
                    "from_mm": one.from_mm,
                    "to_mm": one.to_mm,
                    "verdict": one.verdict.value,
                    "least_calibre_mm": one.least_calibre_mm,
                }
                for one in self.phases.stretches
            ],
            "findings": [finding.to_json(cite) for finding in self.findings],
        }


def second_phase(
    first: Course,
    folder: Path,
    points_mm: Sequence[tuple[float, float, float]],
    *,
    same_marks: bool,
    progress: Progress = silent,
) -> SecondPhase:
    """Trace the same ureter on a second series and compare.

    Parameters
    ----------
    first : Course
    folder : Path
        Holds the second series.
    points_mm : sequence of tuple
        Start, via points and end on it.
    same_marks : bool
        They are those of the first phase.
    progress : Progress

    Raises
    ------
    InputError
        If the series or the points cannot be used; says that it is the second phase.
    """
    try:
        volume = read_volume(folder, progress=progress)
        return seen_again(
            first,
            volume,
            points_mm,
            otherwise=date.today(),  # noqa: DTZ011 - only if undated
            doubts=(SAME_MARKS,) if same_marks else (),
            progress=progress,
        )
    except InputError as refused:
        raise refused.at("second phase") from refused


def seen_again(
    first: Course,
    volume: ImageVolume,
    points_mm: Sequence[tuple[float, float, float]],
    *,
    otherwise: Moment,
    doubts: tuple[str, ...],
    side: str = "",
    facts: tuple[Fact, ...] = (),
    progress: Progress = silent,
) -> SecondPhase:
    """Trace the same ureter on a second image and compare.

    Parameters
    ----------
    first : Course
    volume : ImageVolume
        The second series.
    points_mm : sequence of tuple
        Start, via points and end on it.
    otherwise : date or aware datetime
        Date of a series that does not say its own.
    doubts : tuple of str
        What every finding must say beside what the image brings along.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    facts : tuple of Fact
        The marks of both phases.
    progress : Progress

    Raises
    ------
    InputError
        If it cannot be traced.
    """
    start, *via, end = points_mm
    course = trace_ureter(volume, start, end, via, side=side, progress=progress)
    phases = compared(first, course)
    at, undated = acquired_on(volume.acquired, otherwise)
    doubts = (*image_cautions(volume), *undated, *doubts)
    *stretches, length = phase_findings(phases, at=at, side=side, facts=facts)
    own = tuple(f"On the second phase: {caution}" for caution in course.cautions)
    found = (*stretches, length.with_cautions(own))
    return SecondPhase(course, phases, tuple(one.with_cautions(doubts) for one in found))
