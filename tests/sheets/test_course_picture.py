"""The picture of a course and of refused points: what can be checked without eyes.

Places are read back from the SVG or from the drawing library's own objects, never from our
arithmetic. How they look was judged by looking.
"""

from __future__ import annotations

import re
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib.text import Text
from numpy.typing import NDArray
from PIL import Image
from pypdf import PdfReader
from tests.support import tubes

from thalweg.errors import InputError
from thalweg.measure.fault import Fault, PlacedFault
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.record.image import ImageVolume
from thalweg.sheets.pictures import course as drawing
from thalweg.sheets.pictures import refused as refusing
from thalweg.sheets.pictures.canvas import drawn
from thalweg.sheets.pictures.course import course_picture
from thalweg.sheets.pictures.refused import refused_picture
from thalweg.sheets.pictures.stretches import spread, stretches_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    from thalweg.measure.course import Course

Array = NDArray[np.float64]

MOST_BYTES = 400_000
LEAST_TEXT_PT = 6.5


def winding() -> Array:
    t = np.linspace(0, 1, 900)
    return np.stack([18 * np.sin(5 * t), 14 * np.cos(4 * t), -210 * t], axis=1)


@cache
def with_gaps(modality: str = "CT") -> tuple[ImageVolume, Course]:
    points = winding()
    shape, to_lps = tubes.grid(points, (1.5, 0.9, 0.9), margin_mm=25.0)

    def shut(s: Array) -> Array:
        return np.where(((s > 50) & (s < 66)) | ((s > 150) & (s < 170)), 0.0, 420.0)

    volume = tubes.render([tubes.Tube(points, tubes.constant(2.2), shut)], shape, to_lps, seed=5)
    course = trace_ureter(volume, points[0], points[-1])
    assert len(course.gaps) == 2
    other = ImageVolume(
        volume.values, to_lps, modality=modality, acquired="2026-03-02", phantom=True
    )
    return other, course


def sheets_drawn(monkeypatch: pytest.MonkeyPatch, module: object) -> list[Figure]:
    """Let a picture module draw as always, and keep the figures it drew."""
    kept: list[Figure] = []
    real = drawn

    def keeping(sheet: Figure, kind: str) -> bytes:
        kept.append(sheet)
        return real(sheet, kind)

    monkeypatch.setattr(module, "drawn", keeping)
    return kept


def place_of(line: Line2D) -> Array:
    """Return the points of a drawn line, shape (n, 2)."""
    columns = [np.asarray(each, dtype=np.float64) for each in line.get_data(orig=False)]
    return np.stack(columns, axis=1)


@pytest.mark.parametrize("modality", ["CT", "MR"])
def test_every_panel_has_the_same_stations_at_the_same_heights(
    monkeypatch: pytest.MonkeyPatch, modality: str
) -> None:
    volume, course = with_gaps(modality)
    kept = sheets_drawn(monkeypatch, drawing)
    picture = course_picture(volume, course, "left", pivot_mm=40.0, division_mm=200.0)
    (sheet,) = kept
    rows = [axes for axes in sheet.axes if axes.get_ylim() == (course.length_mm, 0.0)]
    assert len(rows) == 4
    heights = {axes.get_position().y0: axes.get_position().y1 for axes in rows}
    assert len(heights) == 1  # one common foot and top
    ticks = {tuple(axes.get_yticks()) for axes in rows}
    assert len(ticks) == 1
    for axes in rows[:3]:
        (image,) = axes.images
        _, _, foot, top = image.get_extent()
        count = len(np.asarray(image.get_array()))
        step = (foot - top) / count  # each row is centred on its own station
        np.testing.assert_allclose(top + step * (np.arange(count) + 0.5), course.station_mm,
                                   atol=1e-6)  # fmt: skip
    for axes in rows:  # both edges of both gaps, pivot and division, in each
        edges = {round(float(np.asarray(line.get_ydata())[0]), 6) for line in axes.lines}
        wanted = [edge for gap in course.gaps for edge in (gap.from_mm, gap.to_mm)]
        assert {round(each, 6) for each in (*wanted, 40.0, 200.0)} <= edges
        assert sum(bool(patch.get_hatch()) for patch in axes.patches) >= len(course.gaps)
    assert ("HU" in picture.caption) == (modality == "CT")
    assert ("signal" in picture.caption) == (modality == "MR")
    assert "phantom" in picture.caption


def test_dots_of_the_front_view_lie_on_the_course(monkeypatch: pytest.MonkeyPatch) -> None:
    volume, course = with_gaps()
    kept = sheets_drawn(monkeypatch, drawing)
    course_picture(volume, course, "left")
    front = kept[0].axes[0]
    dots = [line for line in front.lines if line.get_marker() == "o"]
    assert len(dots) == len(np.arange(0, course.length_mm, 50.0))
    for station, dot in zip(np.arange(0, course.length_mm, 50.0), dots, strict=True):
        at = [np.interp(station, course.station_mm, course.points_mm[:, axis]) for axis in (0, 2)]
        np.testing.assert_allclose(place_of(dot)[0], at, atol=1e-9)
    # The slab's brightest pixels lie under the course: image and line share one frame.
    (image,) = front.images
    left, right, foot, top = image.get_extent()
    values = np.asarray(image.get_array())
    x, z = course.points_mm[20:-20, 0], course.points_mm[20:-20, 2]
    seen = np.ones(len(x), dtype=bool)
    for gap in course.gaps:
        s = course.station_mm[20:-20]
        seen &= (s < gap.from_mm - 3) | (s > gap.to_mm + 3)
    columns = ((x - left) / (right - left) * values.shape[1]).astype(int)
    rows = ((top - z) / (top - foot) * values.shape[0]).astype(int)
    assert (values[rows, columns][seen] > 250).all()


def test_a_picture_is_light_legible_and_the_same_each_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    volume, course = with_gaps()
    kept = sheets_drawn(monkeypatch, drawing)
    first = course_picture(volume, course, "left", pivot_mm=40.0, division_mm=200.0)
    again = course_picture(volume, course, "left", pivot_mm=40.0, division_mm=200.0)
    assert first == again
    assert len(first.data) < MOST_BYTES
    ET.fromstring(first.data)
    sheet = kept[0]
    texts = [text for text in sheet.findobj(match=Text) if text.get_visible()]
    sizes = [text.properties()["fontsize"] for text in texts if text.properties()["text"].strip()]
    assert min(sizes) >= LEAST_TEXT_PT
    placed = list(sheet.texts)  # tick labels come and go with the view; all else must fit
    for axes in sheet.axes:
        placed += [*axes.texts, axes.title, axes.xaxis.label, axes.yaxis.label]
    for text in placed:
        if text.get_text().strip():
            box = text.get_window_extent()
            assert min(box.x0, box.y0) >= -1, text.get_text()
            assert box.x1 <= sheet.bbox.x1 + 1, text.get_text()
            assert box.y1 <= sheet.bbox.y1 + 1, text.get_text()


def test_each_kind_of_file_is_what_it_says() -> None:
    volume, course = with_gaps()
    assert Image.open(BytesIO(course_picture(volume, course, kind="png").data)).format == "PNG"
    pdf = course_picture(volume, course, kind="pdf").data
    assert len(PdfReader(BytesIO(pdf)).pages) == 1
    assert pdf == course_picture(volume, course, kind="pdf").data


def test_a_course_without_any_calibre_is_drawn_and_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    volume, course = with_gaps("MR")
    kept = sheets_drawn(monkeypatch, drawing)
    by_hand = course_from_points(course.points_mm[::12], volume)
    course_picture(volume, by_hand)
    said = {text.get_text() for axes in kept[0].axes for text in axes.texts}
    assert ("not measured" in said) == bool(np.isnan(by_hand.calibre_mm).all())


def test_letters_follow_the_stations() -> None:
    _, course = with_gaps()
    found = stretches_of(course, 40.0, 200.0)
    assert [one.kind for one in found] == ["held", "gap", "gap", "cut"]
    assert [one.letter for one in found] == ["A", "B", "C", "D"]


def test_labels_keep_apart_and_move_as_little_as_can_be() -> None:
    places = spread(np.array([10.0, 11.0, 50.0]), 5.0, 0.0, 100.0)
    np.testing.assert_allclose(places, [8.0, 13.0, 50.0])  # least squares, by hand
    crowded = spread(np.full(9, 3.0), 5.0, 0.0, 20.0)
    np.testing.assert_allclose(crowded, np.linspace(0, 20, 9))


def refusal_of(points: list[Array]) -> InputError:
    volume, _ = with_gaps()
    with pytest.raises(InputError) as refused:
        trace_ureter(volume, points[0], points[-1], points[1:-1])
    return refused.value


def test_refused_points_are_drawn_where_they_are_and_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    volume, course = with_gaps()
    kept = sheets_drawn(monkeypatch, refusing)
    start, end = course.points_mm[0], course.points_mm[-1]
    far = end - np.array([0.0, 0.0, 300.0])
    swapped, outside = refusal_of([end, start]), refusal_of([start, course.points_mm[90], far])
    for refused in (swapped, outside):
        picture = refused_picture(volume, refused, "right")
        assert picture is not None
        assert str(refused) in picture.alternative
        assert len(picture.data) < MOST_BYTES
        assert picture == refused_picture(volume, refused, "right")
    first, second = kept[0], kept[2]
    for sheet in (first, second):
        words = " ".join(text.get_text() for text in sheet.texts)
        assert "no length" in words
        assert "PHANTOM" in words
        assert not re.search(r"length(_mm)?[: ]+\d", words)
    front, side = first.axes
    squares = [place_of(line)[0] for line in front.lines if line.get_marker() == "s"]
    np.testing.assert_allclose(squares, [end[[0, 2]], start[[0, 2]]])
    squares = [place_of(line)[0] for line in side.lines if line.get_marker() == "s"]
    np.testing.assert_allclose(squares, [end[[1, 2]], start[[1, 2]]])
    corners = volume.point_of(np.array([[-0.5] * 3, np.array(volume.shape) - 0.5]))
    away = corners[:, 2].min() - far[2]
    for axes in second.axes:
        labels = [text.get_text() for text in axes.texts]
        assert {"start", "via 1", f"end\n{away:.0f} mm outside"} <= set(labels)


def test_the_bodys_midline_and_a_way_through_bone_are_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    volume, course = with_gaps()
    kept = sheets_drawn(monkeypatch, refusing)
    ends = course.points_mm[[0, -1]]
    sides = PlacedFault(Fault.SIDES, ends, (0, 1), midline_mm=4.5)
    through = PlacedFault(
        Fault.THROUGH_BONE, ends, (0, 1), way_mm=course.points_mm,
        in_bone=np.ones(len(course.points_mm), dtype=bool),
    )  # fmt: skip
    for fault in (sides, through):
        assert refused_picture(volume, InputError("it is wrong", detail=fault)) is not None
    front, side = kept[0].axes
    midlines = [line for line in front.lines if list(np.asarray(line.get_xdata())) == [4.5, 4.5]]
    assert len(midlines) == 1
    assert not [line for line in side.lines if list(np.asarray(line.get_xdata())) == [4.5, 4.5]]
    for axes, plane in zip(kept[1].axes, ([0, 2], [1, 2]), strict=True):
        crosses = [line for line in axes.lines if line.get_marker() == "x"]
        np.testing.assert_allclose(place_of(crosses[0]), course.points_mm[::3][:, plane])


def test_what_is_no_fault_of_points_has_no_picture() -> None:
    volume, course = with_gaps()
    assert refused_picture(volume, InputError("the series cannot be read")) is None
    nowhere = refusal_of([course.points_mm[0], np.full(3, np.nan)])
    assert refused_picture(volume, nowhere) is not None  # the point that is one is shown
