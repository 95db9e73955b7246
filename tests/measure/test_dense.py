"""Stents and stones in artificial abdomens: what is drawn is what must be said.

Stents are tubes 2.3 mm wide outside (7 French, a third of a millimetre each by definition) and 1.2
mm inside; stones are ellipsoids that fill the lumen. The truth is the drawn geometry.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.support import tubes

from thalweg.measure.trace import trace_ureter
from thalweg.phantom.courses import USUAL
from thalweg.phantom.curves import Spline
from thalweg.phantom.paint import TubeTissue, paint_solid, paint_tube
from thalweg.phantom.render import abdomen_grid, painted
from thalweg.phantom.scanner import Scanner, scan
from thalweg.phantom.scenario import adult
from thalweg.phantom.solids import Ellipsoid
from thalweg.phantom.spec import Tissues
from thalweg.phantom.tube import Gap, Tube

if TYPE_CHECKING:
    from thalweg.measure.course import Course

LOW_MM, HIGH_MM = (-62.0, -40.0, -160.0), (62.0, 60.0, 88.0)
STONE_AT_MM = 112.0


def bent(seed: int, sign: float, **shape: object) -> Tube:
    rng = np.random.default_rng(seed)
    points = np.asarray(USUAL) * (sign, 1.0, 1.0)
    points[1:-1] += rng.normal(0.0, 1.3, (len(points) - 2, 3))
    curve = Spline(tuple((float(x), float(y), float(z)) for x, y, z in points))
    settings = {"wall_mm": 1.0, "taper_mm": 3.0} | shape
    return Tube(curve, **settings)  # type: ignore[arg-type]


def curled_stent(ureter: Tube) -> Tube:
    """Run along the ureter and curl beyond either end, 18 mm wide."""
    points = ureter.centreline.point_at(np.linspace(0.0, ureter.length_mm, 30))
    turn = np.linspace(0.4, 1.6 * np.pi, 9)

    def curl(at: tubes.Array, along: tubes.Array) -> tubes.Array:
        along = along / np.linalg.norm(along)
        side = np.cross(along, [0.0, 1.0, 0.0])
        side /= np.linalg.norm(side)
        return np.asarray(
            at + 9 * (np.outer(np.sin(turn), along) + np.outer(1 - np.cos(turn), side))
        )

    first, last = curl(points[0], points[0] - points[1]), curl(points[-1], points[-1] - points[-2])
    whole = np.concatenate([first[::-1], points, last])
    curve = Spline(tuple((float(x), float(y), float(z)) for x, y, z in whole))
    return Tube(curve, calibre_mm=1.2, wall_mm=0.55)


@cache
def stented(urine_hu: float, stent_hu: float) -> tuple[Tube, Course]:
    ureter = bent(7301, 1.0, calibre_mm=((0.0, 4.2), (120.0, 3.3), (240.0, 4.4)))
    tissues = Tissues(urine_with_contrast=urine_hu)
    spec = replace(adult(), left=ureter, tissues=tissues)
    grid = abdomen_grid(spec, (1.5, 0.75, 0.75), low_mm=(0.0, *LOW_MM[1:]), high_mm=HIGH_MM)
    values = painted(spec, grid)
    paint_tube(values, grid, curled_stent(ureter), TubeTissue(urine_hu, stent_hu))
    volume = scan(values, grid, Scanner(seed=7302))
    return ureter, trace_ureter(volume, *ureter.centreline.points_mm[[0, -1]])


@pytest.mark.parametrize(
    ("urine_hu", "stent_hu"),
    [
        pytest.param(420.0, 1800.0, id="contrast round it"),
        pytest.param(12.0, 1500.0, id="no contrast"),
        pytest.param(12.0, 2600.0, id="no contrast, very dense"),
    ],
)
def test_a_stent_is_said_and_gives_no_calibre(urine_hu: float, stent_hu: float) -> None:
    ureter, course = stented(urine_hu, stent_hu)
    away = cKDTree(ureter.centreline.points_mm).query(course.points_mm)[0]
    assert course.length_mm == pytest.approx(ureter.length_mm, rel=0.005)
    assert away.mean() < 0.3
    (stent,) = course.stents
    assert stent.certain
    assert stent.width_mm == pytest.approx(2.3, abs=0.9)
    assert stent.to_mm - stent.from_mm > 0.7 * ureter.length_mm
    assert np.isnan(course.calibre_mm).all()
    assert not (course.narrowings)
    assert not (course.dilatations)
    assert not (course.stones)
    assert any(caution.startswith("A stent lies in the course") for caution in course.cautions)


def test_undiluted_contrast_as_wide_as_the_lumen_is_no_stent() -> None:
    points = tubes.arc(90.0, 1.5)

    def radius(s: tubes.Array) -> tubes.Array:
        return 1.9 + 0.5 * np.sin(s / 17.0)

    tube = tubes.Tube(points, radius, tubes.constant(1350.0))
    shape, to_lps = tubes.grid(points, (1.0, 0.72, 0.72))
    course = trace_ureter(tubes.render([tube], shape, to_lps, seed=5), points[0], points[-1])
    assert not (course.stents)
    assert not (course.stones)
    off = course.calibre_mm - 2 * radius(course.station_mm)
    assert np.isfinite(off).mean() > 0.9
    assert np.nanpercentile(np.abs(off), 95) < 0.4


def test_what_may_be_either_is_called_so() -> None:
    points = tubes.arc(70.0, 1.2)
    tube = tubes.Tube(points, tubes.constant(1.3), tubes.constant(1350.0))
    shape, to_lps = tubes.grid(points, (1.0, 0.72, 0.72))
    course = trace_ureter(tubes.render([tube], shape, to_lps, seed=6), points[0], points[-1])
    (stent,) = course.stents
    assert not stent.certain
    assert any("one image cannot tell apart" in caution for caution in course.cautions)


@cache
def with_stones(
    size_mm: float, hounsfield: float, planes_mm: float
) -> dict[str, tuple[Tube, Course]]:
    at = STONE_AT_MM
    above = ((0.0, 6.2), (60.0, 6.0), (at - 6, 6.8), (at + 6, 2.8), (at + 20, 3.0), (240.0, 3.4))
    left = bent(7311, 1.0, calibre_mm=above)
    right = bent(7312, -1.0, calibre_mm=above, gaps=(Gap(at + 3, at + 40),))
    spec = replace(adult(), left=left, right=right)
    grid = abdomen_grid(spec, (planes_mm, 0.75, 0.75), low_mm=LOW_MM, high_mm=HIGH_MM)
    values = painted(spec, grid)
    half = size_mm / 2
    for ureter in (left, right):
        x, y, z = map(float, ureter.centreline.point_at(np.array([at]))[0])
        paint_solid(values, grid, Ellipsoid((x, y, z), (half, half, half)), hounsfield)
    volume = scan(values, grid, Scanner(seed=7313))
    return {
        side: (one, trace_ureter(volume, *one.centreline.points_mm[[0, -1]]))
        for side, one in (("left", left), ("right", right))
    }


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    ("size_mm", "hounsfield", "planes_mm"), [(6.0, 850.0, 1.5), (8.0, 1200.0, 3.0)]
)
def test_a_stone_is_said_with_its_place_and_size(
    size_mm: float, hounsfield: float, planes_mm: float, side: str
) -> None:
    ureter, course = with_stones(size_mm, hounsfield, planes_mm)[side]
    away = cKDTree(ureter.centreline.points_mm).query(course.points_mm)[0]
    assert course.length_mm == pytest.approx(ureter.length_mm, rel=0.005)
    assert away.mean() < 0.3
    (stone,) = course.stones
    assert (stone.from_mm + stone.to_mm) / 2 == pytest.approx(STONE_AT_MM, abs=2.0)
    assert stone.length_mm == pytest.approx(size_mm, abs=1.2)
    assert stone.width_mm == pytest.approx(size_mm, abs=1.0)
    assert stone.core_hu == pytest.approx(hounsfield, rel=0.1)
    inside = np.abs(course.station_mm - STONE_AT_MM) < size_mm / 2
    assert np.isnan(course.calibre_mm[inside]).all()
    for narrow in course.narrowings:
        assert (
            narrow.to_mm < STONE_AT_MM - size_mm / 2 or narrow.from_mm > STONE_AT_MM + size_mm / 2
        )
    (said,) = [caution for caution in course.cautions if caution.startswith("A stone")]
    assert "calibre is not measured there" in said
    assert course.stents == ()
