"""Points that cannot belong to one ureter are refused or said."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.support import tubes

from thalweg.errors import InputError
from thalweg.measure.fault import Fault, PlacedFault
from thalweg.measure.sides import midline_x_mm
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import infant
from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]


@cache
def whole_infant() -> Phantom:
    return render(infant(), spacing_mm=(1.5, 1.0, 1.0), seed=661)


def ends(side: str) -> Array:
    tube = whole_infant().truth.left if side == "left" else whole_infant().truth.right
    return np.asarray(tube.centreline.points_mm[[0, -1]])


def test_the_midline_is_found_where_the_trunk_is_symmetrical() -> None:
    middle = midline_x_mm(whole_infant().volume, 30.0, -60.0)
    assert middle is not None
    assert middle[0] == pytest.approx(0.0, abs=2.0)
    assert middle[1] == pytest.approx(72.0, abs=4.0)  # the spec's half width at the umbilicus


def test_without_both_flanks_no_midline_is_claimed() -> None:
    volume = whole_infant().volume
    part = ImageVolume(volume.values[:, :, :120], volume.to_lps, phantom=True)
    assert midline_x_mm(part, 30.0, -60.0) is None


@pytest.mark.parametrize("shift", [(0.0, 0.0, 0.0), (150.0, -80.0, 500.0)])
def test_an_end_on_the_other_sides_ureter_is_refused_wherever_the_person_lies(
    shift: tuple[float, float, float],
) -> None:
    volume = whole_infant().volume
    to_lps = volume.to_lps.copy()
    to_lps[:3, 3] += shift
    moved = ImageVolume(volume.values, to_lps, phantom=True)
    start, end = ends("left")[0] + shift, ends("right")[1] + shift
    with pytest.raises(
        InputError, match=r"end: the start lies on the left and the end on the right.*via"
    ) as refused:
        trace_ureter(moved, start, end)
    assert str(refused.value).endswith(".")
    fault = refused.value.detail
    assert isinstance(fault, PlacedFault)
    assert fault.fault is Fault.SIDES
    assert fault.midline_mm == pytest.approx(shift[0], abs=2.0)


def test_a_crossing_that_via_points_confirm_is_traced_with_a_caution() -> None:
    left, right = ends("left"), ends("right")
    across = (whole_infant().truth.left.centreline.point_at(60.0) + right[1]) / 2
    course = trace_ureter(whole_infant().volume, left[0], right[1], [across])
    assert any("truly crosses over" in caution for caution in course.cautions)


@pytest.mark.parametrize("side", ["left", "right"])
def test_usual_ends_raise_no_question_and_swapped_ones_are_refused(side: str) -> None:
    start, end = ends(side)
    usual = trace_ureter(whole_infant().volume, start, end)
    assert not any("upward" in c or "midline" in c or "bone" in c for c in usual.cautions)
    with pytest.raises(InputError, match=r"as if the two were swapped; .* add via points") as told:
        trace_ureter(whole_infant().volume, end, start)
    assert f"{start[2] - end[2]:.0f} mm higher" in str(told.value)
    fault = told.value.detail
    assert isinstance(fault, PlacedFault)
    assert fault.fault is Fault.SWAPPED
    np.testing.assert_array_equal(fault.points_mm, [end, start])


def test_a_ureter_that_via_points_show_to_run_upward_is_traced_with_a_caution() -> None:
    start, end = ends("left")
    middle = whole_infant().truth.left.centreline.point_at(50.0)
    course = trace_ureter(whole_infant().volume, end, start, [middle])
    (said,) = [caution for caution in course.cautions if "upward" in caution]
    assert f"{start[2] - end[2]:.0f} mm higher" in said


def test_an_infant_s_short_ureter_placed_the_wrong_way_round_is_refused() -> None:
    start, _ = ends("left")
    below = whole_infant().truth.left.centreline.point_at(14.0)
    with pytest.raises(InputError, match="as if the two were swapped"):
        trace_ureter(whole_infant().volume, below, start)


def bone_beside_a_ureter() -> tuple[ImageVolume, Array]:
    ureter = tubes.line(100.0, (0.0, 0.0, -1.0))
    bone = np.add(tubes.line(70.0, (0.0, 0.0, -1.0)), (34.0, 0.0, -15.0))
    shape, to_lps = tubes.grid(ureter, (1.5, 1.0, 1.0), margin_mm=60.0)
    parts = [
        tubes.Tube(ureter, tubes.constant(2.0), tubes.constant(350.0)),
        tubes.Tube(bone, tubes.constant(18.0), tubes.constant(200.0)),
    ]
    parts += [  # plates of dense bone within
        tubes.Tube(np.add(bone, (9.0 * np.cos(a), 9.0 * np.sin(a), 0.0)), tubes.constant(2.5),
                   tubes.constant(600.0))
        for a in np.arange(6) * np.pi / 3
    ]  # fmt: skip
    return tubes.render(parts, shape, to_lps, seed=662), ureter


def test_a_point_in_bone_is_refused_by_name() -> None:
    volume, ureter = bone_beside_a_ureter()
    inside = np.array([34.0 + 9.0, 0.0, -50.0])
    with pytest.raises(InputError, match=r"^end: the point lies in bone; move it"):
        trace_ureter(volume, ureter[0], inside)
    with pytest.raises(InputError, match=r"^start: the point lies in bone; move it"):
        trace_ureter(volume, inside, ureter[-1])


def test_a_bladder_full_of_layered_contrast_is_not_bone() -> None:
    ureter = tubes.line(100.0, (0.0, 0.0, -1.0))
    bladder = np.add(tubes.line(30.0, (0.0, 0.0, -1.0)), (0.0, -20.0, -95.0))
    shape, to_lps = tubes.grid(ureter, (1.5, 1.0, 1.0), margin_mm=45.0)
    parts = [
        tubes.Tube(ureter, tubes.constant(2.0), tubes.constant(350.0)),
        tubes.Tube(bladder, tubes.constant(21.0), tubes.constant(500.0)),
    ]
    volume = tubes.render(parts, shape, to_lps, seed=663)
    y = (np.arange(shape[1]) * to_lps[1, 1] + to_lps[1, 3])[None, :, None]
    layered = np.where(volume.values > 400, volume.values + 18 * (y + 20), volume.values)
    deep = ImageVolume(np.clip(layered, -1024, 3071).astype(np.int16), to_lps, phantom=True)
    course = trace_ureter(deep, ureter[0], np.add(ureter[-1], (0.0, -4.0, 0.0)))
    assert not any("bone" in caution for caution in course.cautions)
    assert course.length_mm == pytest.approx(100.0, abs=6.0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_ureter_named_for_the_other_side_is_refused_traced_or_placed_by_hand(side: str) -> None:
    other = "right" if side == "left" else "left"
    volume, tube = (
        whole_infant().volume,
        whole_infant().truth.ureter("left" if side == "left" else "right"),
    )
    course = tube.centreline.points_mm
    match = f"to the {side} of the body's midline, but is named for the {other} ureter"
    with pytest.raises(InputError, match=f"start: .*{match}") as refused:
        trace_ureter(volume, course[0], course[-1], side=other)
    fault = refused.value.detail
    assert isinstance(fault, PlacedFault)
    assert fault.fault is Fault.OTHER_SIDE
    assert fault.midline_mm == pytest.approx(0.0, abs=2.0)
    with pytest.raises(InputError, match=f"by hand: .*{match}") as by_hand:
        course_from_points(course[::20], volume, side=other)
    assert isinstance(by_hand.value.detail, PlacedFault)
    assert by_hand.value.detail.by_hand
    named = trace_ureter(volume, course[0], course[-1], side=side)
    assert named.length_mm == trace_ureter(volume, course[0], course[-1]).length_mm


def test_a_course_placed_by_hand_from_bladder_to_kidney_is_refused_or_said() -> None:
    course = whole_infant().truth.left.centreline.points_mm[::-1]
    with pytest.raises(InputError, match=r"by hand: the end lies .* higher"):
        course_from_points(course[[0, -1]], whole_infant().volume)
    said = course_from_points(course[::20], whole_infant().volume).cautions
    assert any("higher than the start" in caution for caution in said)
