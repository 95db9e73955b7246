"""Accuracy and time of ureter tracing on artificial abdomens that no setting was tuned on.

Run: ``python benchmarks/accuracy_trace.py [--pairs N] [--thick]``. Each pair is one abdomen with
a left and a right ureter whose courses, calibres and gaps are drawn at random from a fixed seed.
Prints one line per ureter and a summary against the aims.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from thalweg.measure.trace import trace_ureter
from thalweg.phantom.courses import USUAL
from thalweg.phantom.curves import Spline
from thalweg.phantom.magnetic import MagneticScanner, render_magnetic
from thalweg.phantom.render import render
from thalweg.phantom.scenario import adult, infant
from thalweg.phantom.tube import Gap, Tube

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

Floats = NDArray[np.float64]

SEED = 31_415_926
Z95 = 1.96
LOW_MM, HIGH_MM = (-95.0, -60.0, -175.0), (95.0, 80.0, 100.0)


@dataclass(frozen=True)
class Score:
    """How one traced ureter compares with the truth."""

    name: str
    long_gap: bool
    thick: bool
    length_share: float
    length_z: float
    mean_mm: float
    greatest_mm: float
    calibre_p95_mm: float
    calibre_held: float
    in_gap: int
    gaps_found: bool
    seconds: float

    def line(self) -> str:
        """Return the score as one line of the table."""
        return (
            f"{self.name:22s} {100 * self.length_share:+7.2f} {self.length_z:+6.2f}"
            f" {self.mean_mm:8.2f} {self.greatest_mm:8.2f} {self.calibre_p95_mm:8.2f}"
            f" {100 * self.calibre_held:6.0f}"
            f" {self.in_gap:6d} {'yes' if self.gaps_found else 'NO':>5s} {self.seconds:6.2f}"
        )


def random_tube(rng: np.random.Generator, sign: float, gap_mm: tuple[float, float]) -> Tube:
    """Return a ureter near the usual course with random bends, calibre and gaps."""
    points = np.asarray(USUAL) * (sign, 1.0, 1.0)
    points[1:-1] += rng.normal(0.0, (1.6, 1.2, 1.0), (len(points) - 2, 3))
    curve = Spline(tuple((float(x), float(y), float(z)) for x, y, z in points))
    knots = tuple((float(s), float(rng.uniform(2.6, 5.0))) for s in np.linspace(0, 240, 9))
    length = float(rng.uniform(*gap_mm))
    start = float(rng.uniform(35, 190 - length))
    return Tube(
        curve, calibre_mm=knots, gaps=(Gap(start, start + length),), wall_mm=1.0, taper_mm=3.0
    )


def scored(name: str, tube: Tube, volume: ImageVolume, *, long_gap: bool, thick: bool) -> Score:
    """Trace one ureter between its true ends and compare."""
    truth = tube.centreline
    began = time.process_time()
    course = trace_ureter(volume, truth.points_mm[0], truth.points_mm[-1])
    seconds = time.process_time() - began
    away, nearest = cKDTree(truth.points_mm).query(course.points_mm)
    station = truth.station_mm[nearest]
    lumen = tube.lumen_at(station)
    counted = np.isfinite(course.calibre_mm) & (lumen >= 2.5)
    off = np.abs(course.calibre_mm - lumen)[counted]
    held = off < Z95 * course.calibre_sd_mm[counted]
    inside = np.zeros(len(station), dtype=bool)
    found = True
    for gap in tube.gaps:
        inside |= (station > gap.from_mm) & (station < gap.to_mm)
        middle = course.station_mm[np.argmin(np.abs(station - (gap.from_mm + gap.to_mm) / 2))]
        found &= any(seen.from_mm <= middle <= seen.to_mm for seen in course.gaps)
    error = course.length_mm - tube.length_mm
    return Score(
        name,
        long_gap,
        thick,
        error / tube.length_mm,
        error / course.length_sd_mm,
        float(away.mean()),
        float(away.max()),
        float(np.percentile(off, 95)),
        float(held.mean()),
        int(np.isfinite(course.calibre_mm[inside]).sum()),
        found,
        seconds,
    )


def abdomen(number: int, *, thick: bool) -> list[Score]:
    """Draw one random abdomen and trace both its ureters."""
    rng = np.random.default_rng((SEED, number))
    left = random_tube(rng, 1.0, (12.0, 25.0))
    right = random_tube(rng, -1.0, (30.0, 45.0))
    spec = replace(adult(), left=left, right=right)
    phantom = render(
        spec,
        spacing_mm=(3.0 if thick else 1.0, 0.72, 0.72),
        low_mm=LOW_MM,
        high_mm=HIGH_MM,
        noise_hu=float(rng.uniform(15, 18)),
        seed=1000 + number,
    )
    slices = "3 mm" if thick else "1 mm"
    return [
        scored(f"{number} short gap, {slices}", left, phantom.volume, long_gap=False, thick=thick),
        scored(f"{number} long gap, {slices}", right, phantom.volume, long_gap=True, thick=thick),
    ]


def an_infant() -> list[Score]:
    """Trace both ureters of the ready-made infant."""
    phantom = render(infant(), spacing_mm=(1.0, 0.5, 0.5), noise_hu=16.0, seed=77)
    return [
        scored(f"infant, {side}", tube, phantom.volume, long_gap=False, thick=False)
        for side, tube in (("left", phantom.truth.left), ("right", phantom.truth.right))
    ]


def magnetic(number: int, *, coronal: bool) -> list[Score]:
    """Draw one random abdomen as an MR urogram, axial 3 mm or coronal 1.5 mm, and trace both."""
    rng = np.random.default_rng((SEED, 100 + number))
    left = random_tube(rng, 1.0, (12.0, 25.0))
    right = random_tube(rng, -1.0, (30.0, 45.0))
    # The grid is turned about its middle, so that the extents along y and z change places.
    low, high = ((-150.0, -130.0, -172.0), (150.0, 125.0, 96.0))
    if coronal:
        low, high = ((-130.0, -122.0, -153.0), (130.0, 146.0, 77.0))
    phantom = render_magnetic(
        replace(adult(), left=left, right=right),
        spacing_mm=(1.5 if coronal else 3.0, 1.2, 1.2),
        low_mm=low,
        high_mm=high,
        oblique_deg=(90.0, 0.0, 0.0) if coronal else None,
        scanner=MagneticScanner(noise=float(rng.uniform(8, 16)), seed=2000 + number),
    )
    view = "MR coronal" if coronal else "MR axial"
    return [
        scored(f"{number} {gap} gap, {view}", tube, phantom.volume, long_gap=long, thick=True)
        for gap, long, tube in (("short", False, left), ("long", True, right))
    ]


def share_within(scores: list[Score], attribute: str, limit: float) -> str:
    """Return how many scores keep within a limit, and the worst."""
    values = np.abs([getattr(score, attribute) for score in scores])
    return f"{int((values < limit).sum())} of {len(values)} (worst {values.max():.4g})"


def main() -> None:
    """Draw, trace, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=4)
    arguments = parser.parse_args()
    heads = ("length %", "z", "mean mm", "max mm", "cal p95", "held %", "in gap", "gaps", "CPU s")
    widths = (7, 6, 8, 8, 8, 6, 6, 5, 6)
    print(" " * 22, *(f"{h:>{w}s}" for h, w in zip(heads, widths, strict=True)))
    scores: list[Score] = []
    for number in range(arguments.pairs):
        for thick in (False, True):
            for score in abdomen(number, thick=thick):
                scores.append(score)
                print(score.line(), flush=True)
    for score in an_infant():
        scores.append(score)
        print(score.line(), flush=True)
    on_mr: list[Score] = []
    for number in range(arguments.pairs):
        for coronal in (False, True):
            for score in magnetic(number, coronal=coronal):
                on_mr.append(score)
                print(score.line(), flush=True)
    fine_short = [s for s in scores if not s.thick and not s.long_gap]
    fine_long = [s for s in scores if not s.thick and s.long_gap]
    thick_all = [s for s in scores if s.thick]
    fine = fine_short + fine_long
    print("\nlength within 0.5 %, short gaps:", share_within(fine_short, "length_share", 0.005))
    print("mean distance under 0.3 mm, short gaps:", share_within(fine_short, "mean_mm", 0.3))
    print("length within 1.5 %, gaps 30-45 mm:", share_within(fine_long, "length_share", 0.015))
    print("largest distance under 4 mm, long gaps:", share_within(fine_long, "greatest_mm", 4.0))
    print("length within 1 %, 3 mm planes:", share_within(thick_all, "length_share", 0.01))
    print("calibre p95 under 0.4 mm:", share_within(fine, "calibre_p95_mm", 0.4))
    print("calibre p95 under 0.8 mm, 3 mm planes:", share_within(thick_all, "calibre_p95_mm", 0.8))
    axial = [s for s in on_mr if "axial" in s.name]
    coronal_short = [s for s in on_mr if "coronal" in s.name and not s.long_gap]
    print("MR, 3 mm axial, length within 1 %:", share_within(axial, "length_share", 0.01))
    print(
        "MR, 1.5 mm coronal, short gaps, length within 0.5 %:",
        share_within(coronal_short, "length_share", 0.005),
    )
    print("MR, mean distance under 0.5 mm:", share_within(on_mr, "mean_mm", 0.5))
    print("MR, calibre p95 under 0.8 mm:", share_within(on_mr, "calibre_p95_mm", 0.8))
    scores += on_mr
    for name, some in (("1 mm planes", fine), ("3 mm planes", thick_all)):
        shares = [f"{100 * score.calibre_held:.0f}" for score in some]
        print(f"calibres within their 95 % interval, {name}, %:", ", ".join(shares))
    print("gaps flagged:", sum(s.gaps_found for s in scores), "of", len(scores))
    print("calibres inside gaps:", sum(s.in_gap for s in scores))
    print("root mean square of z:", f"{np.sqrt(np.mean([s.length_z**2 for s in scores])):.2f}")
    tracemalloc.start()
    phantom = render(infant(), spacing_mm=(1.0, 0.6, 0.6), noise_hu=16.0, seed=78)
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.reset_peak()
    line = phantom.truth.right.centreline.points_mm
    trace_ureter(phantom.volume, line[0], line[-1])
    _, peak = tracemalloc.get_traced_memory()
    print(f"memory while tracing the infant: {(peak - held) / 1e6:.0f} MB above the volume")


if __name__ == "__main__":
    main()
