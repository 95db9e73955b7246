"""The renal pelvis' anteroposterior diameter against ellipsoids of known size.

The longest line along y through the ellipsoid x' A x = 1 is 2 / sqrt(A_yy): elementary geometry.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from tests.support.pelves import Pelvis, volume_of

from thalweg.measure.pelvis import RenalPelvis, renal_pelvis
from thalweg.measure.pelvis_finding import pelvis_finding
from thalweg.record.image import ImageVolume

USUAL = Pelvis((9.0, 5.0, 12.0), (0.0, 0.0, 35.0))
SHAPES = (
    USUAL,
    Pelvis((10.0, 3.5, 12.0), (20.0, 10.0, 30.0)),
    Pelvis((14.0, 10.0, 18.0), (0.0, 20.0, -30.0)),
    Pelvis((5.0, 3.0, 7.0)),
    Pelvis((7.0, 7.0, 7.0)),
    Pelvis((9.0, 6.0, 12.0), (-30.0, 0.0, 60.0), necks=False),
)
GRIDS = ((1.0, 0.72, 0.72), (1.5, 0.6, 0.9), (3.0, 0.8, 0.8))


@cache
def image(pelvis: Pelvis, grid: tuple[float, float, float] = GRIDS[0]) -> ImageVolume:
    """Return a rendered pelvis, its noise from a seed of its own."""
    return volume_of(pelvis, grid, seed=sum(map(ord, repr(pelvis))))


@cache
def measured() -> list[tuple[Pelvis, RenalPelvis]]:
    """Return every shape on every grid, measured from a start a little off its middle."""
    rng = np.random.default_rng(11)
    return [
        (pelvis, renal_pelvis(image(pelvis, grid), pelvis.course() + rng.normal(0.0, 1.0, 3)))
        for grid in GRIDS
        for pelvis in SHAPES
    ]


def test_the_diameter_is_that_of_the_ellipsoid() -> None:
    off = []
    for pelvis, found in measured():
        assert found.ap_mm is not None, (pelvis, found.problem)
        off.append(found.ap_mm - pelvis.ap_mm)
    assert np.percentile(np.abs(off), 95) < 1.0
    assert abs(np.median(off)) < 0.3


def test_its_doubt_is_neither_too_small_nor_too_large() -> None:
    ratios = [
        (found.ap_mm - pelvis.ap_mm) / found.ap_sd_mm
        for pelvis, found in measured()
        if found.ap_mm is not None and found.ap_sd_mm is not None
    ]
    assert np.mean(np.abs(ratios) < 1.96) >= 0.85
    assert 0.3 < np.sqrt(np.mean(np.square(ratios))) < 1.6


def test_neither_ureter_nor_calyces_count() -> None:
    wide = replace(USUAL, ureter_mm=4.0)
    bare = renal_pelvis(image(replace(USUAL, necks=False)), USUAL.course())
    full = renal_pelvis(image(wide), USUAL.course())
    assert bare.ap_mm is not None
    assert full.ap_mm == pytest.approx(bare.ap_mm, abs=0.6)


def test_a_pelvis_outside_the_kidney_is_said_to_be_one() -> None:
    inside = renal_pelvis(image(USUAL), USUAL.course())
    outside = renal_pelvis(image(replace(USUAL, kidney=False)), USUAL.course())
    assert not any("No enhanced kidney" in caution for caution in inside.cautions)
    assert any("No enhanced kidney" in caution for caution in outside.cautions)


def test_a_mirrored_person_has_the_same_diameter() -> None:
    volume, mirror = image(USUAL), np.diag([-1.0, 1.0, 1.0, 1.0])
    mirrored = ImageVolume(values=volume.values, to_lps=mirror @ volume.to_lps)
    there = renal_pelvis(mirrored, USUAL.course() * (-1.0, 1.0, 1.0)).ap_mm
    assert there == pytest.approx(renal_pelvis(volume, USUAL.course()).ap_mm, abs=0.1)


def test_what_is_not_opacified_is_not_measured() -> None:
    found = renal_pelvis(volume_of(USUAL, urine_hu=60.0), USUAL.course())
    assert found.ap_mm is None
    assert "not opacified" in found.problem
    finding = pelvis_finding(found, at=date(2026, 3, 2), side="left")
    assert finding.value is None
    assert "not opacified" in finding.cautions[0]


def test_a_pelvis_cut_off_by_the_image_is_not_measured() -> None:
    volume = image(USUAL)
    half = ImageVolume(values=volume.values[:, : volume.shape[1] // 2 + 2], to_lps=volume.to_lps)
    found = renal_pelvis(half, USUAL.course())
    assert found.ap_mm is None
    assert "cut off" in found.problem


def test_contrast_that_runs_on_into_other_bright_things_is_not_measured() -> None:
    volume = image(USUAL)
    values = volume.values.copy()
    middle = values.shape[2] // 2
    values[:, :, middle:] = np.maximum(values[:, :, middle:], 600)
    found = renal_pelvis(ImageVolume(values=values, to_lps=volume.to_lps), USUAL.course())
    assert found.ap_mm is None
    assert found.problem
