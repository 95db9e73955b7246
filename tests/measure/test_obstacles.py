"""Bone and vessels found on artificial abdomens, against the solids they were drawn from.

The truth is the phantom's own geometry (`thalweg.phantom`), which the search never sees.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.typing import NDArray

from thalweg.errors import ImageError
from thalweg.measure.coarse import coarse_copy
from thalweg.measure.cover import signed_distance
from thalweg.measure.obstacles import FoundObstacles, bone_and_vessels
from thalweg.phantom import skeleton, vessels
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult, infant
from thalweg.phantom.spec import Tissues
from thalweg.plan.reach import Solver, scene_from
from thalweg.plan.reach.diversions import Leg, legs
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from thalweg.phantom.spec import AnatomySpec
    from thalweg.phantom.tube import Tube

Array = NDArray[np.float64]
TURNED = (10.0, -8.0, 12.0)


def drawn(spec: AnatomySpec, oblique: tuple[float, float, float] | None = None) -> Phantom:
    return render(
        spec,
        spacing_mm=spec.point(2.5, 1.6, 1.6),
        low_mm=spec.point(-150, -90, -185),
        high_mm=spec.point(150, 120, 150),
        oblique_deg=oblique,
        seed=91,
    )


def courses(phantom: Phantom) -> list[Array]:
    return [tube.centreline.points_mm for tube in (phantom.truth.left, phantom.truth.right)]


@cache
def grown() -> Phantom:
    return drawn(adult())


@cache
def turned() -> Phantom:
    return drawn(adult(), TURNED)


@cache
def found(which: str) -> FoundObstacles:
    phantom = grown() if which == "straight" else turned()
    return bone_and_vessels(phantom.volume, courses(phantom))


def surface_of(tube: Tube, low_z: float, high_z: float) -> Array:
    """Points all round a vessel of the phantom between two heights."""
    line = tube.centreline
    stations = np.linspace(0.0, line.length_mm, 200)
    points = line.point_at(stations)
    along = np.gradient(points, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    first = np.cross(along, (0.0, 1.0, 0.2))
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(along, first)
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None, None]
    ring = np.cos(angle) * first + np.sin(angle) * second
    radius = (np.asarray(tube.lumen_at(stations)) / 2)[:, None]
    rows = (points + radius * ring)[:, (points[:, 2] > low_z) & (points[:, 2] < high_z)]
    return np.asarray(rows.reshape(-1, 3))


def front_of_bodies(spec: AnatomySpec) -> Array:
    """Points on the front of the lumbar bodies, within 50 degrees of straight ahead."""
    angle = np.radians(np.linspace(-50, 50, 21))
    rows = []
    for vertebra in skeleton.vertebrae(spec):
        if vertebra.name not in {"L2", "L3", "L4", "L5"}:
            continue
        a, b = vertebra.body.radii_mm
        for share in (-0.6, 0.0, 0.6):
            local = [a * np.sin(angle), -b * np.cos(angle)]
            height = np.full(angle.size, share * vertebra.body.half_height_mm)
            axes = np.asarray(vertebra.body.axes)
            rows.append(
                np.asarray(vertebra.body.centre_mm) + np.column_stack([*local, height]) @ axes
            )
    return np.concatenate(rows)


@pytest.mark.parametrize("which", ["straight", "turned"])
def test_the_front_of_the_lumbar_spine_is_covered_closely(which: str) -> None:
    away = signed_distance(found(which).capsules, front_of_bodies(adult())).min(axis=0)
    assert np.abs(away).mean() < 1.5
    assert np.percentile(np.abs(away), 95) < 4.0
    assert away.max() < 3.0  # the clearance a route keeps


@pytest.mark.parametrize("which", ["straight", "turned"])
@pytest.mark.parametrize(
    ("name", "low_z", "high_z", "share_covered"),
    [
        ("aorta", 0.0, 80.0, 0.97),
        ("common iliac artery, left", -55.0, -10.0, 0.97),
        ("common iliac artery, right", -55.0, -10.0, 0.90),
        ("external iliac artery, left", -150.0, -60.0, 0.97),
        ("external iliac artery, right", -150.0, -60.0, 0.97),
        ("inferior vena cava", 0.0, 80.0, 0.97),
    ],
)
def test_great_vessels_are_covered(
    which: str, name: str, low_z: float, high_z: float, share_covered: float
) -> None:
    tube = {**vessels.arteries(adult()), **vessels.veins(adult())}[name]
    lumped = [one for one in found(which).capsules if one.kind == "vessel"]
    away = signed_distance(lumped, surface_of(tube, low_z, high_z)).min(axis=0)
    assert (away < 2.0).mean() > share_covered
    assert np.abs(away).mean() < 2.5


def test_few_capsules_and_each_says_how_well_it_fits() -> None:
    capsules = found("straight").capsules
    assert 12 <= len(capsules) <= 45
    for one in capsules:
        assert one.mean_error_mm <= max(one.deficit_mm, one.excess_mm) + 1e-9
        assert one.radius_mm > 2.0
    assert {one.kind for one in capsules} == {"bone", "vessel"}


@pytest.mark.parametrize("which", ["straight", "turned"])
def test_nothing_that_holds_urine_is_taken_for_an_obstacle(which: str) -> None:
    capsules = found(which).capsules
    for course in courses(grown()):
        assert signed_distance(capsules, course).min() > 1.0
    inside = np.array([[0.0, -15.0, -140.0], [20.0, -10.0, -140.0], [-20.0, -10.0, -145.0]])
    assert signed_distance(capsules, inside).min() > 5.0


def test_urine_is_told_from_bone_without_courses() -> None:
    capsules = bone_and_vessels(grown().volume).capsules
    inside = np.array([[0.0, -15.0, -140.0], [25.0, -10.0, -140.0], [-25.0, -10.0, -140.0]])
    assert signed_distance(capsules, inside).min() > 0.0
    assert any(one.name == "spine" for one in capsules)


def test_unenhanced_vessels_are_said_not_to_be_reckoned_with() -> None:
    plain = replace(adult(), tissues=Tissues(artery=45.0, vein=42.0, kidney=35.0))
    phantom = drawn(plain)
    answer = bone_and_vessels(phantom.volume, courses(phantom))
    assert not [one for one in answer.capsules if one.kind == "vessel"]
    assert any("not enhanced" in caution for caution in answer.cautions)
    assert any(one.name == "spine" for one in answer.capsules)


def test_an_infant_is_searched_at_its_own_size() -> None:
    phantom = drawn(infant())
    answer = bone_and_vessels(phantom.volume, courses(phantom))
    assert answer.step_mm < 1.5
    away = signed_distance(answer.capsules, front_of_bodies(infant())).min(axis=0)
    assert np.percentile(away, 80) < 2.0
    for course in courses(phantom):
        assert signed_distance(answer.capsules, course).min() > 0.5


def test_same_image_same_answer_and_other_modalities_refused() -> None:
    again = bone_and_vessels(grown().volume, courses(grown()))
    assert again == found("straight")
    other = ImageVolume(values=grown().volume.values, to_lps=grown().volume.to_lps, modality="MR")
    with pytest.raises(ImageError, match="'MR'"):
        bone_and_vessels(other)


def test_the_coarse_copy_keeps_places() -> None:
    """A ramp along LPS x reads the same in a turned copy."""
    volume = turned().volume
    index = np.stack(np.meshgrid(*(np.arange(n) for n in volume.shape), indexing="ij"), axis=-1)
    ramp = volume.point_of(index)[..., 0].astype(np.float32)
    copy = coarse_copy(ImageVolume(values=ramp, to_lps=volume.to_lps))
    inside = copy.values > -400
    x = copy.low_mm[0] + copy.step_mm * np.arange(copy.values.shape[2])
    off = (copy.values - x)[inside]
    assert np.abs(off).max() < 0.01
    assert inside.mean() > 0.4


def beside(one: Any, ends: Array) -> bool:
    """Say whether a capsule comes near the box of two places; others only cost the solver time."""
    both = np.array([one.from_mm, one.to_mm])
    low, high = ends.min(axis=0) - 15.0, ends.max(axis=0) + 15.0
    return bool(
        (both.max(axis=0) + one.radius_mm > low).all()
        and (both.min(axis=0) - one.radius_mm < high).all()
    )


@pytest.mark.parametrize("side", ["left", "right"])
def test_routes_need_the_same_length_round_found_and_true_obstacles(side: str) -> None:
    truth = grown().truth
    line = truth.ureter("left" if side == "left" else "right").centreline
    pivot = truth.pivot_station_mm["left" if side == "left" else "right"]
    sign = 1.0 if side == "left" else -1.0
    sites: list[dict[str, Any]] = [
        {
            "name": name,
            "point_mm": list(truth.wall.skin_point(x, z)),
            "normal": [float(v) for v in truth.wall.skin_normal(x, z)],
            "wall_mm": float(truth.wall.wall_thickness_mm(x, z)),
            "height_mm": 10.0,
        }
        for name, x, z in (("own", sign * 62.0, -28.0),)
    ]
    ends = np.array([line.point_at(np.array([pivot]))[0], sites[0]["point_mm"]])
    lengths = {}
    for which, all_of_them in (("true", truth.obstacles), ("found", found("straight").capsules)):
        obstacles = [one for one in all_of_them if beside(one, ends)]
        table = {
            "least_bend_radius_mm": 12.0,
            "clearance_mm": 3.0,
            "diversions": ["cutaneous-single"],
            "samples": 100,
            "ureter": {
                side: {
                    "points_mm": line.points_mm[::4].tolist(),
                    "pivot_mm": float(pivot),
                    "division_mm": 200.0,
                    "trim_mm": 10.0,
                }
            },
            "site": sites,
            "obstacle": [
                {
                    "kind": "capsule",
                    "from_mm": list(one.from_mm),
                    "to_mm": list(one.to_mm),
                    "radius_mm": one.radius_mm,
                }
                for one in obstacles
            ],
        }
        scene = scene_from(table, Path())
        solver = Solver(scene)
        (leg,) = legs(scene, "cutaneous-single")
        assert isinstance(leg, Leg)
        path = solver.path(leg)
        assert path is not None
        lengths[which] = path.length_mm
    assert lengths["found"] == pytest.approx(lengths["true"], abs=3.0)
