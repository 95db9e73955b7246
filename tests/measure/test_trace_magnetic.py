"""MR urograms: artificial abdomens with coil shading and Rician noise, whose truth is known.

The truth is the phantom's own geometry and signal table (`thalweg.phantom`), which the tracer never
sees. Ureters are drawn from seeds on which no setting was tuned. The coils' fall-off is
``sum 1 / (1 + (d / depth)^2)``, not the polynomial that is fitted to it. Noise of a magnitude image
is Rician, in air Rayleigh with mean ``sigma sqrt(pi / 2)``: Gudbjartsson and Patz 1995 (from
memory).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from thalweg.errors import ImageError, InputError
from thalweg.measure.shading import blocks_of, fitted_shading
from thalweg.measure.signal import working_image
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.phantom.courses import USUAL
from thalweg.phantom.curves import Spline
from thalweg.phantom.magnetic import (
    EXCRETORY_T1,
    STATIC_FLUID,
    MagneticScanner,
    coil_shading,
    render_magnetic,
)
from thalweg.phantom.scenario import adult, infant
from thalweg.phantom.tube import Gap, Tube

if TYPE_CHECKING:
    from thalweg.measure.course import Course
    from thalweg.phantom.render import Phantom
    from thalweg.phantom.spec import AnatomySpec, Tissues

AXIAL = {"low_mm": (-150.0, -130.0, -172.0), "high_mm": (150.0, 125.0, 96.0)}
CORONAL = {"low_mm": (-130.0, -122.0, -153.0), "high_mm": (130.0, 146.0, 77.0)}
"""Before the turn about x, and about the middle: the extents along y and z change places."""


def drawn_ureter(seed: int, sign: float, gap: Gap) -> Tube:
    rng = np.random.default_rng(seed)
    points = np.asarray(USUAL) * (sign, 1.0, 1.0)
    points[1:-1] += rng.normal(0.0, 1.4, (len(points) - 2, 3))
    knots = tuple((float(s), float(rng.uniform(3.0, 5.0))) for s in np.linspace(0, 240, 8))
    curve = Spline(tuple((float(x), float(y), float(z)) for x, y, z in points))
    return Tube(curve, calibre_mm=knots, gaps=(gap,), wall_mm=1.0, taper_mm=3.0)


def drawn_abdomen(seed: int) -> AnatomySpec:
    return replace(
        adult(),
        left=drawn_ureter(seed, 1.0, Gap(80.0, 101.0)),
        right=drawn_ureter(seed + 1, -1.0, Gap(120.0, 138.0)),
    )


@cache
def magnetic(view: str, planes_mm: float, tissues: Tissues) -> Phantom:
    box = CORONAL if view == "coronal" else AXIAL
    return render_magnetic(
        drawn_abdomen(8101),
        tissues=tissues,
        spacing_mm=(planes_mm, 1.2, 1.2),
        low_mm=box["low_mm"],
        high_mm=box["high_mm"],
        oblique_deg=(90.0, 0.0, 0.0) if view == "coronal" else None,
        scanner=MagneticScanner(seed=8103),
    )


@cache
def traced_magnetic(view: str, planes_mm: float, side: str, tissues: Tissues) -> Course:
    phantom = magnetic(view, planes_mm, tissues)
    tube = phantom.truth.left if side == "left" else phantom.truth.right
    return trace_ureter(phantom.volume, *tube.centreline.points_mm[[0, -1]])


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    ("view", "planes_mm", "tissues", "length_share"),
    [
        pytest.param("axial", 3.0, EXCRETORY_T1, 0.01, id="axial 3 mm"),
        pytest.param("coronal", 1.5, EXCRETORY_T1, 0.005, id="coronal 1.5 mm"),
        pytest.param("axial", 3.0, STATIC_FLUID, 0.01, id="static fluid"),
    ],
)
def test_length_place_calibre_and_gap(
    view: str, planes_mm: float, tissues: Tissues, length_share: float, side: str
) -> None:
    truth = magnetic(view, planes_mm, tissues).truth
    tube = truth.left if side == "left" else truth.right
    course = traced_magnetic(view, planes_mm, side, tissues)
    line = tube.centreline
    away, nearest = cKDTree(line.points_mm).query(course.points_mm)
    station = line.station_mm[nearest]
    assert abs(course.length_mm / tube.length_mm - 1) < length_share
    assert abs(course.length_mm - tube.length_mm) < 2 * course.length_sd_mm
    assert away.mean() < (0.5 if planes_mm > 1.5 else 0.3)
    lumen = tube.lumen_at(station)
    known = np.isfinite(course.calibre_mm)
    off = np.abs(course.calibre_mm - lumen)[known & (lumen >= 2.5)]
    assert known.mean() > 0.6
    assert np.percentile(off, 95) < 0.8
    (gap,) = tube.gaps
    (found,) = course.gaps
    assert found.from_mm == pytest.approx(gap.from_mm, abs=3.0)
    assert found.to_mm == pytest.approx(gap.to_mm, abs=3.0)
    assert not known[(station > gap.from_mm) & (station < gap.to_mm)].any()


def test_levels_are_those_of_the_signal_table() -> None:
    phantom = magnetic("axial", 3.0, EXCRETORY_T1)
    ends = phantom.truth.left.centreline.points_mm[[0, -1]]
    levels = working_image(phantom.volume, ends).levels
    assert levels is not None
    # Shading is relative to the placed points: absolute levels carry the coils' mean there.
    assert levels.noise == pytest.approx(12.0, rel=0.05)
    assert levels.fat is not None
    assert levels.fat / levels.tissue == pytest.approx(66.0 / 200.0, rel=0.1)
    assert levels.urine / levels.tissue == pytest.approx(1250.0 / 200.0, rel=0.12)
    (told,) = [c for c in working_image(phantom.volume, ends).volume.cautions if "levels" in c]
    assert f"{levels.tissue:.3g}" in told
    assert f"{levels.urine:.3g}" in told


def test_shading_found_is_the_coils() -> None:
    from thalweg.phantom.grid import Grid

    volume = magnetic("axial", 3.0, EXCRETORY_T1).volume
    blocks = blocks_of(volume)
    body = blocks.mean > 30
    index = blocks.voxel_index(np.argwhere(body))
    field = sum(weight * share for share, weight in coil_shading(
        Grid(volume.shape, volume.to_lps), 110.0, 1.0
    ))  # fmt: skip
    truth = np.log(np.asarray(field)[tuple(np.rint(index).astype(int).T)])
    found = fitted_shading(blocks, body).log_at(index)
    rest = found - truth
    assert np.ptp(truth) > 0.7
    assert rest.std() < 0.4 * truth.std()
    assert rest.std() < 0.08


@pytest.mark.parametrize("factor", [4.0, 0.37])
def test_any_unit_gives_the_same_course(factor: float) -> None:
    phantom = magnetic("axial", 3.0, EXCRETORY_T1)
    course = traced_magnetic("axial", 3.0, "left", EXCRETORY_T1)
    scaled = replace(phantom.volume, values=phantom.volume.values * np.float32(factor))
    again = trace_ureter(scaled, *phantom.truth.left.centreline.points_mm[[0, -1]])
    assert np.abs(again.points_mm - course.points_mm).max() < 1e-3
    assert np.allclose(again.calibre_mm, course.calibre_mm, atol=1e-3, equal_nan=True)
    assert len(again.gaps) == len(course.gaps)
    assert again.length_mm == pytest.approx(course.length_mm, abs=1e-4)


def test_a_course_placed_by_hand_is_measured_on_mr() -> None:
    phantom = magnetic("axial", 3.0, EXCRETORY_T1)
    tube = phantom.truth.left
    line = tube.centreline
    every = line.point_at(np.linspace(0.0, tube.length_mm, 30))
    course = course_from_points(every, phantom.volume)
    station = line.station_mm[cKDTree(line.points_mm).query(course.points_mm)[1]]
    lumen = tube.lumen_at(station)
    known = np.isfinite(course.calibre_mm) & (lumen >= 2.5)
    assert known.mean() > 0.5
    assert np.percentile(np.abs(course.calibre_mm - lumen)[known], 95) < 0.8
    assert len(course.gaps) == 1


@cache
def small_box(tissues: Tissues, seed: int = 8110) -> Phantom:
    return render_magnetic(
        infant(),
        tissues=tissues,
        spacing_mm=(2.0, 1.2, 1.2),
        scanner=MagneticScanner(seed=seed),
    )


def test_fat_as_bright_as_urine_is_refused() -> None:
    phantom = small_box(replace(EXCRETORY_T1, fat=1000.0, visceral_fat=1020.0))
    with pytest.raises(ImageError, match=r"fat is nearly as bright as urine.*fat suppression"):
        trace_ureter(phantom.volume, *phantom.truth.left.centreline.points_mm[[0, -1]])


def test_urine_no_brighter_than_vessels_is_refused_and_by_hand_it_is_said() -> None:
    phantom = small_box(replace(EXCRETORY_T1, urine_with_contrast=260.0, kidney=260.0))
    points = phantom.truth.left.centreline.points_mm
    with pytest.raises(ImageError, match=r"urine does not stand out.*excretory phase"):
        trace_ureter(phantom.volume, *points[[0, -1]])
    course = course_from_points(points[:: len(points) // 20], phantom.volume)
    assert np.isnan(course.calibre_mm).all()
    assert any("urine does not stand out" in caution for caution in course.cautions)


def test_what_mr_cannot_show_is_said() -> None:
    course = traced_magnetic("axial", 3.0, "left", EXCRETORY_T1)
    said = " ".join(course.cautions)
    assert "T2-weighted" in said
    assert "may hold a stone" in said
    assert "HU" not in said
    assert "bone beside" not in said


def test_a_point_in_air_is_refused() -> None:
    phantom = magnetic("axial", 3.0, EXCRETORY_T1)
    start, end = phantom.truth.left.centreline.points_mm[[0, -1]]
    outside = np.array([start[0], -125.0, start[2]])
    with pytest.raises(InputError, match=r"via point 1.*nothing gives signal"):
        trace_ureter(phantom.volume, start, end, [outside])


def test_concentrated_contrast_dark_within_is_said() -> None:
    phantom = magnetic("coronal", 1.5, EXCRETORY_T1)
    tube = phantom.truth.left
    line = tube.centreline
    volume = phantom.volume
    values = volume.values.copy()
    # A dark thread along the middle of 30 mm of the lumen, as T2* decay makes it; wide rim left.
    part = line.points_mm[(line.station_mm > 150) & (line.station_mm < 180)]
    low = np.floor(volume.index_of(part).min(axis=0)).astype(int) - 5
    high = np.ceil(volume.index_of(part).max(axis=0)).astype(int) + 6
    index = low + np.argwhere(np.ones(high - low, dtype=bool))
    near = cKDTree(part).query(volume.point_of(index), distance_upper_bound=5.2)[0]
    values[tuple(index[near < 3.6].T)] = 1250
    values[tuple(index[near < 1.6].T)] = 150
    course = trace_ureter(replace(volume, values=values), *line.points_mm[[0, -1]])
    (said,) = [c for c in course.cautions if "darker than its rim" in c]
    assert "concentrated contrast can look dark" in said
    inside = (course.station_mm > 152) & (course.station_mm < 178)
    assert np.isnan(course.calibre_mm[inside]).all()
    sound = traced_magnetic("coronal", 1.5, "left", EXCRETORY_T1)
    assert not any("darker than its rim" in caution for caution in sound.cautions)


def test_other_modalities_are_refused() -> None:
    phantom = magnetic("axial", 3.0, EXCRETORY_T1)
    line = phantom.truth.left.centreline.points_mm
    with pytest.raises(ImageError, match=r"only on CT or MR"):
        trace_ureter(replace(phantom.volume, modality="PT"), line[0], line[-1])
    below = replace(phantom.volume, values=phantom.volume.values - np.int16(400))
    with pytest.raises(ImageError, match=r"negative signal"):
        trace_ureter(below, line[0], line[-1])
