"""Front skin and wall on a whole artificial abdomen with bowel behind the wall and an umbilicus.

The truth is the phantom's own surfaces (`thalweg.phantom.bodywall`).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from thalweg.measure.skin import SkinSurface, anterior_skin
from thalweg.measure.wall import wall_thickness
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult


@cache
def phantom() -> Phantom:
    return render(
        adult(),
        spacing_mm=(2.5, 1.2, 1.2),
        low_mm=(-170.0, -135.0, -75.0),
        high_mm=(170.0, 125.0, 30.0),
        noise_hu=16.0,
        seed=81,
    )


@cache
def skin() -> SkinSurface:
    return anterior_skin(phantom().volume)


def test_skin_and_normals() -> None:
    truth, found = phantom().truth.wall, skin()
    x, z = np.meshgrid(found.x_mm, found.z_mm, indexing="ij")
    middle = (np.abs(x) < 100) & (z > -70) & (z < 25)
    off = (found.y_mm - truth.skin_y(x, z))[middle]
    assert np.isfinite(off).all()
    assert np.percentile(np.abs(off), 95) < 0.4
    for at in ((-70.0, -40.0), (-45.0, 10.0), (60.0, -20.0), (0.0, -50.0)):
        angle = np.degrees(np.arccos(found.normal(*at) @ truth.skin_normal(*at)))
        assert angle < 2.0


def test_the_umbilicus_is_seen() -> None:
    truth, found = phantom().truth.wall, skin()
    depth = found.point(0.0, 0.0)[1] - found.point(30.0, 0.0)[1]
    assert depth == pytest.approx(float(truth.skin_y(0.0, 0.0) - truth.skin_y(30.0, 0.0)), abs=1.0)


def test_wall_is_right_or_not_known() -> None:
    truth, told = phantom().truth.wall, 0
    for x in (-62.0, 38.0, 66.0):
        for z in (-48.0, -22.0):
            found = wall_thickness(phantom().volume, skin().point(x, z), skin().normal(x, z))
            if found.thickness_mm is None:
                continue
            told += 1
            assert found.sd_mm is not None
            off = abs(found.thickness_mm - truth.wall_thickness_mm(x, z))
            assert off < max(2.0, 2.5 * found.sd_mm)
            assert found.depth_of_muscle_mm == pytest.approx(
                truth.depth_of_muscle_mm(x, z), abs=1.0
            )
    assert told >= 4
