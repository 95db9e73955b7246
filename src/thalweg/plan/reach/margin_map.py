"""What is left of each ureter at very many candidate sites at once.

Every required length is held between two bounds: the unhindered path is a floor, and a path checked
to be clear is a ceiling. Where the two meet, or nearly, nothing is left to solve; where even the
floor is past what the ureter can give under any doubt, nothing is worth solving. What remains goes
to the one-route solver, each site beginning from its neighbour's answer.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.detours import past_one_body
from thalweg.plan.reach.doubt import pivot_slope, slopes_of, wall_slope
from thalweg.plan.reach.fillets import Ends, clear, fillets
from thalweg.plan.reach.map_types import TOLERANCE_MM, MarginMap, SideMargins, SiteGrid
from thalweg.plan.reach.obstacles import least_distance
from thalweg.plan.reach.problem import CLEARANCE_TOLERANCE_MM, Question
from thalweg.plan.reach.route import CLOSE, clear_between_close, shortest
from thalweg.plan.reach.ways import WayMap
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from thalweg.plan.reach.arcs import ArcChain
    from thalweg.plan.reach.fillets import Fillets
    from thalweg.plan.reach.scene import Scene, Ureter

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Indices = NDArray[np.intp]

__all__ = ["TOLERANCE_MM", "MarginMap", "SideMargins", "SiteGrid", "margin_map"]

HOPELESS_SD = 3.0
"""A ureter short by this many standard deviations of its doubts is not solved further."""
DETOUR_MM = 10.0
"""An answer begun from a neighbour's and this much above the floor is sought afresh as well."""
NEIGHBOUR_MM = 15.0
"""A neighbour's answer is begun from within this distance."""


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
        self.pivot_slope, self.wall_slope = np.full(count, np.nan), np.full(count, np.nan)
        self.floor, self.ceiling = chord.copy(), np.full(count, np.inf)
        self.blocked_end = _blocked(scene, sites.inner) | bool(_blocked(scene, start[None])[0])
        if radius > 0:
            self._bent(chord > CLOSE * radius)
        else:
            self._straight(start)
        self.exact = self.ceiling - self.floor <= TOLERANCE_MM
        self.hopeless = self._beyond_hope() & ~self.exact & ~self.blocked_end
        # Between close ends a clear path is at hand but not proved shortest: it is kept as it is,
        # which errs to the careful side, for three-arc paths cost a hundred times more.
        self.close = chord <= CLOSE * radius
        settled = self.exact | self.hopeless | self.blocked_end
        settled |= self.close & np.isfinite(self.ceiling)
        self.left = np.flatnonzero(~settled)

    def _straight(self, start: Floats) -> None:
        """Take the straight line where it is clear; it may bend as it likes at its ends."""
        step = self.sites.inner - start
        unit = step / np.maximum(np.linalg.norm(step, axis=1), 1e-12)[:, None]
        ends = Ends(self.ends.start, unit, self.ends.end, unit)
        path = fillets(ends, 1.0)
        self._answering(path, np.full(len(step), True))
        good = clear(path, self.scene.obstacles, self.scene.clearance_mm) & ~self.blocked_end
        self.ceiling[good] = self.floor[good]

    def _bent(self, far: Flags) -> None:
        """Take arc–straight–arc where it is clear, else a clear path past the body in its way."""
        scene, radius = self.scene, self.scene.least_bend_radius_mm
        plain = fillets(self.ends, radius)
        # Only between far ends is the unhindered path known to be the shortest.
        self.floor = np.where(far & plain.sound, plain.length_mm, self.floor)
        self._answering(plain, plain.sound)
        good = clear(plain, scene.obstacles, scene.clearance_mm) & ~self.blocked_end
        self.ceiling[good] = plain.length_mm[good]
        barred = ~good & far & plain.sound & ~self.blocked_end & ~self._beyond_hope()
        rows = np.flatnonzero(barred)
        if rows.size:
            found = past_one_body(plain.take(rows), scene.obstacles, scene.clearance_mm, radius)
            self.ceiling[rows] = found[0]
            self.detours.update(zip(rows.tolist(), found[1], strict=True))
            for row, chain in zip(rows.tolist(), found[1], strict=True):
                self._answers_as(row, chain)

    def _answering(self, paths: Fillets, rows: Flags) -> None:
        """Take the slopes of unhindered paths: their straight pulls at both ends."""
        bent = self.scene.least_bend_radius_mm > 0
        joint = paths.ends.start + paths.tangent[:, :1] * (paths.ends.heading + paths.along)
        self.pivot_slope[rows] = pivot_slope(
            self.ureter, self.ends.start, joint, paths.along, bent=bent
        )[rows]
        self.wall_slope[rows] = wall_slope(self.sites.normal, paths.along)[rows]

    def _answers_as(self, row: int, chain: ArcChain | None) -> None:
        """Take the slopes of a path past bodies; without a straight piece the plain path's stay."""
        slopes = None
        if chain is not None:
            slopes = slopes_of(self.scene, self.ureter, self.sites.normal[row], chain)
        if slopes is not None:
            self.pivot_slope[row], self.wall_slope[row] = slopes

    def _beyond_hope(self) -> Flags:
        """Say where even the floor is more than the ureter can give under any doubt."""
        most = self.ureter.free_mm + _doubt_mm(self.scene, self.ureter, self.sites)
        return np.asarray(self.floor + self.sites.beyond_mm > most)

    def solve(self) -> Iterator[int]:
        """Solve what the bounds leave open, from neighbour to neighbour; yield each site's row."""
        answers: list[tuple[Floats, ArcChain]] = []
        for row in _nearest_first(self.sites.inner[self.left]):
            index = int(self.left[row])
            question, here = self._question(index), self.sites.inner[index]
            if self.close[index]:
                chain = clear_between_close(question)
                if chain is not None:
                    self.ceiling[index] = chain.length
                    self._answers_as(index, chain)
                    yield index
                    continue
            near = self.detours.get(index) or _near(answers, here)
            path, floor = None, float(self.floor[index])
            if near is not None:
                path = shortest(question, self.ways, near, barred_floor_mm=floor)
            far = not self.close[index]
            if path is None or (far and path.length_mm - self.floor[index] > DETOUR_MM):
                # A neighbour's long way round need not be the shortest from here.
                afresh = shortest(question, self.ways)
                if path is None or (afresh is not None and afresh.length_mm < path.length_mm):
                    path = afresh
            if path is not None:
                self.ceiling[index] = min(path.length_mm, self.ceiling[index])
                self.exact[index] = True
                self._answers_as(index, path.chain)
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
            self.pivot_slope,
            self.wall_slope,
        )


def _blocked(scene: Scene, places: Floats) -> Flags:
    """Say which places lie within the clearance already."""
    gap = least_distance(scene.obstacles, places)
    return np.asarray(gap < scene.clearance_mm - CLEARANCE_TOLERANCE_MM)


def _doubt_mm(scene: Scene, ureter: Ureter, sites: SiteGrid) -> float:
    """Return `HOPELESS_SD` standard deviations of a margin, mm, taking each doubt one for one."""
    doubt, bare = scene.doubt, ureter.division_mm - ureter.pivot_mm
    tracing = ureter.length_sd_mm
    if tracing is None:
        tracing = doubt.tracing_share * bare
    given = sites.wall_sd_mm
    wall = doubt.wall_mm if given is None else float(given.max(initial=0.0))
    parts = (tracing, wall, doubt.pivot_mm, doubt.trim_mm, doubt.stretch_share * bare)
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
