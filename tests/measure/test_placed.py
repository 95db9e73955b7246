"""Points that cannot be traced between are refused in one sentence; nothing is guessed."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from tests.support import tubes

from thalweg.errors import ImageError, InputError
from thalweg.measure.fault import Fault, PlacedFault
from thalweg.measure.placed import checked_points
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.record.image import ImageVolume

POINTS = tubes.line(90.0, (0.0, 0.0, -1.0))
START, END = POINTS[0], POINTS[-1]


@cache
def with_lung_beside() -> ImageVolume:
    shape, to_lps = tubes.grid(POINTS, (1.5, 1.0, 1.0))
    columns = np.arange(shape[2])
    tissue = np.where(columns < 6, -850.0, 40.0) * np.ones(shape)
    tube = tubes.Tube(POINTS, tubes.constant(2.0), tubes.constant(400.0))
    return tubes.render([tube], shape, to_lps, tissue_hu=tissue)


def sentence(error: pytest.ExceptionInfo[Exception]) -> str:
    text = str(error.value)
    assert text.endswith(".")
    assert "\n" not in text
    return text


@pytest.mark.parametrize(
    ("start", "end", "via", "expected"),
    [
        pytest.param([0, 0, 400.0], END, [], "start: .* outside the image", id="start outside"),
        pytest.param(START, [900.0, 0, 0], [], "end: .* outside the image", id="end outside"),
        pytest.param(
            START, END, [[0, 0, -30.0], [0, 300.0, -50.0]], "via point 2: .* outside", id="via"
        ),
        pytest.param(START, [-14.5, 0, -60.0], [], "end: .* in air", id="air"),
        pytest.param(START, START + 1.0, [], "within 5 mm of each other", id="same place"),
        pytest.param([np.nan, 0, 0], END, [], "start: .* three finite numbers", id="nan"),
        pytest.param(START, [0, np.inf, 0], [], "end: .* three finite numbers", id="infinite"),
        pytest.param(START, [0, 0], [], "end: .* three finite numbers", id="two numbers"),
        pytest.param(
            START, END, [[0, 0, -65.0], [0, 0, -25.0]], "via points 1 to 2 run against", id="order"
        ),
    ],
)
def test_bad_points_are_refused(start: object, end: object, via: object, expected: str) -> None:
    with pytest.raises(InputError, match=expected) as refused:
        trace_ureter(with_lung_beside(), start, end, via)  # type: ignore[arg-type]
    assert ";" in sentence(refused)
    fault = refused.value.detail
    assert isinstance(fault, PlacedFault)
    named = [fault.names[number] for number in fault.offending]
    expected_names = re.findall(r"start|end|via point 2|via point(?=s)", expected)
    if expected_names == ["via point"]:
        assert named == ["via point 1", "via point 2"]
    elif expected_names:
        assert named == expected_names
    else:
        assert named == ["start", "end"]


def test_other_modalities_are_refused_with_a_way_out() -> None:
    volume = with_lung_beside()
    other = ImageVolume(volume.values, volume.to_lps, modality="US")
    with pytest.raises(ImageError, match=r"only on CT or MR.*'US'.*by hand") as refused:
        trace_ureter(other, START, END)
    sentence(refused)
    course = course_from_points(POINTS[::50], other)
    assert course.length_mm == pytest.approx(np.linalg.norm(POINTS[350] - START))
    assert np.isnan(course.calibre_mm).all()


def test_a_way_that_runs_only_through_bone_is_refused() -> None:
    shape, to_lps = tubes.grid(POINTS, (2.0, 1.2, 1.2), margin_mm=30.0)
    bone = tubes.Tube(POINTS, tubes.constant(20.0), tubes.constant(500.0))
    with pytest.raises(ImageError, match="through bone") as refused:
        trace_ureter(tubes.render([bone], shape, to_lps), START, END)
    sentence(refused)
    fault = refused.value.detail
    assert isinstance(fault, PlacedFault)
    assert fault.fault is Fault.THROUGH_BONE
    assert len(fault.way_mm) == len(fault.in_bone) > 20
    assert fault.in_bone.mean() > 0.5


def test_via_points_in_order_are_taken() -> None:
    via = [[0.0, 0.0, -25.0], [0.0, 0.0, -65.0]]
    assert trace_ureter(with_lung_beside(), START, END, via).length_mm == pytest.approx(
        90, rel=0.01
    )


def test_a_via_point_off_the_ureter_is_said() -> None:
    course = trace_ureter(with_lung_beside(), START, END, [[8.0, 0.0, -45.0]])
    assert any("via point 1 was placed" in caution for caution in course.cautions)


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        pytest.param([[0, 0, 0]], "at least two points", id="one"),
        pytest.param([], "at least two points", id="none"),
        pytest.param([[0, 0, 0], [0, 0, np.nan]], "point 2: .* not finite", id="nan"),
        pytest.param([[0, 0, 0], [0, 0, 0], [0, 0, 9]], "point 2: .* one before", id="twice"),
        pytest.param([[0, 0, 0], [0, 0, 700]], "point 2: .* outside", id="outside"),
    ],
)
def test_bad_points_by_hand_are_refused(points: list[list[float]], expected: str) -> None:
    with pytest.raises(InputError, match=expected) as refused:
        course_from_points(points, with_lung_beside())
    sentence(refused)


def test_the_order_check_lets_a_winding_ureter_be() -> None:
    winding = np.array([[9.0, 0, -20], [-9.0, 4, -40], [9.0, -4, -60]])
    points = checked_points(with_lung_beside(), START, END, winding)
    assert np.array_equal(points, [START, *winding, END])
