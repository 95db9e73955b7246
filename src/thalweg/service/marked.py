"""A case's marked ureters: which mark counts, and its course, traced or placed by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.exchange.casefile.marks import COURSES, URETERS
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.record.fact import moment_key
from thalweg.service.tracing import acquired_on, image_cautions

if TYPE_CHECKING:
    from datetime import date

    from thalweg.measure.course import Course
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Mark, Moment
    from thalweg.record.image import ImageVolume
    from thalweg.service.images import Images

__all__ = ["MarkedUreter", "MeasuredCourse", "marked_ureter", "measured_course", "refusal"]

PLACE_IT = (
    "place the course by hand (points_mm = [[x, y, z], …] under [ureter.{side}] in case.toml)"
)


@dataclass(frozen=True)
class MarkedUreter:
    """What is marked of one ureter.

    Parameters
    ----------
    mark : Mark or None
        Start, via points and end, or a whole course.
    fact : Fact or None
        That says so.
    by_hand : bool
        True where the points are the course itself.
    caution : str
        Why there is no mark although something is on record.
    """

    mark: Mark | None
    fact: Fact | None
    by_hand: bool = False
    caution: str = ""


@dataclass(frozen=True, eq=False)
class MeasuredCourse:
    """A course with its image, where that could be read.

    Parameters
    ----------
    course : Course
    volume : ImageVolume or None
    taken : date or aware datetime
        When the images were acquired; what the mark says where they cannot be read.
    doubts : tuple of str
        What every finding must say.
    """

    course: Course
    volume: ImageVolume | None
    taken: Moment
    doubts: tuple[str, ...]


def marked_ureter(case: Case, side: str) -> MarkedUreter:
    """Return the mark that counts: the younger one, and of two of one time the course by hand."""
    mark, chosen = case.mark(URETERS[side])
    course, placed = case.mark(COURSES[side])
    if course is not None and placed.fact is not None:
        older = chosen.fact is None or moment_key(chosen.fact.at) <= moment_key(placed.fact.at)
        if older:
            return MarkedUreter(course, placed.fact, by_hand=True)
    elif placed.caution:
        return MarkedUreter(None, None, by_hand=True, caution=placed.caution)
    return MarkedUreter(mark, chosen.fact, caution=chosen.caution)


def measured_course(marked: MarkedUreter, images: Images, *, side: str, at: date) -> MeasuredCourse:
    """Return the course of a marked ureter.

    Parameters
    ----------
    marked : MarkedUreter
        With a mark.
    images : Images
    side : str
        Whose ureter it is.
    at : date
        Taken for the date of images that do not say theirs.

    Raises
    ------
    InputError
        If it cannot be traced. A course placed by hand does without its image.
    """
    mark, fact = marked.mark, marked.fact
    assert mark is not None and fact is not None  # noqa: PT018, S101 - asked for by the contract
    if not marked.by_hand:
        volume = images.volume(mark.series_uid)
        start, *via, end = mark.points_mm
        return _dated(trace_ureter(volume, start, end, via, side=side), volume, at)
    try:
        read = images.volume(mark.series_uid)
    except InputError as refused:
        said = f"The course stands without its image: {refused}"
        return MeasuredCourse(course_from_points(mark.points_mm), None, fact.at, (said,))
    return _dated(course_from_points(mark.points_mm, read, side=side), read, fact.at)


def _dated(course: Course, volume: ImageVolume, otherwise: Moment) -> MeasuredCourse:
    taken, undated = acquired_on(volume.acquired, otherwise)
    return MeasuredCourse(course, volume, taken, (*image_cautions(volume), *undated))


def refusal(side: str, refused: InputError, *, by_hand: bool) -> str:
    """Return why a ureter has no course, in one sentence that ends with what can be done."""
    if by_hand:
        return f"The course of the {side} ureter placed by hand was not used: {refused}"
    place_it = PLACE_IT.format(side=side)
    own = "" if "by hand" in refused.mend else refused.mend
    told = InputError(
        refused.what, where=refused.where, mend=f"{own}, or {place_it}" if own else place_it
    )
    return f"The {side} ureter was not traced: {told}"
