"""Reformations against images known in closed form, and against SimpleITK's resampling.

What a helix's frame without twist must do is elementary differential geometry: against the
Frenet frame it turns back by the torsion times the arc length.
"""

from __future__ import annotations

import importlib
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from tests.support import tubes

from thalweg.measure.overview import greatest_through, outside_mm
from thalweg.measure.reformat import (
    BACK,
    FROM_LEFT,
    FRONT,
    LEFT,
    Brightest,
    Reformation,
    curved,
    greatest_in_slab,
    level_frames,
    straightened,
    stretched,
)
from thalweg.measure.spline import even_steps, polyline_length
from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

HELIX = tubes.helix(14.0, 70.0, 1.6)
OBLIQUE = Rotation.from_euler("xyz", [25, -35, 15], degrees=True).as_matrix()


def evenly(points: Array) -> tuple[Array, Array]:
    course = even_steps(points, 1.0)
    return course, polyline_length(course)


def narrowing(s: Array) -> Array:
    return np.asarray(3.0 + 1.2 * np.cos(2 * np.pi * s / 60.0))


def tube_image(
    points: Array,
    spacing: tuple[float, float, float] = (1.0, 0.7, 0.7),
    *,
    axes: Array | None = None,
    shear: float = 0.0,
    beads: tuple[float, ...] = (),
) -> ImageVolume:
    shape, to_lps = tubes.grid(points, spacing, axes=axes, shear=shear)
    parts = [tubes.Tube(points, narrowing, tubes.constant(400.0))]
    station = parts[0].station_mm
    for bead in beads:
        at = np.array([np.interp(bead, station, axis) for axis in points.T])
        short = at + np.linspace(-0.5, 0.5, 11)[:, None] * np.array([0, 0, 1.0])
        parts.append(tubes.Tube(short, tubes.constant(1.2), tubes.constant(2500.0)))
    return tubes.render(parts, shape, to_lps, noise_hu=0.0, blur_mm=0.0)


VOLUMES = [
    pytest.param({}, id="axial"),
    pytest.param({"axes": OBLIQUE}, id="oblique"),
    pytest.param({"spacing": (2.0, 0.6, 0.9)}, id="anisotropic"),
    pytest.param({"spacing": (1.0, 0.7, 0.7), "shear": 0.25}, id="tilted gantry"),
]


@pytest.mark.parametrize("how", VOLUMES)
def test_a_winding_tube_comes_out_straight_centred_and_as_wide_as_it_is(
    how: dict[str, Any],
) -> None:
    volume = tube_image(HELIX, **how)
    course, station = evenly(HELIX)
    for picture in straightened(volume, course, station):
        assert np.array_equal(picture.row_mm, station)
        bright = np.clip(picture.values - 40.0, 0, None)
        bright[:, np.abs(picture.across_mm) > 7.0] = 0.0
        centre = bright @ picture.across_mm / bright.sum(axis=1)
        inside = slice(5, -5)
        # Half a pixel of 0.5 mm; on thick planes what the voxels themselves can say.
        assert np.abs(centre[inside]).max() < max(0.25, 0.15 * volume.spacing_mm.max())
        assert np.array_equal(
            picture.pixels[:, 1], np.full(len(course), (len(picture.across_mm) - 1) / 2)
        )
        # What a row should hold: the chords of a disc of the known radius, averaged over the slab.
        depth = np.linspace(-2 / 3, 2 / 3, 3)
        chord = 2 * np.sqrt(narrowing(station)[:, None] ** 2 - depth**2).mean(axis=1)
        width = bright.sum(axis=1) * 0.5 / 400.0
        off = (width - chord)[inside]
        assert np.abs(off).max() < 0.9  # a voxel or so, as any single row must allow
        assert np.sqrt(np.mean(off**2)) < 0.35
        assert abs(np.mean(off)) < 0.12 * volume.spacing_mm.max()


@pytest.mark.parametrize("how", VOLUMES)
def test_a_bead_lies_at_its_station_in_every_picture(how: dict[str, Any]) -> None:
    beads = (22.0, 71.0, 130.0)
    volume = tube_image(HELIX, **how, beads=beads)
    course, station = evenly(HELIX)
    pictures = [*straightened(volume, course, station)]
    pictures += [curved(volume, course, station, along=way) for way in (LEFT, BACK)]
    rolled = [stretched(volume, course, along=way) for way in (LEFT, BACK)]
    views = [greatest_in_slab(volume, course, view) for view in (FRONT, FROM_LEFT)]
    for bead in beads:
        own = int(np.argmin(np.abs(station - bead)))
        seen: list[Reformation | Brightest] = [*pictures, *rolled, *views]
        for picture in seen:
            row, column = picture.pixels[own]
            near = picture.values.copy()
            rows = np.abs(np.arange(near.shape[0]) - row)[:, None]
            columns = np.abs(np.arange(near.shape[1]) - column)[None, :]
            near[(rows > 8) | (columns > 12)] = 0.0
            weight = np.where(near > 900.0, near, 0.0)
            at = np.array(
                [(weight.sum(axis=1 - axis) * np.arange(near.shape[axis])).sum() for axis in (0, 1)]
            )
            at /= weight.sum()
            assert at[0] == pytest.approx(row, abs=1.0), bead
            assert at[1] == pytest.approx(column, abs=1.2), bead
        for rows_are_stations in pictures:
            row = rows_are_stations.pixels[own, 0]
            assert rows_are_stations.row_mm[round(row)] == pytest.approx(bead, abs=0.5)


def test_turning_person_and_course_together_changes_nothing() -> None:
    volume = tube_image(HELIX, beads=(60.0,))
    course, station = evenly(HELIX)
    turn = Rotation.from_euler("zyx", [70, 20, -110], degrees=True).as_matrix()
    moved = np.eye(4)
    moved[:3, :3], moved[:3, 3] = turn, (31.0, -200.0, 77.0)
    other = ImageVolume(volume.values, moved @ volume.to_lps)
    elsewhere = course @ turn.T + moved[:3, 3]
    before = straightened(volume, course, station)
    after = straightened(
        other, elsewhere, station, left=turn @ np.array(LEFT), back=turn @ np.array(BACK)
    )
    for one, two in zip(before, after, strict=True):
        np.testing.assert_allclose(one.values, two.values, atol=0.05)
    rolled = stretched(volume, course)
    again = stretched(other, elsewhere, along=turn @ np.array(LEFT))
    np.testing.assert_allclose(
        np.diff(rolled.pixels, axis=0), np.diff(again.pixels, axis=0), atol=1e-9
    )


def test_the_frame_does_not_spin() -> None:
    radius, pitch = 14.0, 70.0
    course, station = evenly(tubes.helix(radius, pitch, 3.0))
    one, two = level_frames(course)
    rise = pitch / (2 * np.pi)
    torsion = rise / (radius**2 + rise**2)
    inward = -np.stack([course[:, 0], course[:, 1], np.zeros(len(course))], axis=1) / radius
    angle = np.unwrap(np.arctan2((inward * two).sum(axis=1), (inward * one).sum(axis=1)))
    turned = abs(angle[-3] - angle[2])
    assert turned == pytest.approx(torsion * (station[-3] - station[2]), rel=0.01)
    straight, _ = level_frames(tubes.line(100.0, (0.0, 0.0, -1.0)))
    np.testing.assert_allclose(straight, np.broadcast_to(LEFT, straight.shape), atol=1e-9)


@pytest.mark.parametrize("upward", [False, True])
def test_columns_count_to_the_persons_left_and_back_whichever_way_the_course_runs(
    upward: bool,
) -> None:
    points = tubes.line(80.0, (0.1, 0.15, -1.0))
    one, two = level_frames(points[::-1] if upward else points)
    assert (one @ LEFT).min() > 0.98
    assert (two @ BACK).min() > 0.98


def test_unrolling_keeps_lengths() -> None:
    course, station = evenly(HELIX)
    volume = tube_image(HELIX)
    rolled = stretched(volume, course, along=LEFT)
    mm = rolled.pixels * (1.0, 0.5)
    assert polyline_length(mm)[-1] == pytest.approx(station[-1], rel=1e-3)


def test_planes_agree_with_simpleitk() -> None:
    itk: Any = importlib.import_module("SimpleITK")
    volume = tube_image(HELIX, (1.6, 0.6, 0.8), axes=OBLIQUE, beads=(50.0,))
    image = itk.GetImageFromArray(volume.values.astype(np.float32))
    image.SetSpacing([float(size) for size in volume.spacing_mm[::-1]])
    image.SetDirection((volume.to_lps[:3, :3] / volume.spacing_mm)[:, ::-1].ravel().tolist())
    image.SetOrigin(volume.to_lps[:3, 3].tolist())
    # Along a straight course every reformation is a stack of planes, which SimpleITK resamples.
    points = np.array([2.0, -3.0, -20.0]) + np.arange(60.0)[:, None] * np.array([0.0, 0.0, -1.0])
    station = np.arange(60.0)
    layers = []
    for depth in (-2 / 3, 0.0, 2 / 3):
        flat = itk.Image([49, 1, 60], itk.sitkFloat32)
        flat.SetSpacing((0.5, 1.0, 1.0))
        flat.SetDirection((1.0, 0, 0, 0, -1.0, 0, 0, 0, -1.0))
        flat.SetOrigin((2.0 - 12.0, -3.0 + depth, -20.0))
        made = itk.Resample(image, flat, itk.Transform(), itk.sitkLinear, -9999.0)
        layers.append(itk.GetArrayFromImage(made)[:, 0, :])
    theirs = np.mean(layers, axis=0)
    ours, _ = straightened(volume, points, station)
    inside = np.isfinite(ours.values) & (np.min(layers, axis=0) > -9000)
    assert inside.mean() > 0.8
    np.testing.assert_allclose(ours.values[inside], theirs[inside], atol=0.05)


def test_a_view_holds_both_limbs_of_a_hairpin_and_not_what_lies_behind() -> None:
    t = np.linspace(0, np.pi, 60)
    bend = np.stack([0 * t, 15 * (1 - np.cos(t)), -40 - 15 * np.sin(t)], axis=1)
    down = np.stack([0 * t, 0 * t, np.linspace(0, -40, 60)], axis=1)
    points = np.vstack([down[:-1], bend, bend[-1] + (0, 0, 1) * np.linspace(0.6, 40, 60)[:, None]])
    shape, to_lps = tubes.grid(points, (1.0, 1.0, 1.0), margin_mm=70.0)
    behind = np.add(tubes.line(50.0, (0.0, 0.0, -1.0)), (0.0, 60.0, 0.0))
    parts = [
        tubes.Tube(points, tubes.constant(2.0), tubes.constant(400.0)),
        tubes.Tube(behind, tubes.constant(9.0), tubes.constant(1200.0)),
    ]
    volume = tubes.render(parts, shape, to_lps, noise_hu=0.0)
    front = greatest_in_slab(volume, points)
    assert np.nanmax(front.values) < 600.0  # the bright rod 30 mm behind is not in it
    side = greatest_in_slab(volume, points, FROM_LEFT)
    rows, columns = np.rint(side.pixels).astype(int).T
    assert (side.values[rows, columns][3:-3] > 250.0).all()  # both limbs show
    assert np.ptp(columns) == pytest.approx(30, abs=1)


def test_outside_the_image_nothing_is_invented() -> None:
    course, station = evenly(HELIX)
    volume = tube_image(HELIX)
    part = ImageVolume(volume.values[: volume.shape[0] // 2], volume.to_lps)
    for picture in (
        *straightened(part, course, station),
        curved(part, course, station),
        greatest_in_slab(part, course),
    ):
        assert np.isnan(picture.values).any()
        assert np.isfinite(picture.values).any()


@pytest.mark.parametrize("axes", [None, OBLIQUE], ids=["axial", "oblique"])
def test_the_whole_image_at_a_glance_keeps_small_bright_things(axes: Array | None) -> None:
    shape, to_lps = tubes.grid(HELIX, (1.5, 0.8, 0.8), axes=axes, margin_mm=30.0)
    values = np.full(shape, 40, dtype=np.int16)
    spot = np.array([shape[0] // 3, shape[1] // 2 + 5, shape[2] // 4])
    values[tuple(spot)] = 2000
    volume = ImageVolume(values, to_lps)
    for view in (FRONT, FROM_LEFT):
        seen = greatest_through(volume, view, volume.point_of(spot)[None])
        row, column = np.rint(seen.pixels[0]).astype(int)
        assert np.isfinite(seen.values[row, column])
        near = seen.values[row - 2 : row + 3, column - 2 : column + 3]
        assert np.nanmax(near) == 2000
        assert (seen.values == 2000).sum() <= 9


def test_how_far_a_point_lies_outside() -> None:
    to_lps = np.eye(4)
    to_lps[:3, :3] = np.array([[0, 0, 1.0], [0, 1.0, 0], [2.0, 0, 0]])
    volume = ImageVolume(np.zeros((11, 21, 31), np.int16), to_lps)  # x to 30.5, y to 20.5, z to 21
    assert outside_mm(volume, np.array([10.0, 10.0, 10.0])) == 0.0
    assert outside_mm(volume, np.array([40.5, 10.0, 10.0])) == pytest.approx(10.0, abs=1e-6)
    assert outside_mm(volume, np.array([33.5, 24.5, 21.0])) == pytest.approx(5.0, abs=1e-6)
    turned = np.eye(4)
    turned[:3, :3] = OBLIQUE
    away = ImageVolume(volume.values, turned @ to_lps)
    point = OBLIQUE @ np.array([33.5, 24.5, 21.0])
    assert outside_mm(away, point) == pytest.approx(5.0, abs=1e-6)
