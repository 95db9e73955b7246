"""What is left of each ureter at very many candidate sites at once.

Every required length is held between two bounds: the unhindered path is a floor, and a path checked
to be clear is a ceiling. Where the two meet, or nearly, nothing is left to solve; where even the
floor is past what the ureter can give under any doubt, nothing is worth solving. What remains goes
to the one-route solver, each site beginning from its neighbour's answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.plan.reach.detours import past_one_body
from thalweg.plan.reach.fillets import Ends, clear, fillets
from thalweg.plan.reach.obstacles import least_distance
from thalweg.plan.reach.problem import CLEARANCE_TOLERANCE_MM, Question
from thalweg.plan.reach.route import CLOSE, shortest
from thalweg.plan.reach.ways import WayMap
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain
    from thalweg.plan.reach.scene import Scene, Side, Ureter

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Indices = NDArray[np.intp]

__all__ = ["TOLERANCE_MM", "MarginMap", "SideMargins", "SiteGrid", "margin_map"]

TOLERANCE_MM = 0.5
"""Required lengths are within this of the one-route solver's."""
HOPELESS_SD = 3.0
"""A ureter short by this many standard deviations of its doubts is not solved further."""
DETOUR_MM = 10.0
"""An answer begun from a neighbour's and this much above the floor is sought afresh as well."""
NEIGHBOUR_MM = 15.0
"""A neighbour's answer is begun from within this distance."""
UNIT_SLACK = 1e-6


@dataclass(frozen=True, eq=False)
class SiteGrid:
    """Candidate sites.

    Parameters
    ----------
    point : ndarray, shape (n, 3), mm
        On the skin, LPS.
    normal : ndarray, shape (n, 3)
        Unit normals out of the body.
    wall_mm, height_mm : ndarray, shape (n,), mm
        Thickness of the wall along the normal, and height of the stoma above the skin.

    Raises
    ------
    InputError
        Where shapes differ, a value is not finite or negative, or a normal is not of unit length.
    """

    point: Floats
    normal: Floats
    wall_mm: Floats
    height_mm: Floats

    def __post_init__(self) -> None:
        count = len(self.point)
        shapes = {"point": (count, 3), "normal": (count, 3), "wall_mm": (count,)}
        for name, shape in (*shapes.items(), ("height_mm", (count,))):
            values = getattr(self, name)
            if np.shape(values) != shape:
                raise InputError(
                    f"has the shape {np.shape(values)}, not {shape}",
                    where=f"sites.{name}",
                    mend="give one row for each site",
                )
            bad = np.flatnonzero(~np.isfinite(values).reshape(count, -1).all(axis=1))
            if bad.size:
                raise InputError(
                    f"is not a finite number at site {int(bad[0])}",
                    where=f"sites.{name}",
                    mend="leave out sites whose values are not known",
                )
        for name in ("wall_mm", "height_mm"):
            low = np.flatnonzero(getattr(self, name) < 0)
            if low.size:
                raise InputError(
                    f"is negative at site {int(low[0])}",
                    where=f"sites.{name}",
                    mend="give thickness and height in mm, 0 or more",
                )
        off = np.flatnonzero(np.abs(np.linalg.norm(self.normal, axis=1) - 1) > UNIT_SLACK)
        if off.size:
            raise InputError(
                f"is not of unit length at site {int(off[0])}",
                where="sites.normal",
                mend="divide each normal by its length",
            )

    @property
    def beyond_mm(self) -> Floats:
        """What every route needs past the wall's inner face, (n,) mm."""
        return self.wall_mm + self.height_mm

    @property
    def inner(self) -> Floats:
        """Where each normal meets the wall's inner face, (n, 3) mm."""
        return np.asarray(self.point - self.wall_mm[:, None] * self.normal)


@dataclass(frozen=True, eq=False)
class SideMargins:
    """One ureter's margins over the sites; all arrays (n,), lengths in mm.

    Parameters
    ----------
    side : {'left', 'right'}
    free_mm : float
    required_mm, margin_mm : ndarray
        Of a path checked to keep every condition; not a number where none was sought or found.
    floor_mm : ndarray
        No route needs less, so the margin is at most `free_mm` less this, found or not.
    exact : ndarray of bool
        Whether `required_mm` is within `TOLERANCE_MM` of the one-route solver's.
    hopeless : ndarray of bool
        Not solved, for the ureter is short by at least `floor_mm` less `free_mm`, which is more
        than its doubts could make up.
    unreached : ndarray of bool
        Sought, and no route was found; that none exists is not proved.
    """

    side: Side
    free_mm: float
    required_mm: Floats
    margin_mm: Floats
    floor_mm: Floats
    exact: Flags
    hopeless: Flags
    unreached: Flags

    @property
    def reached(self) -> Flags:
        """Where the ureter reaches: a margin of nought or more."""
        return np.asarray(self.margin_mm >= 0)

    @property
    def short_by_at_least_mm(self) -> Floats:
        """What is missing at the least, mm; nought where that is not proved."""
        return np.maximum(self.floor_mm - self.free_mm, 0.0)


@dataclass(frozen=True, eq=False)
class MarginMap:
    """Margins of every ureter of the scene over the same sites."""

    sites: SiteGrid
    ureters: tuple[SideMargins, ...]
    solved: int
    """Routes that went to the one-route solver."""

    def side(self, side: Side) -> SideMargins | None:
        """Return one ureter's margins, or None where the scene has no such ureter."""
        return next((item for item in self.ureters if item.side == side), None)


def margin_map(
    scene: Scene, sites: SiteGrid, *, ways: WayMap | None = None, progress: Progress = silent
) -> MarginMap:
    """Return the margin of every ureter of a scene at every site.

    Parameters
    ----------
    scene : Scene
        Its ureters, obstacles, bend radius, clearance and doubts count; its own sites do not.
    sites : SiteGrid
    ways : WayMap, optional
        The map of the scene's obstacles where the caller already has it.
    progress : Progress
    """
    ways = ways or WayMap.of(scene.obstacles, scene.clearance_mm)
    work = [_Side(scene, ureter, sites, ways) for ureter in scene.ureters]
    total, done = sum(item.left.size for item in work), 0
    progress("margins", 0, total)
    for item in work:
        for _ in item.solve():
            done += 1
            progress("margins", done, total)
    return MarginMap(sites, tuple(item.margins() for item in work), total)


class _Side:
    """One ureter's bounds over the sites, and what is left to solve."""

    def __init__(self, scene: Scene, ureter: Ureter, sites: SiteGrid, ways: WayMap) -> None:
        self.scene, self.ureter, self.sites, self.ways = scene, ureter, sites, ways
        count, radius = len(sites.point), scene.least_bend_radius_mm
        start = ureter.line.point(ureter.pivot_mm)
        heading = ureter.line.heading(ureter.pivot_mm)
        self.ends = Ends(
            np.broadcast_to(start, (count, 3)),
            np.broadcast_to(heading, (count, 3)),
            sites.inner,
            sites.normal,
        )
        chord = np.linalg.norm(sites.inner - start, axis=1)
        self.detours: dict[int, ArcChain | None] = {}
        self.floor, self.ceiling = chord.copy(), np.full(count, np.inf)
        self.blocked_end = _blocked(scene, sites.inner) | bool(_blocked(scene, start[None])[0])
        if radius > 0:
            self._bent(chord > CLOSE * radius)
        else:
            self._straight(start)
        self.exact = self.ceiling - self.floor <= TOLERANCE_MM
        self.hopeless = self._beyond_hope() & ~self.exact & ~self.blocked_end
        self.left = np.flatnonzero(~self.exact & ~self.hopeless & ~self.blocked_end)

    def _straight(self, start: Floats) -> None:
        """Take the straight line where it is clear; it may bend as it likes at its ends."""
        step = self.sites.inner - start
        unit = step / np.maximum(np.linalg.norm(step, axis=1), 1e-12)[:, None]
        ends = Ends(self.ends.start, unit, self.ends.end, unit)
        path = fillets(ends, 1.0)
        good = clear(path, self.scene.obstacles, self.scene.clearance_mm) & ~self.blocked_end
        self.ceiling[good] = self.floor[good]

    def _bent(self, far: Flags) -> None:
        """Take arc–straight–arc where it is clear, else a clear path past the body in its way."""
        scene, radius = self.scene, self.scene.least_bend_radius_mm
        plain = fillets(self.ends, radius)
        # Only between far ends is the unhindered path known to be the shortest.
        self.floor = np.where(far & plain.sound, plain.length_mm, self.floor)
        good = clear(plain, scene.obstacles, scene.clearance_mm) & ~self.blocked_end
        self.ceiling[good] = plain.length_mm[good]
        barred = ~good & far & plain.sound & ~self.blocked_end & ~self._beyond_hope()
        rows = np.flatnonzero(barred)
        if rows.size:
            found = past_one_body(plain.take(rows), scene.obstacles, scene.clearance_mm, radius)
            self.ceiling[rows] = found[0]
            self.detours.update(zip(rows.tolist(), found[1], strict=True))

    def _beyond_hope(self) -> Flags:
        """Say where even the floor is more than the ureter can give under any doubt."""
        most = self.ureter.free_mm + _doubt_mm(self.scene, self.ureter)
        return np.asarray(self.floor + self.sites.beyond_mm > most)

    def solve(self) -> Iterator[int]:
        """Solve what the bounds leave open, from neighbour to neighbour; yield each site's row."""
        answers: list[tuple[Floats, ArcChain]] = []
        for row in _nearest_first(self.sites.inner[self.left]):
            index = int(self.left[row])
            question, here = self._question(index), self.sites.inner[index]
            near = self.detours.get(index) or _near(answers, here)
            path = None if near is None else shortest(question, self.ways, near)
            if path is None or path.length_mm - self.floor[index] > DETOUR_MM:
                # A neighbour's long way round need not be the shortest from here.
                afresh = shortest(question, self.ways)
                if path is None or (afresh is not None and afresh.length_mm < path.length_mm):
                    path = afresh
            if path is not None:
                self.ceiling[index] = min(path.length_mm, self.ceiling[index])
                self.exact[index] = True
                answers.append((here, path.chain))
            yield index

    def _question(self, index: int) -> Question:
        return Question(
            start=self.ends.start[index],
            heading=self.ends.heading[index],
            end=self.ends.end[index],
            arrival=self.ends.arrival[index],
            radius=self.scene.least_bend_radius_mm,
            clearance=self.scene.clearance_mm,
            obstacles=self.scene.obstacles,
        )

    def margins(self) -> SideMargins:
        """Return what is known."""
        known = np.isfinite(self.ceiling)
        required = np.where(known, self.ceiling, np.nan) + self.sites.beyond_mm
        return SideMargins(
            self.ureter.side,
            self.ureter.free_mm,
            required,
            self.ureter.free_mm - required,
            self.floor + self.sites.beyond_mm,
            self.exact,
            self.hopeless,
            ~known & ~self.hopeless,
        )


def _blocked(scene: Scene, places: Floats) -> Flags:
    """Say which places lie within the clearance already."""
    gap = least_distance(scene.obstacles, places)
    return np.asarray(gap < scene.clearance_mm - CLEARANCE_TOLERANCE_MM)


def _doubt_mm(scene: Scene, ureter: Ureter) -> float:
    """Return `HOPELESS_SD` standard deviations of a margin, mm, taking each doubt one for one."""
    doubt, bare = scene.doubt, ureter.division_mm - ureter.pivot_mm
    tracing = ureter.length_sd_mm
    if tracing is None:
        tracing = doubt.tracing_share * bare
    parts = (tracing, doubt.wall_mm, doubt.pivot_mm, doubt.trim_mm, doubt.stretch_share * bare)
    return HOPELESS_SD * math.hypot(*parts)


def _nearest_first(places: Floats) -> list[int]:
    """Return rows so that each comes next that is nearest to any before it."""
    if not len(places):
        return []
    gap = np.linalg.norm(places - places.mean(axis=0), axis=1)
    order: list[int] = []
    while len(order) < len(places):
        row = int(np.argmin(gap))
        if not order:
            gap = np.full(len(places), np.inf)
        order.append(row)
        gap = np.minimum(gap, np.linalg.norm(places - places[row], axis=1))
        gap[order] = np.inf
    return order


def _near(answers: list[tuple[Floats, ArcChain]], here: Floats) -> ArcChain | None:
    """Return the answer of the nearest solved site, or None without one close by."""
    if not answers:
        return None
    gap, index = min((float(np.linalg.norm(at - here)), i) for i, (at, _) in enumerate(answers))
    return answers[index][1] if gap <= NEIGHBOUR_MM else None
