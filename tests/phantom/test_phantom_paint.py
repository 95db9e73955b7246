"""Partial volume: contrast drawn into voxels adds up to the tube's volume, whatever the grid."""

import numpy as np
import pytest

from thalweg.phantom.curves import Arc, Curve, Helix, Line
from thalweg.phantom.grid import grid_over
from thalweg.phantom.paint import paint_solid, paint_union
from thalweg.phantom.simple import TubePhantom, simple_tube
from thalweg.phantom.solids import Barrel, Ellipsoid, Plate, Rod, Solid, turned

SLANT = Line((0, 0, 0), (30, 10, -80))
SPACINGS = [(0.6, 0.6, 0.6), (1.0, 0.75, 0.75), (1.5, 0.8, 0.8), (3.0, 0.75, 0.75), (5.0, 0.9, 0.9)]


def _contrast_mm3(phantom: TubePhantom) -> float:
    share = (phantom.volume.values.astype(float) - phantom.background_hu) / (
        phantom.tissue.lumen_hu - phantom.background_hu
    )
    return float(share.sum() * phantom.volume.spacing_mm.prod())


@pytest.mark.parametrize("spacing", SPACINGS, ids=str)
@pytest.mark.parametrize("diameter", [2.0, 3.0, 7.0])
def test_a_cylinders_contrast_is_its_volume(
    spacing: tuple[float, float, float], diameter: float
) -> None:
    phantom = simple_tube(SLANT, diameter, spacing_mm=spacing)
    exact = np.pi / 4 * diameter**2 * np.linalg.norm([30, 10, 80])
    assert _contrast_mm3(phantom) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(
    "curve", [Arc((0, 0, 0), 40.0, 1.5), Helix((0, 0, 0), 12.0, 30.0, 2.0)], ids=["arc", "helix"]
)
def test_a_bent_tubes_contrast_is_section_times_length(curve: Curve) -> None:
    # Pappus: the volume of a tube is its section times the length of its centreline.
    phantom = simple_tube(curve, 3.0, spacing_mm=(2.0, 0.8, 0.8))
    exact = np.pi / 4 * 9 * phantom.tube.length_mm
    assert _contrast_mm3(phantom) == pytest.approx(exact, rel=0.01)


def test_a_gap_takes_its_own_volume_away() -> None:
    phantom = simple_tube(SLANT, 4.0, spacing_mm=(1.5, 0.8, 0.8), gaps=((20.0, 42.0),))
    exact = np.pi * 4 * (phantom.tube.length_mm - 22.0)
    assert _contrast_mm3(phantom) == pytest.approx(exact, rel=0.01)


def test_blur_and_tilt_move_contrast_but_keep_its_amount() -> None:
    phantom = simple_tube(
        SLANT, 3.0, spacing_mm=(1.5, 0.8, 0.8), psf_mm=1.2, oblique_deg=(20, -15, 35)
    )
    exact = np.pi / 4 * 9 * np.linalg.norm([30, 10, 80])
    assert _contrast_mm3(phantom) == pytest.approx(exact, rel=0.01)


def test_wall_and_lumen_each_take_their_share() -> None:
    phantom = simple_tube(
        SLANT, 4.0, spacing_mm=(1.0, 0.7, 0.7), wall_mm=1.0, lumen_hu=0, wall_hu=1000,
        background_hu=0,
    )  # fmt: skip
    wall = phantom.volume.values.astype(float).sum() / 1000 * phantom.volume.spacing_mm.prod()
    assert wall == pytest.approx(np.pi * (9 - 4) * phantom.tube.length_mm, rel=0.01)


def test_a_gap_with_a_wall_shows_as_a_soft_cord() -> None:
    phantom = simple_tube(
        Line((0, 0, 0), (0, 0, -60)), 4.0, spacing_mm=(1.0, 0.5, 0.5), gaps=((20.0, 40.0),),
        wall_mm=1.0,
    )  # fmt: skip
    k, r, c = np.rint(phantom.volume.index_of([0, 0, -30])).astype(int)
    assert phantom.volume.values[k, r, c] == 40
    k, r, c = np.rint(phantom.volume.index_of([0, 0, -10])).astype(int)
    assert phantom.volume.values[k, r, c] == 400


@pytest.mark.parametrize(
    ("solid", "exact_mm3"),
    [
        (Ellipsoid((1, 2, 3), (9, 12, 20), turned(20, 30)), 4 / 3 * np.pi * 9 * 12 * 20),
        (Barrel((0, 0, 0), (12, 9), 14), np.pi * 12 * 9 * 28),
        (Rod((0, 0, 10), (5, 5, -20), 6.0), np.pi * 36 * np.linalg.norm([5, 5, 30]) + 288 * np.pi),
        (
            Plate((0, 0, 0), 25, 18, 8, 0, ((0, 1, 0), (1, 0, 0), (0, 0, 1))),
            np.pi * 25 * 18 * 8,
        ),
    ],
    ids=["ellipsoid", "barrel", "rod", "plate"],
)
def test_a_drawn_solid_has_its_volume(solid: Solid, exact_mm3: float) -> None:
    low, high = solid.box()
    grid = grid_over(low - 3, high + 3, (1.0, 0.8, 0.8), (5, 10, 0))
    values = np.zeros(grid.shape, dtype=np.float32)
    paint_solid(values, grid, solid, 1.0)
    assert values.sum(dtype=float) * grid.voxel_mm3 == pytest.approx(exact_mm3, rel=0.02)


def test_rods_end_to_end_show_no_seam() -> None:
    grid = grid_over(np.full(3, -20.0), np.full(3, 20.0), (1.0, 1.0, 1.0))
    whole, parts = (np.zeros(grid.shape, dtype=np.float32) for _ in range(2))
    paint_solid(whole, grid, Rod((0, 0, -10), (0, 0, 10), 5.0), 1.0)
    halves = (Rod((0, 0, -10), (0, 0, 1), 5.0), Rod((0, 0, 1), (0, 0, 10), 5.0))
    paint_union(parts, grid, halves, 1.0)
    np.testing.assert_allclose(parts, whole, atol=1e-5)


@pytest.mark.parametrize("turn", [None, (10.0, 20.0, 30.0)], ids=["axial", "oblique"])
def test_a_union_is_drawn_whole_wherever_its_edges_fall_on_the_grid(
    turn: tuple[float, float, float] | None,
) -> None:
    rods = tuple(Rod((0.7 * z, 0, z), (0.7 * z + 2.1, 0, z + 3), 4.0) for z in range(-12, 12, 3))
    exact = np.pi * 16 * np.hypot(24, 0.7 * 24) + 4 / 3 * np.pi * 64
    for step in np.arange(0.6, 1.4, 0.02):
        # Voxel edges fall on the rods' own edges, where rounding can go either way.
        low, high = (
            np.array([-12.4, -4.0, -16.0]) - 5 * step,
            np.array([12.4, 4.0, 16.0]) + 6 * step,
        )
        grid = grid_over(low, high, (float(step),) * 3, turn)
        values = np.zeros(grid.shape, dtype=np.float32)
        paint_union(values, grid, rods, 1.0)
        assert values.sum(dtype=float) * grid.voxel_mm3 == pytest.approx(exact, rel=0.03)


def test_an_ellipsoids_lowest_point_is_on_its_surface_and_lowest() -> None:
    solid = Ellipsoid((1, 2, 3), (9, 12, 20), turned(20, 30))
    low, _ = solid.box()
    point = np.asarray(solid.lowest_point(), dtype=np.float32)
    assert point[2] == pytest.approx(low[2], abs=1e-4)
    assert solid.signed_distance(*point[:, None]) == pytest.approx(0.0, abs=1e-4)
