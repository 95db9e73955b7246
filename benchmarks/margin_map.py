"""How long a map of margins takes, against the one-route solver at every site in turn.

Run as ``python benchmarks/margin_map.py [columns] [rows] [sample]``. Both answer for the ureters,
great vessels and spine of the built-in artificial adult, over a grid on the front of the abdomen.
The one-route solver is run on a random sample of the sites and its time extrapolated to all.
"""

from __future__ import annotations

import resource
import sys
from pathlib import Path
from time import perf_counter, process_time
from typing import TYPE_CHECKING

import numpy as np

from thalweg.demo.scenario import SITES, obstacle_marks
from thalweg.phantom.scenario import adult
from thalweg.phantom.truth import PhantomTruth, truth_of
from thalweg.plan.reach import Scene, Site, Solver, scene_from
from thalweg.plan.reach.diversions import Leg
from thalweg.plan.reach.map_types import MarginMap, SiteGrid
from thalweg.plan.reach.margin_map import margin_map
from thalweg.plan.reach.ways import WayMap
from thalweg.record.fact import Mark

if TYPE_CHECKING:
    from numpy.typing import NDArray

COLUMNS, ROWS, SAMPLE = 40, 28, 40
LEFT_DIVISION_MM = 187.0
HEIGHT_MM = 10.0


def scene_of(truth: PhantomTruth) -> Scene:
    """Return the scene of the artificial adult."""
    ureters = {}
    for side in ("left", "right"):
        line = truth.ureter(side).centreline
        ureters[side] = {
            "points_mm": line.points_mm[::4].tolist(),
            "pivot_mm": truth.pivot_station_mm[side],
            "division_mm": line.length_mm - 1 if side == "right" else LEFT_DIVISION_MM,
            "trim_mm": 10.0,
        }
    name, x, z = SITES[0]
    bodies = [
        {
            "kind": "capsule",
            "from_mm": list(mark.points_mm[0]),
            "to_mm": list(mark.points_mm[1]),
            "radius_mm": mark.radius_mm,
        }
        for mark in (fact.value for fact in obstacle_marks(truth))
        if isinstance(mark, Mark)
    ]
    site = {
        "name": name,
        "point_mm": [float(v) for v in truth.wall.skin_point(x, z)],
        "normal": [float(v) for v in truth.wall.skin_normal(x, z)],
        "wall_mm": float(truth.wall.wall_thickness_mm(x, z)),
        "height_mm": HEIGHT_MM,
    }
    table = {"least_bend_radius_mm": 12, "clearance_mm": 3, "ureter": ureters}
    return scene_from({**table, "site": [site], "obstacle": bodies}, Path())


def grid_of(truth: PhantomTruth, columns: int, rows: int) -> SiteGrid:
    """Return sites over the front."""
    places = [(x, z) for x in np.linspace(-100, 100, columns) for z in np.linspace(-70, 70, rows)]
    return SiteGrid(
        np.array([truth.wall.skin_point(x, z) for x, z in places], dtype=float),
        np.array([truth.wall.skin_normal(x, z) for x, z in places], dtype=float),
        np.array([truth.wall.wall_thickness_mm(x, z) for x, z in places], dtype=float),
        np.full(len(places), HEIGHT_MM),
    )


def main() -> None:
    """Print times, memory and agreement."""
    columns, rows, sample = (
        [int(word) for word in sys.argv[1:]] + [COLUMNS, ROWS, SAMPLE][len(sys.argv) - 1 :]
    )[:3]
    truth = truth_of(adult())
    scene, sites = scene_of(truth), grid_of(truth, columns, rows)
    count = len(sites.point)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start, cpu = perf_counter(), process_time()
    found = margin_map(scene, sites)
    wall, used = perf_counter() - start, process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"map of {count} sites, {len(found.ureters)} ureters: {wall:.1f} s, {used:.1f} s of CPU")
    print(f"  {found.solved} routes went to the one-route solver")
    print(
        f"  peak memory {peak / 1024:.0f} MB, of which {(peak - before) / 1024:.0f} MB for the map"
    )
    for item in found.ureters:
        said = f"reached {item.reached.sum()}, exact {item.exact.sum()}"
        print(f"  {item.side}: {said}, short beyond doubt {item.hopeless.sum()}")
    rng = np.random.default_rng(0)
    chosen = rng.choice(count, min(sample, count), replace=False)
    ways = WayMap.of(scene.obstacles, scene.clearance_mm)
    start, cpu = perf_counter(), process_time()
    apart = compare(found, scene, ways, chosen)
    one, one_used = perf_counter() - start, process_time() - cpu
    share = count / len(chosen)
    print(f"one route at a time, {len(chosen)} random sites, both ureters: {one_used:.1f} s of CPU")
    print(f"  extrapolated to {count}: {one_used * share:.0f} s of CPU, {one * share:.0f} s")
    print(f"  ratio {one_used * share / used:.1f} (CPU), {one * share / wall:.1f} (clock)")
    told("at these sites", apart)
    barred = [item.required_mm - item.floor_mm > 1e-6 for item in found.ureters]
    pool = np.flatnonzero(np.any(barred, axis=0))
    told("at sites with a body in the way", compare(found, scene, ways, rng.choice(pool, 12)))


def compare(
    found: MarginMap, scene: Scene, ways: WayMap, chosen: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return by how much the map's required lengths are above the solver's, mm."""
    apart = []
    sites = found.sites
    for index in chosen:
        site = Site(
            f"{index}",
            sites.point[index],
            sites.normal[index],
            float(sites.wall_mm[index]),
            HEIGHT_MM,
        )
        for item, ureter in zip(found.ureters, scene.ureters, strict=True):
            leg = Leg("cutaneous-single", ureter, site)
            path = Solver(scene, ways).path(leg)
            if path is not None and item.exact[index]:
                apart.append(float(item.required_mm[index]) - path.length_mm - leg.beyond_mm())
    return np.array(apart)


def told(where: str, apart: NDArray[np.float64]) -> None:
    """Print how far map and solver are apart."""
    print(f"  map less solver {where}: {apart.min():+.3f} to {apart.max():+.3f} mm")


if __name__ == "__main__":
    main()
