"""Noise, blur, geometry and honesty of the artificial scanner."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from thalweg.phantom.curves import Line
from thalweg.phantom.grid import Grid, grid_over
from thalweg.phantom.scanner import Scanner, scan
from thalweg.phantom.simple import simple_tube

LINE = Line((0, 0, 0), (10, 5, -30))


def _flat(level: float, shape: tuple[int, int, int] = (30, 60, 60)) -> Grid:
    size = np.array(shape[::-1], dtype=float)
    return grid_over(-size / 2, size / 2, (1.0, 1.0, 1.0))


def test_noise_has_the_stated_spread_and_no_bias() -> None:
    grid = _flat(40.0)
    image = scan(np.full(grid.shape, 40.0, np.float32), grid, Scanner(noise_hu=15.0, seed=3))
    # Rounding to whole units adds a variance of 1/12 (uniform quantisation).
    assert image.values.std() == pytest.approx(np.sqrt(15**2 + 1 / 12), rel=0.01)
    assert image.values.mean() == pytest.approx(40.0, abs=0.2)


def test_noise_of_neighbours_is_uncorrelated() -> None:
    grid = _flat(0.0)
    image = scan(np.zeros(grid.shape, np.float32), grid, Scanner(noise_hu=15.0, seed=3))
    noise = image.values.astype(float)
    for axis in range(3):
        ahead, behind = (
            np.take(noise, range(1, noise.shape[axis]), axis),
            np.take(noise, range(noise.shape[axis] - 1), axis),
        )
        assert abs(np.corrcoef(ahead.ravel(), behind.ravel())[0, 1]) < 0.02


def test_same_seed_same_voxels_and_another_seed_others() -> None:
    first, again, other = (simple_tube(LINE, noise_hu=12.0, seed=seed) for seed in (5, 5, 6))
    assert np.array_equal(first.volume.values, again.volume.values)
    assert not np.array_equal(first.volume.values, other.volume.values)


def test_a_blurred_point_is_as_wide_at_half_height_as_stated() -> None:
    grid = grid_over(np.full(3, -6.05), np.full(3, 6.05), (0.1, 0.1, 0.1))
    values = np.zeros(grid.shape, dtype=np.float32)
    middle = tuple(n // 2 for n in grid.shape)
    values[middle] = 3.0e6
    image = scan(values, grid, Scanner(psf_mm=2.0, noise_hu=0.0))
    for profile in (
        image.values[:, middle[1], middle[2]],
        image.values[middle[0], :, middle[2]],
        image.values[middle[0], middle[1], :],
    ):
        above = np.count_nonzero(profile >= profile.max() / 2)
        assert above * 0.1 == pytest.approx(2.0, abs=0.11)


def test_a_phantom_says_that_it_is_one() -> None:
    volume = simple_tube(LINE).volume
    assert volume.phantom
    assert volume.modality == "CT"
    assert volume.values.dtype == np.int16
    assert any("phantom" in caution for caution in volume.cautions)


def test_values_stay_within_what_ct_can_hold() -> None:
    grid = _flat(0.0, (4, 4, 4))
    high = scan(np.full(grid.shape, 1e5, np.float32), grid, Scanner(noise_hu=0, psf_mm=0))
    assert high.values.max() == 3071


def test_an_oblique_grid_is_a_turned_one_about_the_same_middle() -> None:
    low, high = np.array([-10.0, -20.0, -30.0]), np.array([30.0, 20.0, 10.0])
    turn = (12.0, -7.0, 25.0)
    straight = grid_over(low, high, (2.0, 1.0, 0.8))
    oblique = grid_over(low, high, (2.0, 1.0, 0.8), turn)
    assert oblique.spacing_mm == pytest.approx([2.0, 1.0, 0.8])
    rotation = Rotation.from_euler("xyz", turn, degrees=True)
    middle = (low + high) / 2
    index = np.array([[0, 0, 0], [3, 4, 5], [19, 39, 49]])
    expected = rotation.apply(straight.points(index) - middle) + middle
    assert oblique.points(index) == pytest.approx(expected)


def test_coordinates_over_a_window_are_those_of_its_voxels() -> None:
    for turn in (None, (10.0, 20.0, 30.0)):
        grid = grid_over(np.zeros(3), np.array([20.0, 18.0, 30.0]), (3.0, 1.0, 0.8), turn)
        window = (slice(2, 5), slice(3, 9), slice(0, 7))
        x, y, z = np.broadcast_arrays(*grid.coordinates(window))
        assert (x.shape) == (3, 6, 7)
        found = np.array([x[1, 2, 4], y[1, 2, 4], z[1, 2, 4]])
        assert found == pytest.approx(grid.points(np.array([3, 5, 4])), abs=1e-4)


def test_a_tube_lies_where_it_was_put_on_straight_and_oblique_grids() -> None:
    for turn in (None, (25.0, -10.0, 40.0)):
        phantom = simple_tube(LINE, 4.0, spacing_mm=(1.0, 0.7, 0.7), oblique_deg=turn)
        share = (phantom.volume.values.astype(float) + 100) / 500
        index = np.argwhere(share > 0)
        weights = share[share > 0]
        centre = (phantom.volume.point_of(index) * weights[:, None]).sum(axis=0) / weights.sum()
        assert centre == pytest.approx([5.0, 2.5, -15.0], abs=0.02)
        assert phantom.volume.contains(phantom.tube.centreline.points_mm).all()
