"""The plane equation of PS3.3 C.7.6.2.1.1, on numbers worked out by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from thalweg.errors import ImageError
from thalweg.exchange.dicom.geometry import stack_planes

Array = NDArray[np.float64]


@dataclass
class Planes:
    """Five axial planes 2 mm apart, rows 0.7 mm and columns 0.5 mm apart."""

    heights: tuple[float, ...] = (0, 2, 4, 6, 8)

    def arrays(self) -> tuple[Array, Array, Array, Array, list[str]]:
        count = len(self.heights)
        return (
            np.array([[-10.0, -20.0, height] for height in self.heights]),
            np.tile([1.0, 0, 0, 0, 1, 0], (count, 1)),
            np.tile([0.7, 0.5], (count, 1)),
            np.full(count, 2.0),
            [f"file {index}" for index in range(count)],
        )


def test_matrix_follows_the_plane_equation() -> None:
    """Column index runs along the row direction by the second Pixel Spacing value, and so on."""
    stack = stack_planes(*Planes().arrays())
    expected = np.array([[0, 0, 0.5, -10], [0, 0.7, 0, -20], [2, 0, 0, 0], [0, 0, 0, 1]])
    np.testing.assert_allclose(stack.to_lps, expected)
    np.testing.assert_allclose(stack.spacing_mm, np.array([2, 0.7, 0.5]))
    assert stack.orientation == "axial"


def test_order_is_by_place() -> None:
    stack = stack_planes(*Planes((4, 0, 8, 2, 6)).arrays())
    assert stack.order.tolist() == [1, 3, 0, 4, 2]


def test_order_of_finding_changes_no_digit() -> None:
    positions, directions, spacings, thicknesses, labels = Planes().arrays()
    directions += np.linspace(-4e-5, 4e-5, 5)[:, None]  # as rounded by a careless exporter
    spacings += np.linspace(-4e-5, 4e-5, 5)[:, None]
    kept = stack_planes(positions, directions, spacings, thicknesses, labels)
    turn = [3, 1, 4, 0, 2]
    again = stack_planes(
        positions[turn],
        directions[turn],
        spacings[turn],
        thicknesses[turn],
        [labels[index] for index in turn],
    )
    np.testing.assert_array_equal(again.to_lps, kept.to_lps)


def test_order_is_along_the_normal_even_when_it_points_to_the_feet() -> None:
    positions, directions, spacings, thicknesses, labels = Planes().arrays()
    directions[:] = [1, 0, 0, 0, -1, 0]  # columns run forwards: the normal points down
    stack = stack_planes(positions, directions, spacings, thicknesses, labels)
    assert stack.order.tolist() == [4, 3, 2, 1, 0]
    assert np.linalg.det(stack.to_lps[:3, [2, 1, 0]]) > 0


@pytest.mark.parametrize(
    ("jitter", "accepted"), [(0.05, True), (0.09, True), (0.15, False), (0.5, False)]
)
def test_evenness_has_a_stated_limit(jitter: float, accepted: bool) -> None:
    planes = Planes((0, 2, 4 + jitter, 6, 8)).arrays()
    if accepted:
        assert stack_planes(*planes).spacing_mm[0] == pytest.approx(2)
    else:
        with pytest.raises(ImageError, match="uneven plane spacing"):
            stack_planes(*planes)


def test_many_small_errors_do_not_add_up() -> None:
    """Steps of 2.001 mm that are all alike are even, however many there are."""
    heights = tuple(np.arange(400) * 2.001)
    assert stack_planes(*Planes(heights).arrays()).spacing_mm[0] == pytest.approx(2.001)


def test_drift_from_the_grid_is_refused_though_each_step_is_small() -> None:
    heights = tuple(np.concatenate([np.arange(50) * 2.0, 98 + np.arange(1, 51) * 2.02]))
    with pytest.raises(ImageError, match="uneven plane spacing"):
        stack_planes(*Planes(heights).arrays())
