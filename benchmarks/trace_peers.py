"""One ureter traced by Thalweg and by two libraries' minimal-path tools, side by side.

Run: ``python benchmarks/trace_peers.py [--full] [--repeat N]``. One artificial abdomen is drawn;
each contender then traces its right ureter (22 mm of it empty) between the same two points, in a
process of its own, on the image in memory and after imports. The peers get Thalweg's own table of
cost by brightness, voxel by voxel. A peer gives a way only: no calibre, gaps or doubt.

Prints time, memory above the loaded image, and how far the length is off the phantom's own.
`--full` takes 512 x 512 x 400 voxels instead of 256 x 256 x 200; a peer may then need 10 GB.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from _alone import answered, measured, raced, setting
from thalweg.measure.corridor import COST, COST_HU
from thalweg.measure.spline import polyline_length
from thalweg.measure.trace import trace_ureter
from thalweg.phantom.render import render
from thalweg.phantom.scenario import adult
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from collections.abc import Callable

Floats = NDArray[np.float64]

SEED = 271_828
PLAIN = ((256, 256, 200), (1.4, 0.75, 0.75), (-96.0, -70.0, -178.0))
FULL = ((512, 512, 400), (0.9, 0.75, 0.75), (-192.0, -192.0, -190.0))
"""Columns, rows and planes; millimetres between planes, rows and columns; lowest corner."""


@dataclass(frozen=True)
class Task:
    """An image, the two placed points, and the true length between them."""

    volume: ImageVolume
    ends_mm: Floats
    length_mm: float


def by_thalweg(task: Task) -> float:
    """Return the length of the traced course."""
    return trace_ureter(task.volume, *task.ends_mm).length_mm


def by_geometric(task: Task) -> float:
    """Return the length of scikit-image's `MCP_Geometric` path, which knows the voxels' size."""
    from skimage.graph import MCP_Geometric  # noqa: PLC0415 - a peer, imported in its own process

    search = MCP_Geometric(_cost(task), sampling=tuple(task.volume.spacing_mm))
    start, end = _nodes(task)
    search.find_costs([start], [end])
    return _length(task, np.asarray(search.traceback(end), dtype=np.float64))


def by_route(task: Task) -> float:
    """Return the length of scikit-image's `route_through_array` path."""
    from skimage.graph import route_through_array  # noqa: PLC0415 - as above

    route: Any = route_through_array  # untyped
    path, _ = route(_cost(task), *_nodes(task), geometric=True)
    return _length(task, np.asarray(path, dtype=np.float64))


def by_marching(task: Task) -> float:
    """Return the length of a descent down SimpleITK's fast-marching arrival times."""
    import SimpleITK  # noqa: PLC0415 - as above

    sitk: Any = SimpleITK  # untyped in part

    speed = sitk.GetImageFromArray((1.0 / _cost(task)).astype(np.float32))
    speed.SetSpacing(tuple(float(mm) for mm in task.volume.spacing_mm[::-1]))
    start, end = _nodes(task)
    march = sitk.FastMarchingUpwindGradientImageFilter()
    march.SetTrialPoints([[int(n) for n in start[::-1]]])
    march.SetTargetPoints([[int(n) for n in end[::-1]]])
    march.SetNumberOfTargets(1)
    arrival = sitk.GetArrayFromImage(march.Execute(speed))
    return _length(task, _descended(arrival, np.asarray(start), np.asarray(end), task))


def _descended(
    arrival: NDArray[np.float32], start: NDArray[Any], end: NDArray[Any], task: Task
) -> Floats:
    """Walk from voxel to neighbouring voxel down the steepest fall of the arrival times.

    A continuous descent along interpolated gradients swings from wall to wall of a lumen two
    voxels wide and never arrives; this one always does.
    """
    ways = np.argwhere(np.ones((3, 3, 3))) - 1
    ways = ways[np.any(ways != 0, axis=1)]
    far = np.linalg.norm(ways * task.volume.spacing_mm, axis=1)
    at, places = end, [end]
    while not np.array_equal(at, start):
        near = np.clip(at + ways, 0, np.asarray(arrival.shape) - 1)
        fall = (float(arrival[tuple(at)]) - arrival[tuple(near.T)].astype(np.float64)) / far
        if fall.max() <= 0:
            break
        at = near[int(fall.argmax())]
        places.append(at)
    return np.asarray(places, dtype=np.float64)


CONTENDERS: dict[str, Callable[[Task], float]] = {
    "thalweg": by_thalweg,
    "scikit-image MCP_Geometric": by_geometric,
    "scikit-image route_through_array": by_route,
    "SimpleITK fast marching, descent": by_marching,
}


def _cost(task: Task) -> Floats:
    return np.interp(task.volume.values, COST_HU, COST)


def _nodes(task: Task) -> tuple[tuple[int, ...], tuple[int, ...]]:
    start, end = np.rint(task.volume.index_of(task.ends_mm)).astype(int).tolist()
    return tuple(start), tuple(end)


def _length(task: Task, voxels: Floats) -> float:
    return float(polyline_length(task.volume.point_of(voxels))[-1])


def drawn(folder: Path, *, full: bool) -> None:
    """Draw the abdomen and keep it in a folder."""
    (columns, rows, planes), spacing, low = FULL if full else PLAIN
    size = np.array([columns, rows, planes]) * spacing[::-1]
    high = tuple(float(a + b) for a, b in zip(low, size, strict=True))
    phantom = render(
        adult(),
        spacing_mm=spacing,
        low_mm=low,
        high_mm=(high[0], high[1], high[2]),
        noise_hu=16.0,
        seed=SEED,
    )
    values = phantom.volume.values[:planes, :rows, :columns]
    tube = phantom.truth.right
    np.save(folder / "values.npy", np.ascontiguousarray(values))
    np.savez(
        folder / "task.npz",
        to_lps=phantom.volume.to_lps,
        ends_mm=tube.centreline.points_mm[[0, -1]],
        length_mm=tube.length_mm,
    )


def worked(name: str, folder: Path) -> None:
    """Let one contender trace once; print its figures as JSON."""
    import skimage.graph  # noqa: F401, PLC0415 - imports are not timed

    if "SimpleITK" in name:
        import SimpleITK  # noqa: F401, PLC0415 - imports are not timed

    kept = np.load(folder / "task.npz")
    volume = ImageVolume(np.load(folder / "values.npy"), kept["to_lps"], phantom=True)
    task = Task(volume, kept["ends_mm"], float(kept["length_mm"]))
    figures = measured(lambda: CONTENDERS[name](task))
    off = 100 * (figures.pop("answer") / task.length_mm - 1)
    answered({**figures, "off": off})


def main() -> None:
    """Draw, race, print a table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--contender", choices=list(CONTENDERS), help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--draw", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.draw:
        drawn(arguments.draw, full=arguments.full)
        return
    if arguments.contender:
        worked(arguments.contender, arguments.folder)
        return
    shape = (FULL if arguments.full else PLAIN)[0]
    with tempfile.TemporaryDirectory() as kept:
        # In a process of its own: a child inherits its parent's peak memory.
        size = ["--full"] if arguments.full else []
        subprocess.run([sys.executable, __file__, "--draw", kept, *size], check=True)
        print(f"{' × '.join(map(str, shape))} int16 voxels;")
        print(setting(("numpy", "scikit-image", "SimpleITK"), arguments.repeat) + "\n")
        heads = ("contender", "wall s", "CPU s", "MB above the image", "length off %", "wall ratio")
        print("|", " | ".join(heads), "|\n|", " | ".join(["---", *["---:"] * 5]), "|")
        own = 0.0
        for name in CONTENDERS:
            words = ["--contender", name, "--folder", kept]
            best = raced(__file__, words, arguments.repeat, name)
            own = own or best["wall"]
            print(
                f"| {name} | {best['wall']:.2f} | {best['cpu']:.2f} | {best['mb']:.0f} |"
                f" {best['off']:+.2f} | {best['wall'] / own:.1f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
