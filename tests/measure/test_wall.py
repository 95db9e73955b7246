"""Wall thickness on a trunk whose layers lie at exact depths."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.support import bodies

from thalweg.errors import ImageError, InputError
from thalweg.measure.wall import wall_thickness
from thalweg.record.image import ImageVolume


@cache
def plain_trunk() -> ImageVolume:
    return bodies.drawn(bodies.Trunk(gas=False))


def place(angle: float) -> tuple[np.ndarray, np.ndarray]:
    outward = np.array([np.sin(angle), -np.cos(angle), 0.0])
    return outward * bodies.RADIUS_MM, outward


@pytest.mark.parametrize("angle", [-0.7, -0.2, 0.0, 0.4, 1.0])
def test_thickness_and_depth_of_muscle(angle: float) -> None:
    found = wall_thickness(plain_trunk(), *place(angle))
    assert found.thickness_mm == pytest.approx(bodies.DEPTHS_MM["muscle"], abs=0.7)
    assert found.depth_of_muscle_mm == pytest.approx(bodies.DEPTHS_MM["fat"], abs=0.7)
    assert found.sd_mm is not None
    assert 0.1 < found.sd_mm < 1.5
    assert any("lying down" in caution for caution in found.cautions)


def test_a_point_a_little_off_the_skin_or_a_long_normal_changes_nothing() -> None:
    point, outward = place(0.3)
    exact = wall_thickness(plain_trunk(), point, outward)
    off = wall_thickness(plain_trunk(), point + 2.0 * outward, 7.0 * outward)
    assert off.thickness_mm == pytest.approx(exact.thickness_mm, abs=0.3)


def test_soft_tissue_against_the_muscle_is_not_known() -> None:
    found = wall_thickness(bodies.drawn(bodies.Trunk(bowel_behind=True)), *place(0.2))
    assert found.thickness_mm is None
    assert found.sd_mm is None
    assert any("cannot be told" in caution for caution in found.cautions)


def test_bad_input_is_refused() -> None:
    point, outward = place(0.0)
    with pytest.raises(InputError, match="outside the image"):
        wall_thickness(plain_trunk(), point - 500.0 * np.eye(3)[1], outward)
    with pytest.raises(InputError, match="outside the image"):
        wall_thickness(plain_trunk(), [np.nan, 0, 0], outward)
    with pytest.raises(InputError, match="normal"):
        wall_thickness(plain_trunk(), point, [0, 0, 0])
    other = ImageVolume(plain_trunk().values, plain_trunk().to_lps, modality="MR")
    with pytest.raises(ImageError, match="'MR'"):
        wall_thickness(other, point, outward)
