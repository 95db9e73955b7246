"""The second phase of a ureter in a case file: which series it is, and where its points lie."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.strict import Table, points_in, text_in
from thalweg.record.fact import Mark

if TYPE_CHECKING:
    from thalweg.record.fact import Point

__all__ = ["SECONDS", "SECOND_KEYS", "second_mark", "shared_points"]

SECONDS: Final = {side: f"ureter-{side}-second" for side in ("left", "right")}
"""Marks of a ureter on a second series, which is traced to tell what opens from what holds."""

SECOND_KEYS: Final = ("second", "second_points_mm")
LEAST_POINTS: Final = 2


def shared_points(first: tuple[Point, ...], *, by_hand: bool) -> tuple[Point, ...]:
    """Return the points of the first phase that serve on the second where none are given.

    Of a course placed by hand only its ends do: a course that breathing has moved would otherwise
    be forced through every one of its points.
    """
    return (first[0], first[-1]) if by_hand else first


def second_mark(course: Table, first: Mark, *, by_hand: bool) -> Mark | None:
    """Return the mark of a second phase, with its folder's name in the series' place.

    Parameters
    ----------
    course : Table
        A ureter's section.
    first : Mark
        What the section marks on the first phase.
    by_hand : bool
        The first is a whole course.

    Returns
    -------
    Mark or None
        None where the section names no second phase.

    Raises
    ------
    InputError
        If points are given without a folder, or cannot be a course.
    """
    if "second" not in course:
        if "second_points_mm" in course:
            raise InputError(
                "'second_points_mm' is given, but not the series it lies on",
                mend='add second = "…", the folder of the second phase',
            )
        return None
    folder = text_in(course, "second")
    if "second_points_mm" not in course:
        points = shared_points(first.points_mm, by_hand=by_hand)
        return Mark(points, series_uid=folder)
    points = points_in(course["second_points_mm"], "second_points_mm")
    if len(points) < LEAST_POINTS:
        raise InputError(
            f"'second_points_mm' has fewer than {LEAST_POINTS} points",
            mend="give start, via points and end on the second phase",
        )
    if any(one == other for one, other in pairwise(points)):
        raise InputError(
            "two successive points of 'second_points_mm' are the same", mend="place them apart"
        )
    return Mark(points, series_uid=folder)
