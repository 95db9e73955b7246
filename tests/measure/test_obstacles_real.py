"""Bone on an open real CT, against SimpleITK's own threshold and connected components.

Open abdominal CT of the TotalSegmentator project (Apache 2.0), without contrast, read by SimpleITK.
"""

from __future__ import annotations

import importlib
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thalweg.measure.coarse import coarse_copy
from thalweg.measure.obstacles import bone_and_vessels
from thalweg.measure.skeleton import bone_mask, bone_threshold, soft_tissue
from thalweg.record.image import ImageVolume


def real_image() -> tuple[ImageVolume, Any]:
    folder = os.environ.get("THALWEG_REAL_IMAGES")
    if not folder:
        pytest.skip("not run: THALWEG_REAL_IMAGES names no folder with a real CT")
    itk: Any = importlib.import_module("SimpleITK")
    image = itk.ReadImage(str(Path(folder) / "abdomen-3mm.nii.gz"))
    to_lps = np.eye(4)
    scaled = np.reshape(image.GetDirection(), (3, 3)) * image.GetSpacing()
    to_lps[:3, :3] = scaled[:, ::-1]
    to_lps[:3, 3] = image.GetOrigin()
    return ImageVolume(itk.GetArrayFromImage(image).astype(np.int16), to_lps), image


def test_bone_of_a_real_ct_agrees_with_another_toolkit() -> None:
    volume, image = real_image()
    itk: Any = importlib.import_module("SimpleITK")
    pieces = itk.RelabelComponent(itk.ConnectedComponent(image > 200), sortByObjectSize=True)
    theirs = itk.GetArrayFromImage(pieces) == 1
    points = volume.point_of(np.argwhere(theirs))
    coarse = coarse_copy(volume)
    bone = bone_mask(coarse, bone_threshold(*soft_tissue(coarse)), np.zeros((0, 3)))
    index = np.rint(coarse.index_of(points)).astype(int).clip(0, np.array(bone.shape) - 1)
    assert bone[tuple(index.T)].mean() > 0.8
    # Filled bodies hold fatty marrow, so that some cells are darker than water.
    assert (coarse.values[bone] < 0).mean() < 0.05


def test_unenhanced_vessels_of_a_real_ct_are_said_and_its_spine_is_found() -> None:
    volume, _ = real_image()
    answer = bone_and_vessels(volume)
    assert any("not enhanced" in caution for caution in answer.cautions)
    spine = [one for one in answer.capsules if one.name == "spine"]
    heights = [point[2] for one in spine for point in (one.from_mm, one.to_mm)]
    assert max(heights) - min(heights) > 120.0
    assert all(12.0 < one.radius_mm < 35.0 for one in spine)
