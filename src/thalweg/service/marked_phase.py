"""The second phase that a case marks: traced beside the first, and never in its way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.exchange.casefile.second import SECONDS
from thalweg.progress import silent
from thalweg.record.fact import Mark, moment_key, say_moment
from thalweg.service.phase_marks import shares_points
from thalweg.service.phases import SAME_MARKS, seen_again

if TYPE_CHECKING:
    from thalweg.measure.phases import Phases
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding
    from thalweg.record.image import ImageVolume
    from thalweg.service.images import Images
    from thalweg.service.marked import MeasuredCourse
    from thalweg.service.phases import SecondPhase

__all__ = ["SeenAgain", "marked_again"]


@dataclass(frozen=True, eq=False)
class SeenAgain:
    """What a second phase shows of one ureter, or why nothing.

    Parameters
    ----------
    phases : Phases or None
        Both phases against each other; None where the second was not used.
    findings : tuple of Finding
        Each stretch, then the difference of the lengths.
    facts : tuple of Fact
        The second phase's mark, where it was used.
    problem : str
        Why it was not used; empty where it was.
    """

    phases: Phases | None = None
    findings: tuple[Finding, ...] = ()
    facts: tuple[Fact, ...] = ()
    problem: str = ""


def marked_again(
    case: Case,
    side: str,
    first: Fact,
    measured: MeasuredCourse,
    images: Images,
    *,
    progress: Progress = silent,
) -> SeenAgain | None:
    """Return what a second phase shows of a measured ureter.

    Parameters
    ----------
    case : Case
    side : str
        ``"left"`` or ``"right"``.
    first : Fact
        The mark that the first course rests on.
    measured : MeasuredCourse
    images : Images
    progress : Progress

    Returns
    -------
    SeenAgain or None
        None where no second phase is marked. One that cannot be used says why.
    """
    mark, chosen = case.mark(SECONDS[side])
    if mark is None or chosen.fact is None:
        return SeenAgain(problem=_unused(side, chosen.caution)) if chosen.caution else None
    try:
        found = _traced(case, side, first, chosen.fact, mark, measured, images, progress)
    except InputError as refused:
        return SeenAgain(problem=_unused(side, str(refused)))
    return SeenAgain(found.phases, found.findings, (chosen.fact,))


def _unused(side: str, why: str) -> str:
    return (
        f"The second phase of the {side} ureter was not used, so that one phase alone decides: "
        f"{why}"
    )


def _traced(
    case: Case,
    side: str,
    first: Fact,
    second: Fact,
    mark: Mark,
    measured: MeasuredCourse,
    images: Images,
    progress: Progress,
) -> SecondPhase:
    if moment_key(first.at) != moment_key(second.at):
        raise InputError(
            f"it is marked beside images of {say_moment(second.at)}, and the course lies on those "
            f"of {say_moment(first.at)}",
            mend="mark the second phase of the same examination",
        )
    if measured.volume is None:
        raise InputError(
            "the first phase's image was not read, so that nothing is known to be narrow or shut",
            mend="take in the folder that holds it",
        )
    if isinstance(first.value, Mark) and first.value.series_uid == mark.series_uid:
        raise InputError(
            "both phases are marked on one series", mend="withdraw the mark of the second phase"
        )
    progress(f"Tracing the {side} ureter on the second phase", 0, 1)
    volume = images.volume(mark.series_uid)
    same = any(shares_points(second, fact) for fact in case.facts)
    found = seen_again(
        measured.course,
        volume,
        mark.points_mm,
        otherwise=second.at,
        doubts=_frame_doubts(measured.volume, volume, same_points=same),
        side=side,
        facts=(first, second),
    )
    progress(f"Tracing the {side} ureter on the second phase", 1, 1)
    return found


def _frame_doubts(first: ImageVolume, second: ImageVolume, *, same_points: bool) -> tuple[str, ...]:
    """Return what must be said where one point is used on two series; refuse two known frames."""
    if not same_points or first.frame_uid == second.frame_uid != "":
        return ()
    if first.frame_uid and second.frame_uid:
        raise InputError(
            "the two series have different frames of reference, so that the same points mean other "
            "places",
            mend="place the points on the second phase, second_points_mm in case.toml",
        )
    return (SAME_MARKS,)
