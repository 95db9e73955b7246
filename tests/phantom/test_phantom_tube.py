"""A tube's calibre, gaps and narrowings say what they were given."""

import numpy as np
import pytest

from thalweg.phantom.curves import Line
from thalweg.phantom.tube import Gap, Narrowing, Tube

LINE = Line((0, 0, 0), (0, 0, -100))


def test_calibre_runs_through_its_knots_without_overshoot() -> None:
    tube = Tube(LINE, ((0, 3.0), (40, 6.0), (60, 6.0), (100, 2.0)))
    assert tube.calibre_at([0, 40, 60, 100]) == pytest.approx([3, 6, 6, 2])
    every = tube.calibre_at(np.linspace(0, 100, 1001))
    assert every.min() == pytest.approx(2.0)
    assert every.max() == pytest.approx(6.0)


def test_a_narrowing_is_exactly_as_narrow_and_as_long_as_told() -> None:
    tube = Tube(LINE, 6.0, narrowings=(Narrowing(50, 60, 2.5, shoulder_mm=4.0),))
    assert tube.calibre_at(np.linspace(50, 60, 11)) == pytest.approx(2.5)
    assert tube.calibre_at([46, 64, 20, 90]) == pytest.approx(6.0)
    assert tube.calibre_at([48, 62]) == pytest.approx((6.0 + 2.5) / 2)


def test_a_gap_shuts_the_lumen_but_not_the_calibre() -> None:
    tube = Tube(LINE, 4.0, gaps=(Gap(30, 52),), wall_mm=1.0, taper_mm=4.0)
    assert tube.lumen_at([30, 41, 52]) == pytest.approx(0.0)
    assert tube.lumen_at([26, 56, 80]) == pytest.approx(4.0)
    assert tube.calibre_at([30, 41, 52]) == pytest.approx(4.0)


def test_the_walls_section_is_kept_when_the_lumen_shuts() -> None:
    tube = Tube(LINE, 4.0, gaps=(Gap(30, 52),), wall_mm=1.0)
    sections = np.pi / 4 * (tube.outer_at([10, 41]) ** 2 - tube.lumen_at([10, 41]) ** 2)
    assert sections == pytest.approx(np.pi * (3**2 - 2**2))


def test_lumen_volume_of_a_cylinder_with_a_square_gap() -> None:
    tube = Tube(LINE, 4.0, gaps=(Gap(30, 50),))
    assert tube.lumen_volume_mm3() == pytest.approx(np.pi * 4 * 80, rel=1e-4)


def test_rods_stand_for_the_tube() -> None:
    rods = Tube(LINE, 4.0, wall_mm=1.5).rods(5.0, wall=True)
    assert len(rods) == 20
    assert {rod.radius_mm for rod in rods} == {3.5}
    assert rods[-1].end_mm == pytest.approx((0, 0, -100))


@pytest.mark.parametrize("gap", [Gap(-1, 5), Gap(50, 50), Gap(90, 101)])
def test_a_stretch_off_the_tube_is_refused(gap: Gap) -> None:
    with pytest.raises(ValueError, match="does not lie within"):
        Tube(LINE, 4.0, gaps=(gap,))
