"""What routes keep clear of: what a person marked, else what the image shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.measure.cover import signed_distance
from thalweg.measure.obstacles import bone_and_vessels
from thalweg.plan.reach.scene import defaults
from thalweg.record.fact import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.measure.cover import FoundCapsule
    from thalweg.measure.obstacles import FoundObstacles
    from thalweg.plan.staging import FreedUreter, MeasuredSite
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.service.images import Images

__all__ = ["Obstacles", "drawn_back", "obstacles_for"]

FOUND = (
    "Bone and vessels were found on the image, not marked by a person: look at them in the picture "
    "of the routes, and mark them where they are wrong."
)
LEAST_RADIUS_MM = 2.0
INSIDE = {
    "conduit-base": "conduit's base",
    "sigmoid-passage": "passage behind the sigmoid mesentery",
}
"""Marks inside the body at which a route ends or through which it passes."""

BESIDE_MM = 30.0
"""Capsules farther than this outside the box of a person's pivots, sites and base are left out."""


@dataclass(frozen=True)
class Obstacles:
    """Obstacles of one person.

    Parameters
    ----------
    marks : tuple of Mark
        Capsules (two points) and spheres (one), with radius.
    cautions : tuple of str
        What every route round them must say.
    found : FoundObstacles or None
        All that was found on the image, where none was marked.
    """

    marks: tuple[Mark, ...]
    cautions: tuple[str, ...] = ()
    found: FoundObstacles | None = None


def obstacles_for(
    case: Case,
    images: Images,
    ureters: Sequence[FreedUreter],
    sites: Sequence[MeasuredSite],
    *,
    found: FoundObstacles | None = None,
    progress: Progress,
) -> Obstacles:
    """Return the marked obstacles, or where none is marked those found on the ureters' image.

    Parameters
    ----------
    case : Case
    images : Images
    ureters : sequence of FreedUreter
        At least one.
    sites : sequence of MeasuredSite
    found : FoundObstacles, optional
        What was found on the image before, for other sites.
    progress : Progress

    Raises
    ------
    InputError
        If a mark cannot be used.
    """
    marked = [case.mark("obstacle", label=label)[0] for label in case.labels("obstacle")]
    marks = tuple(mark for mark in marked if mark is not None)
    if marks:
        return Obstacles(marks)
    series = next((f.value.series_uid for f in ureters[0].facts if isinstance(f.value, Mark)), "")
    courses = [freed.course.points_mm for freed in ureters]
    try:
        if found is None:
            found = bone_and_vessels(images.volume(series), courses, progress=progress)
    except InputError as refused:
        return Obstacles((), (f"Bone and vessels were not looked for: {refused}",))
    held = _held(case, ureters, sites)
    capsules, moved = drawn_back(_between(found.capsules, held), held)
    told = (FOUND, _how_well(capsules)) if capsules else ()
    return Obstacles(
        tuple(Mark((one.from_mm, one.to_mm), radius_mm=one.radius_mm) for one in capsules),
        tuple(dict.fromkeys((*told, *found.cautions, *moved))),
        found,
    )


def _between(
    capsules: Sequence[FoundCapsule], held: Sequence[tuple[str, NDArray[np.float64]]]
) -> list[FoundCapsule]:
    """Return the capsules that come between or near the places where routes begin and end.

    A route is the shortest, so that it leaves their box by little; every capsule costs time.
    """
    places = np.array([place for _, place in held])
    low, high = places.min(axis=0) - BESIDE_MM, places.max(axis=0) + BESIDE_MM
    kept = []
    for one in capsules:
        ends = np.array([one.from_mm, one.to_mm])
        reach = ends.min(axis=0) - one.radius_mm, ends.max(axis=0) + one.radius_mm
        if (reach[1] > low).all() and (reach[0] < high).all():
            kept.append(one)
    return kept


def _how_well(capsules: Sequence[FoundCapsule]) -> str:
    """Return how well the capsules stand for what was found."""
    mean = float(np.mean([one.mean_error_mm for one in capsules]))
    deficit = max(capsules, key=lambda one: one.deficit_mm)
    excess = max(capsules, key=lambda one: one.excess_mm)
    return (
        f"They stand for the surfaces seen to within {mean:.1f} mm on average; at worst a surface "
        f"stands out by {deficit.deficit_mm:.0f} mm ({deficit.name}), or lies "
        f"{excess.excess_mm:.0f} mm inside ({excess.name})."
    )


def _held(
    case: Case, ureters: Sequence[FreedUreter], sites: Sequence[MeasuredSite]
) -> list[tuple[str, NDArray[np.float64]]]:
    """Return the places at which a route must begin or end, and what they are called."""
    held = []
    for freed in ureters:
        at = int(np.argmin(np.abs(freed.course.station_mm - freed.pivot_mm)))
        held.append((f"{freed.side} pivot", freed.course.points_mm[at]))
    for site in sites:
        inner = np.asarray(site.point_mm) - site.wall_mm * np.asarray(site.normal)
        held.append((f"site {site.name}", inner))
    for key, name in INSIDE.items():
        mark, _ = case.mark(key)
        if mark is not None:
            held.append((name, np.asarray(mark.points_mm[0])))
    return held


def drawn_back(
    capsules: Sequence[FoundCapsule], held: Sequence[tuple[str, NDArray[np.float64]]]
) -> tuple[tuple[FoundCapsule, ...], list[str]]:
    """Return found capsules that leave the places free at which routes begin and end.

    A capsule that holds such a place, or lies nearer to it than the clearance, within its own
    error is made thinner; one that does so by more is left, and its routes will be refused.

    Parameters
    ----------
    capsules : sequence of FoundCapsule
    held : sequence of (str, ndarray of shape (3,))
        Name and LPS mm of each place.

    Returns
    -------
    tuple of FoundCapsule, list of str
        The capsules, and a sentence for each that was changed.
    """
    clearance = float(defaults()["usual"]["clearance_mm"])
    kept, said = [], []
    for one in capsules:
        thinner = one
        for name, place in held:
            gap = float(signed_distance([thinner], place[None])[0, 0])
            over = clearance - gap
            may = max(one.excess_mm, one.mean_error_mm) + clearance
            if 0 < over <= may and thinner.radius_mm - over > LEAST_RADIUS_MM:
                thinner = replace(thinner, radius_mm=thinner.radius_mm - over - 0.01)
                said.append(
                    f"The {one.name} as found came within {max(gap, 0.0):.0f} mm of the {name}"
                    f"; it was made {over:.0f} mm thinner, within its own error."
                )
        kept.append(thinner)
    return tuple(kept), said
