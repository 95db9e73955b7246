"""Regions as pixels, against plain geometry, matplotlib's paths and scipy's dilation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.path import Path as Outline
from scipy import ndimage

from thalweg.assess.renogram.regions import (
    check_regions,
    outline_of,
    propose_background,
    regions_of,
)
from thalweg.errors import InputError

SHAPE = (40, 50)
EIGHT = np.ones((3, 3), dtype=bool)


def disc(column: float, row: float, radius: float, shape: tuple[int, int] = SHAPE) -> np.ndarray:
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    return np.asarray(np.hypot(rows - row, columns - column) <= radius)


def test_a_rectangle_through_pixel_centres_takes_them_in() -> None:
    """Corners (2, 3) to (6, 5): columns 2 to 6, rows 3 to 5, edges and corners included."""
    filled = regions_of({"left": [(2, 3), (6, 3), (6, 5), (2, 5)]}, SHAPE)["left"]
    wanted = np.zeros(SHAPE, dtype=bool)
    wanted[3:6, 2:7] = True
    np.testing.assert_array_equal(filled, wanted)


def test_a_slanting_side_takes_in_the_centres_on_it() -> None:
    """Triangle (0, 0), (8, 0), (0, 8): every centre with column + row ≤ 8."""
    filled = regions_of({"left": [(0, 0), (8, 0), (0, 8)]}, SHAPE)["left"]
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    np.testing.assert_array_equal(filled, rows + columns <= 8)


def test_the_way_round_does_not_matter() -> None:
    corners = [(3.2, 4.1), (20.7, 2.2), (25.3, 30.4), (9.9, 33.3)]
    there, back = (regions_of({"left": each}, SHAPE)["left"] for each in (corners, corners[::-1]))
    np.testing.assert_array_equal(there, back)
    assert there.any()


@given(
    st.lists(st.floats(3.0, 15.0), min_size=4, max_size=12),
    st.floats(18.0, 30.0),
    st.floats(17.0, 22.0),
)
def test_star_shaped_outlines_against_matplotlib(
    radii: list[float], column: float, row: float
) -> None:
    """Centres within 1e-6 px of a side are left out: who owns the edge differs."""
    turns = 2 * math.pi * np.arange(len(radii)) / len(radii)
    corners = np.c_[column + np.array(radii) * np.cos(turns), row + np.array(radii) * np.sin(turns)]
    filled = regions_of({"left": [tuple(each) for each in corners.tolist()]}, SHAPE)["left"]
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    places = np.c_[columns.ravel(), rows.ravel()]
    outline = Outline(np.r_[corners, corners[:1]])
    surely = (
        outline.contains_points(places, radius=-1e-6),
        outline.contains_points(places, radius=1e-6),
    )
    clear = (surely[0] == surely[1]).reshape(SHAPE)
    np.testing.assert_array_equal(filled[clear], surely[0].reshape(SHAPE)[clear])


@given(st.integers(6, 40), st.integers(6, 30), st.floats(2.5, 6.0))
def test_an_outline_gives_its_region_back(column: int, row: int, radius: float) -> None:
    region = disc(column, row, radius) | disc(column + 3, row + 2, radius)
    outline = outline_of(region)
    np.testing.assert_array_equal(regions_of({"left": outline}, SHAPE)["left"], region)


def test_an_outline_at_the_pictures_edge_and_one_that_is_none() -> None:
    region = disc(0, 0, 4.0)
    np.testing.assert_array_equal(regions_of({"right": outline_of(region)}, SHAPE)["right"], region)
    ring = disc(20, 20, 8.0) & ~disc(20, 20, 4.0)
    for bad in (ring, disc(5, 5, 2.0) | disc(30, 30, 2.0), np.zeros(SHAPE, dtype=bool)):
        with pytest.raises(ValueError, match="no single one"):
            outline_of(bad)


@pytest.mark.parametrize(
    ("corners", "word"),
    [
        ([(1, 1), (5, 5)], "fewer than 3"),
        ([(1, 1), (5, 5), (float("nan"), 2)], "fewer than 3"),
        ([(1, 1), (50, 1), (5, 9)], "leaves the picture"),
        ([(1, -1), (5, 1), (5, 9)], "leaves the picture"),
        ([(1, 1), (9, 9), (9, 1), (1, 9)], "crosses itself"),
        ([(1.2, 1.2), (1.4, 1.2), (1.3, 1.4)], "no pixel's centre"),
    ],
)
def test_outlines_that_are_refused(corners: list[tuple[float, float]], word: str) -> None:
    with pytest.raises(InputError, match=word):
        regions_of({"left": corners}, SHAPE)


def test_unknown_roles_are_refused() -> None:
    with pytest.raises(InputError, match="unknown region 'spleen'"):
        regions_of({"spleen": [(1, 1), (5, 1), (5, 9)]}, SHAPE)


LEFT, RIGHT, BLADDER = disc(13, 16, 5.0), disc(36, 17, 6.0), disc(25, 34, 4.0)


def test_sides_are_checked_against_where_left_lies() -> None:
    regions = {"left": LEFT, "right": RIGHT, "bladder": BLADDER}
    assert check_regions(regions, "left") == ()
    with pytest.raises(InputError, match=r"lies to the left of the right kidney's.*on the right"):
        check_regions(regions, "right")
    exchanged = {"left": RIGHT, "right": LEFT}
    assert check_regions(exchanged, "right") == ()
    with pytest.raises(InputError, match="exchange the two names"):
        check_regions(exchanged, "left")
    with pytest.raises(InputError, match="state it with --left-at"):
        check_regions(regions, "")
    with pytest.raises(InputError, match="no region is a kidney's"):
        check_regions({"bladder": BLADDER}, "left")


def test_a_lone_kidney_on_the_other_half_is_said() -> None:
    assert check_regions({"left": LEFT}, "left") == ()
    assert check_regions({"right": RIGHT}, "left") == ()
    (said,) = check_regions({"right": LEFT}, "left")
    assert "make sure which kidney it is" in said
    assert check_regions({"left": LEFT}, "right") != ()


@pytest.mark.parametrize("role", ["right", "bladder", "left-background", "background", "blood"])
def test_nothing_may_overlap_a_kidney(role: str) -> None:
    regions = {"left": LEFT, role: disc(19, 16, 2.0)}
    shared = int((regions["left"] & regions[role]).sum())
    assert shared > 0
    with pytest.raises(InputError, match=rf"overlap in {shared} pixel"):
        check_regions(regions, "left")


@pytest.mark.parametrize(("gap", "width"), [(1, 2), (0, 1), (2, 1), (3, 3)])
def test_rings_against_dilation(gap: int, width: int) -> None:
    """Steps to the eight neighbours are dilations by a square of 3."""
    regions = {"left": LEFT, "right": RIGHT, "bladder": BLADDER}
    rings = propose_background(regions, gap_px=gap, width_px=width)
    assert set(rings) == {"left-background", "right-background"}

    def grown(mask: np.ndarray, by: int) -> np.ndarray:
        return np.asarray(ndimage.binary_dilation(mask, EIGHT, iterations=by)) if by else mask

    for side, others in (("left", ("right", "bladder")), ("right", ("left", "bladder"))):
        ring = grown(regions[side], gap + width) & ~grown(regions[side], gap)
        for other in others:
            ring &= ~grown(regions[other], gap)
        np.testing.assert_array_equal(rings[f"{side}-background"], ring)


def test_a_given_background_is_kept_and_its_place_may_be_used() -> None:
    own = disc(13, 30, 2.0)
    rings = propose_background({"left": LEFT, "right": RIGHT, "left-background": own})
    assert set(rings) == {"right-background"}
    together = propose_background({"left": LEFT, "background": disc(20, 16, 3.0)})
    np.testing.assert_array_equal(
        together["left-background"], propose_background({"left": LEFT})["left-background"]
    )


def test_mirrored_pictures_get_mirrored_rings() -> None:
    regions = {"left": LEFT, "right": RIGHT, "bladder": BLADDER}
    mirrored = {
        {"left": "right", "right": "left"}.get(role, role): mask[:, ::-1]
        for role, mask in regions.items()
    }
    rings, turned = propose_background(regions), propose_background(mirrored)
    np.testing.assert_array_equal(rings["left-background"], turned["right-background"][:, ::-1])


def test_no_room_for_a_ring() -> None:
    full = np.ones((12, 12), dtype=bool)
    full[0] = False
    with pytest.raises(InputError, match="too little tissue is free round the left kidney"):
        propose_background({"left": full})
    with pytest.raises(ValueError, match="gap of 0 pixels or more"):
        propose_background({"left": LEFT}, gap_px=-1)
    with pytest.raises(ValueError, match="width of 1 or more"):
        propose_background({"left": LEFT}, width_px=0)
