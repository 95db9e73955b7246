"""Discs of vessels linked from plane to plane, downwards."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["ADULT_SPINE_MM", "SEED_RADIUS_SHARE", "Track", "followed", "long_enough"]

Floats = NDArray[np.float64]

ADULT_SPINE_MM = 27.0
"""Usual radius of the front of an adult's lumbar spine, by which lengths are scaled."""

SEED_RADIUS_SHARE = (0.2, 0.75)
"""Radius of aorta and vena cava against that of the spine's front."""

MOVE_SHARE = 0.5
MOVE_MM = 2.0
"""From a plane to the next a vessel moves by at most this share of its radius and this."""

TOUCH_MM = 3.0
BESIDE_MM = 7.0
BESIDE_SHARE = 0.6
"""A branch, or the vein beside an artery, begins this near to a vessel above it, and keeps this
near to others over this share of its length."""

ALIKE = (0.55, 1.7)
ALIKE_HU = 45.0
"""From plane to plane radii keep this ratio, and brightness differs by less than this."""

MISSED_PLANES = 3
BIRTH_DISCS = 10
"""A track goes on after so many planes without a circle; where its first circles lie says whether
it is a trunk."""

LEAST_TRUNK_MM = 60.0
LEAST_BRANCH_MM = 28.0
"""A trunk or branch followed over less, at an adult's size, is left out."""


@dataclass(eq=False)
class Track:
    """Circles of one vessel from plane to plane, downwards.

    Parameters
    ----------
    parent : Track or None
        The vessel that it branches from, or begins beside.
    discs : list of ndarray, shape (4,)
        x, y, radius, mm, and brightness, HU.
    planes : list of int
    on_spine : bool
        It begins where aorta and vena cava lie.
    """

    parent: Track | None
    discs: list[Floats] = field(default_factory=list)
    planes: list[int] = field(default_factory=list)
    on_spine: bool = False

    def predicted(self, plane: int) -> Floats:
        """Return the circle that is expected in a plane below."""
        last = self.discs[-1]
        if len(self.discs) < 4:
            return last
        slope = (last - self.discs[-4]) / (self.planes[-1] - self.planes[-4])
        slope[2:] = 0.0
        return np.asarray(last + slope * (plane - self.planes[-1]))

    def length_mm(self, step_mm: float) -> float:
        """Return how far apart its ends are."""
        first, last = (
            np.array([*self.discs[end][:2], self.planes[end] * step_mm]) for end in (0, -1)
        )
        return float(np.linalg.norm(last - first))


def followed(
    seen: Sequence[Floats], begins: Callable[[int, Floats], bool], *, branching: bool = True
) -> list[Track]:
    """Return circles linked downwards.

    Parameters
    ----------
    seen : sequence of ndarray, shape (n, 4)
        For each plane, the lowest first, x, y, radius and brightness of circles.
    begins : function of plane and circle
        Says whether a trunk may begin there.
    branching : bool
        Whether tracks may begin as a branch of another too.
    """
    tracks: list[Track] = []
    for plane in range(len(seen) - 1, -1, -1):
        free = list(range(len(seen[plane])))
        live = [track for track in tracks if track.planes[-1] - plane <= MISSED_PLANES]
        for track in live:
            if _extend(track, plane, seen[plane], free) and len(track.discs) < BIRTH_DISCS:
                track.on_spine |= begins(plane, track.discs[-1])
        for number in free:
            disc = seen[plane][number]
            above = live if branching else ()
            parent = next((one for one in above if _branches(one, plane, disc)), None)
            trunk = begins(plane, disc)
            if parent is not None or trunk:
                tracks.append(Track(parent, [disc], [plane], trunk))
    return tracks


def _extend(track: Track, plane: int, discs: Floats, free: list[int]) -> bool:
    """Add the nearest free circle in a plane to a track, where one follows on, and say whether."""
    place, last = track.predicted(plane), track.discs[-1]
    missed = track.planes[-1] - plane
    reach = (MOVE_SHARE * last[2] + MOVE_MM) * (1 + 0.3 * (missed - 1))
    options = [
        (float(np.hypot(*(discs[number][:2] - place[:2]))), number)
        for number in free
        if ALIKE[0] < discs[number][2] / last[2] < ALIKE[1]
        and abs(discs[number][3] - last[3]) < ALIKE_HU
    ]
    if options and min(options)[0] < reach:
        _, number = min(options)
        track.discs.append(discs[number])
        track.planes.append(plane)
        free.remove(number)
        return True
    return False


def _branches(track: Track, plane: int, disc: Floats) -> bool:
    """Say whether a circle begins in or beside a vessel's circle just above."""
    for earlier, circle in zip(track.planes[-3:], track.discs[-3:], strict=True):
        gap = float(np.hypot(*(disc[:2] - circle[:2]))) - circle[2] - disc[2]
        if earlier > plane and gap < TOUCH_MM and disc[2] < ALIKE[1] * circle[2]:
            return True
    return False


def long_enough(tracks: list[Track], step_mm: float, size: float) -> list[Track]:
    """Return the trunks that are followed far enough, and long branches that keep to others.

    `size` is the person's against an adult's.
    """
    kept: list[Track] = []
    for track in tracks:
        length = track.length_mm(step_mm)
        if track.on_spine and length > LEAST_TRUNK_MM * size:
            track.parent = None  # aorta and cava touch
        least = LEAST_TRUNK_MM if track.parent is None else LEAST_BRANCH_MM
        if length < least * size:
            continue
        trunk = track
        while trunk.parent is not None:
            trunk = trunk.parent
        if track is trunk or (trunk in kept and _keeps_company(track, tracks, size)):
            kept.append(track)
    return kept


def _keeps_company(track: Track, tracks: list[Track], size: float) -> bool:
    """Say whether a track runs beside others, as iliac arteries and veins do, or ends one."""
    others: dict[int, list[Floats]] = {plane: [] for plane in track.planes}
    for other in tracks:
        if other is track:
            continue
        for plane, disc in zip(other.planes, other.discs, strict=True):
            if plane in others:
                others[plane].append(disc)
    near = 0
    for plane, disc in zip(track.planes, track.discs, strict=True):
        gaps = [np.hypot(*(disc[:2] - one[:2])) - disc[2] - one[2] for one in others[plane]]
        near += min(gaps, default=np.inf) < BESIDE_MM * max(size, 0.5)
    return near > BESIDE_SHARE * len(track.planes)
