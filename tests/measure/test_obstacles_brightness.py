"""Great vessels found at any enhancement, against the solids that phantoms were drawn from.

A phantom's image is linear in the brightness of its arteries and veins: three drawings give every
other pair of brightness. The truth is the phantom's own geometry, which the search never sees.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.measure.cover import signed_distance
from thalweg.measure.obstacles import FoundObstacles, bone_and_vessels
from thalweg.phantom import skeleton, vessels
from thalweg.phantom.render import render
from thalweg.phantom.scenario import adult, infant

if TYPE_CHECKING:
    from thalweg.phantom.spec import AnatomySpec
    from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

STRETCHES = (
    ("aorta", 0.0, 80.0, 0.97),
    ("common iliac artery, left", -55.0, -10.0, 0.97),
    ("common iliac artery, right", -55.0, -10.0, 0.90),
    ("external iliac artery, left", -130.0, -60.0, 0.97),
    ("external iliac artery, right", -130.0, -60.0, 0.97),
    ("inferior vena cava", 0.0, 80.0, 0.97),
)
"""Heights in an adult; lower down the phantom's external iliac vessels run into its pubic bone."""

TURNED = (10.0, -8.0, 12.0)


def anatomy(which: str) -> AnatomySpec:
    return infant() if which == "infant" else adult()


def drawn(which: str, artery: float, vein: float) -> ImageVolume:
    spec = anatomy(which)
    return render(
        replace(spec, tissues=replace(spec.tissues, artery=artery, vein=vein)),
        spacing_mm=spec.point(2.5, 1.6, 1.6),
        low_mm=spec.point(-150, -90, -185),
        high_mm=spec.point(150, 120, 150),
        oblique_deg=TURNED if which == "turned" else None,
        seed=91,
    ).volume


@cache
def drawings() -> tuple[ImageVolume, Array, Array]:
    """An image at 100 HU, and what 1 HU more in arteries and in veins adds to it."""
    plain, arteries, veins = (
        drawn("straight", *pair) for pair in ((100.0, 100.0), (500.0, 100.0), (100.0, 500.0))
    )
    base = plain.values.astype(np.float64)
    return plain, (arteries.values - base) / 400.0, (veins.values - base) / 400.0


def image(artery: float, vein: float) -> ImageVolume:
    plain, arteries, veins = drawings()
    values = plain.values + (artery - 100) * arteries + (vein - 100) * veins
    return replace(plain, values=np.rint(values).clip(-1024, 3071).astype(np.int16))


def ureters(which: str) -> list[Array]:
    spec = anatomy(which)
    return [tube.centreline.points_mm for tube in (spec.left, spec.right)]


def found(artery: float, vein: float) -> FoundObstacles:
    return bone_and_vessels(image(artery, vein), ureters("straight"))


def round_vessel(spec: AnatomySpec, name: str, low: float, high: float) -> Array:
    """Points on a vessel's true surface between two heights of an adult."""
    tube = {**vessels.arteries(spec), **vessels.veins(spec)}[name]
    stations = np.linspace(0.0, tube.centreline.length_mm, 150)
    middle = tube.centreline.point_at(stations)
    along = np.gradient(middle, axis=0)
    across = np.cross(along, (0.0, 1.0, 0.2))
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    other = np.cross(along / np.linalg.norm(along, axis=1, keepdims=True), across)
    radius = (np.asarray(tube.lumen_at(stations)) / 2)[:, None]
    angle = np.linspace(0, 2 * np.pi, 18, endpoint=False)[:, None, None]
    rings = middle + radius * (np.cos(angle) * across + np.sin(angle) * other)
    inside = (middle[:, 2] > low * spec.scale) & (middle[:, 2] < high * spec.scale)
    return np.asarray(rings[:, inside].reshape(-1, 3))


def fronts(spec: AnatomySpec, names: set[str]) -> Array:
    """Points on the true front of vertebral bodies."""
    angle = np.radians(np.linspace(-50, 50, 21))
    rows = []
    for vertebra in skeleton.vertebrae(spec):
        if vertebra.name in names:
            a, b = vertebra.body.radii_mm
            for share in (-0.6, 0.0, 0.6):
                z = np.full(angle.size, share * vertebra.body.half_height_mm)
                local = np.column_stack([a * np.sin(angle), -b * np.cos(angle), z])
                rows.append(np.asarray(vertebra.body.centre_mm) + local @ vertebra.body.axes)
    return np.concatenate(rows)


def assert_vessels_and_spine(answer: FoundObstacles, which: str) -> None:
    spec = anatomy(which)
    lumped = [one for one in answer.capsules if one.kind == "vessel"]
    for name, low, high, share in STRETCHES:
        away = signed_distance(lumped, round_vessel(spec, name, low, high)).min(axis=0)
        assert (away < 2.0).mean() > share, name
        assert np.abs(away).mean() < 2.5, name
    front = signed_distance(answer.capsules, fronts(spec, {"L2", "L3", "L4", "L5"})).min(axis=0)
    assert np.abs(front).mean() < 1.5
    assert front.max() < 3.0  # the clearance a route keeps
    for course in ureters(which):
        assert signed_distance(lumped, course).min() > 1.0
    # The bladder's contrast.
    pool = spec.scale * np.array([[0, -15, -140], [20, -10, -140], [-20, -10, -145]])
    assert signed_distance(lumped, pool).min() > 5.0 * spec.scale
    assert not any("not enhanced" in caution for caution in answer.cautions)


@pytest.mark.parametrize(
    ("artery", "vein"),
    [(120, 110), (120, 300), (140, 260), (220, 150), (260, 200), (300, 300)],
)
def test_great_vessels_and_spine_at_any_enhancement(artery: float, vein: float) -> None:
    assert_vessels_and_spine(found(artery, vein), "straight")


@pytest.mark.parametrize(("which", "artery", "vein"), [("turned", 260, 200), ("infant", 240, 190)])
def test_the_same_in_an_oblique_volume_and_an_infant(
    which: str, artery: float, vein: float
) -> None:
    image_drawn = drawn(which, artery, vein)
    assert_vessels_and_spine(bone_and_vessels(image_drawn, ureters(which)), which)


def test_plaques_and_contrast_in_bowel_do_not_break_it() -> None:
    """Flecks of 700 HU in the walls of the arteries; a loop of 250 HU before the left iliacs."""
    spec, plain = anatomy("straight"), image(200, 150)
    values = plain.values.astype(np.float64)
    rng = np.random.default_rng(5)
    for name, low, high, _ in STRETCHES[:3]:
        wall = round_vessel(spec, name, low, high)
        for at in wall[rng.choice(len(wall), 14, replace=False)]:
            index = np.rint(plain.index_of(at)).astype(int)
            values[index[0], index[1] - 1 : index[1] + 1, index[2] - 1 : index[2] + 1] = 700.0
    loop = np.column_stack([np.linspace(-10, 60, 90), np.full(90, -32.0), np.linspace(35, -40, 90)])
    line = np.ones(values.shape, dtype=bool)
    line[tuple(np.rint(plain.index_of(loop)).astype(int).T)] = False
    bowel = ndimage.distance_transform_edt(line, sampling=tuple(plain.spacing_mm)) < 10.0
    values[bowel] = 250.0
    blotted = replace(plain, values=np.rint(values).astype(np.int16))
    assert_vessels_and_spine(bone_and_vessels(blotted, ureters("straight")), "straight")


def test_as_bright_as_urine_is_said_never_called_unenhanced() -> None:
    answer = found(420, 420)
    assert not [one for one in answer.capsules if one.kind == "vessel"]
    assert any("could not be told from bone or urine" in one for one in answer.cautions)
    assert not any("not enhanced" in one for one in answer.cautions)
    assert any(one.name == "spine" for one in answer.capsules)


def test_vessels_as_dark_as_muscle_are_said_to_be_unenhanced() -> None:
    answer = found(45, 42)
    assert not [one for one in answer.capsules if one.kind == "vessel"]
    assert any("not enhanced" in one for one in answer.cautions)
