"""Body and front skin: a cylinder's exact surface, and a real CT against another toolkit."""

from __future__ import annotations

import importlib
import os
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from tests.support import bodies

from thalweg.errors import ImageError, InputError
from thalweg.measure.skin import SkinSurface, anterior_skin, body_mask
from thalweg.record.image import ImageVolume

UPRIGHT = np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]])


@cache
def trunk() -> ImageVolume:
    return bodies.drawn(bodies.Trunk())


@cache
def surface() -> SkinSurface:
    return anterior_skin(trunk())


def test_skin_lies_on_the_cylinder() -> None:
    found = surface()
    x = np.broadcast_to(found.x_mm[:, None], found.y_mm.shape)
    middle = (np.abs(x) < 90) & (np.abs(found.z_mm) < 40)
    off = found.y_mm - bodies.front_y(np.clip(x, -117, 117))
    assert np.isfinite(off[middle]).all()
    assert abs(np.median(off[middle])) < 0.2
    assert np.percentile(np.abs(off[middle]), 95) < 0.5


@pytest.mark.parametrize("x", [-85.0, -30.0, 0.0, 47.5])
def test_normal_points_out_of_the_cylinder(x: float) -> None:
    truth = np.array([x, float(bodies.front_y(np.array(x))), 0.0]) / bodies.RADIUS_MM
    found = surface().normal(x, 5.0)
    assert np.linalg.norm(found) == pytest.approx(1.0)
    assert np.degrees(np.arccos(found @ truth)) < 2.5


def test_an_oblique_grid_shows_the_same_skin() -> None:
    turn = Rotation.from_euler("xyz", [9, -7, 12], degrees=True).as_matrix()
    found = anterior_skin(bodies.drawn(bodies.Trunk(table=False), axes=turn @ UPRIGHT))
    for x in (-60.0, 0.0, 60.0):
        assert found.point(x, 0.0)[1] == pytest.approx(float(bodies.front_y(np.array(x))), abs=0.6)


def test_body_holds_its_gas_and_leaves_the_table() -> None:
    mask = body_mask(trunk())
    assert mask.at(np.array([20.0, -40.0, 0.0]))
    assert mask.at(np.array([0.0, 100.0, 0.0]))
    assert not mask.at(np.array([90.0, bodies.RADIUS_MM + 1.0, 0.0]))
    assert not mask.at(np.array([60.0, bodies.RADIUS_MM + 15.0, 0.0]))
    assert not mask.at(np.array([0.0, -bodies.RADIUS_MM - 8.0, 0.0]))
    share = mask.inside.mean() * 180 * 190 * 1.5**2 / (np.pi * bodies.RADIUS_MM**2)
    assert share == pytest.approx(1.0, abs=0.03)


def test_no_skin_beside_the_body() -> None:
    with pytest.raises(InputError, match="no front skin is seen at x 130 mm"):
        surface().point(130.0, 0.0)
    with pytest.raises(InputError, match="no front skin"):
        surface().normal(0.0, 900.0)


def test_skin_cut_off_by_the_image_is_said() -> None:
    whole = trunk()
    first = int(np.ceil(whole.index_of([0.0, -105.0, 0.0])[1]))
    moved = whole.to_lps.copy()
    moved[:3, 3] = whole.point_of([0, first, 0])
    cut = anterior_skin(ImageVolume(values=whole.values[:, first:], to_lps=moved))
    assert any("outside the image" in caution for caution in cut.cautions)
    with pytest.raises(InputError):
        cut.point(0.0, 0.0)


def test_other_modalities_and_empty_images_are_refused() -> None:
    with pytest.raises(ImageError, match="'MR'"):
        body_mask(ImageVolume(values=trunk().values, to_lps=trunk().to_lps, modality="MR"))
    air = np.full((10, 20, 20), -1000, np.int16)
    with pytest.raises(ImageError, match="holds no body"):
        body_mask(ImageVolume(values=air, to_lps=np.diag([3.0, 3.0, 3.0, 1.0])))


def real_volume() -> tuple[ImageVolume, Any]:
    """Open abdominal CT of the TotalSegmentator project (Apache 2.0), read by SimpleITK."""
    folder = os.environ.get("THALWEG_REAL_IMAGES")
    if not folder:
        pytest.skip("not run: THALWEG_REAL_IMAGES names no folder with a real CT")
    itk: Any = importlib.import_module("SimpleITK")
    image = itk.ReadImage(str(Path(folder) / "abdomen-3mm.nii.gz"))
    to_lps = np.eye(4)
    scaled = np.reshape(image.GetDirection(), (3, 3)) * image.GetSpacing()
    to_lps[:3, :3] = scaled[:, ::-1]  # SimpleITK: LPS, index (x, y, z); arrays (z, y, x)
    to_lps[:3, 3] = image.GetOrigin()
    values = itk.GetArrayFromImage(image).astype(np.int16)
    return ImageVolume(values=values, to_lps=to_lps), image


def test_body_of_a_real_ct_agrees_with_another_toolkit() -> None:
    volume, image = real_volume()
    itk: Any = importlib.import_module("SimpleITK")
    pieces = itk.ConnectedComponent(itk.BinaryMorphologicalOpening(image > -300, [1, 1, 1]))
    largest = itk.RelabelComponent(pieces, sortByObjectSize=True) == 1
    planes = [itk.BinaryFillhole(largest[:, :, plane]) for plane in range(image.GetSize()[2])]
    theirs = np.stack([itk.GetArrayFromImage(plane).astype(bool) for plane in planes])
    ours = body_mask(volume).inside
    overlap = 2 * (ours & theirs).sum() / (ours.sum() + theirs.sum())
    assert overlap > 0.985


def test_skin_of_a_real_ct_lies_between_air_and_tissue() -> None:
    volume, _ = real_volume()
    found = anterior_skin(volume)
    seen = np.argwhere(np.isfinite(found.y_mm))
    assert len(seen) > 5000
    skin = np.stack(
        [found.x_mm[seen[:, 0]], found.y_mm[tuple(seen.T)], found.z_mm[seen[:, 1]]], axis=1
    )
    ahead, behind = (skin + way * np.array([0.0, 8.0, 0.0]) for way in (-1.0, 1.0))
    inside = volume.contains(ahead) & volume.contains(behind)
    before, after = (
        volume.values[tuple(np.rint(volume.index_of(side[inside])).astype(int).T)]
        for side in (ahead, behind)
    )
    assert (before < -500).mean() > 0.97
    assert (after > -500).mean() > 0.97
