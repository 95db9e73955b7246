"""The drawn abdomen and the truth about it tell the same story."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from thalweg.phantom.bodywall import BodyWall, Oval
from thalweg.phantom.organs import psoas
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult, hard_adult, infant
from thalweg.phantom.skeleton import bones, vertebrae
from thalweg.phantom.spec import AnatomySpec
from thalweg.phantom.truth import Capsule, PhantomTruth, truth_of
from thalweg.phantom.vessels import arteries, veins

Floats = NDArray[np.float64]

SPECS = [adult(), infant(), hard_adult()]
TRUTHS = [truth_of(spec) for spec in SPECS]
SIDES = ("left", "right")


def _named(truth: PhantomTruth) -> str:
    return truth.spec.name


@pytest.fixture(scope="module")
def clean() -> Phantom:
    """An adult without noise or blur, on thick slices."""
    return render(adult(), spacing_mm=(4.0, 1.2, 1.2), noise_hu=0.0, psf_mm=0.0)


@pytest.fixture(scope="module")
def fine() -> Phantom:
    """The adult's ureters above the brim, without noise, on the demonstration's voxels."""
    return render(
        adult(), spacing_mm=(1.5, 0.8, 0.8), noise_hu=0.0, psf_mm=0.8,
        low_mm=(-60, -30, -50), high_mm=(60, 40, 90),
    )  # fmt: skip


def _hounsfield(phantom: Phantom, points: Floats) -> Floats:
    index = phantom.volume.index_of(points)
    values = phantom.volume.values.astype(np.float64)
    return np.asarray(map_coordinates(values, index.T, order=1, mode="nearest"))


def _distance(capsule: Capsule, points: Floats) -> Floats:
    """Distance of points from a capsule's surface, written out for this check."""
    a, b = np.asarray(capsule.from_mm), np.asarray(capsule.to_mm)
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.asarray(
        np.linalg.norm(points - a - share[:, None] * (b - a), axis=1) - capsule.radius_mm
    )


# Skin and wall


def test_skin_truth_lies_on_the_images_edge_within_half_a_voxel(clean: Phantom) -> None:
    truth, tissues = clean.truth.wall, clean.truth.spec.tissues
    half_way = (tissues.air + tissues.skin) / 2
    checked = 0
    for plane in range(8, 86, 7):
        for column in range(70, 231, 16):
            profile = clean.volume.values[plane, :, column].astype(float)
            row = int(np.argmax(profile > half_way))
            edge = row - (profile[row] - half_way) / (profile[row] - profile[row - 1])
            x, y, z = clean.volume.point_of([plane, edge, column])
            assert y == pytest.approx(float(truth.skin_y(x, z)), abs=0.6)
            checked += 1
    assert checked > 100


@pytest.mark.parametrize(("x", "z"), [(0.0, 60.0), (60.0, -40.0), (-75.0, 10.0), (3.0, 4.0)])
def test_skin_normal_points_down_the_images_slope(clean: Phantom, x: float, z: float) -> None:
    fine = render(
        adult(), spacing_mm=(1.0, 1.0, 1.0), noise_hu=0.0, psf_mm=0.0,
        low_mm=(x - 8, -118, z - 8), high_mm=(x + 8, -70, z + 8),
    )  # fmt: skip
    air = np.clip(-fine.volume.values.astype(float) / 1000, 0, 1)
    smooth = gaussian_filter(air, 1.5)
    index = np.rint(fine.volume.index_of(clean.truth.wall.skin_point(x, z))).astype(int)
    slope = np.array([g[tuple(index)] for g in np.gradient(smooth)])[::-1]
    cosine = slope @ clean.truth.wall.skin_normal(x, z) / np.linalg.norm(slope)
    assert cosine > np.cos(np.radians(6))


@pytest.mark.parametrize(("x", "z"), [(20.0, 100.0), (55.0, -8.0), (-40.0, 76.0), (-30.0, 4.0)])
def test_wall_thickness_truth_is_where_muscle_ends_in_the_image(
    clean: Phantom, x: float, z: float
) -> None:
    wall = clean.truth.wall
    thickness = wall.wall_thickness_mm(x, z)
    depth = np.linspace(thickness - 5, thickness + 5, 401)
    points = np.asarray(wall.skin_point(x, z)) - depth[:, None] * wall.skin_normal(x, z)
    profile = _hounsfield(clean, points)
    tissues = clean.truth.spec.tissues
    half_way = (tissues.muscle + tissues.visceral_fat) / 2
    assert profile[0] == pytest.approx(tissues.muscle, abs=2)
    assert depth[np.argmax(profile < half_way)] == pytest.approx(thickness, abs=0.6)


def test_wall_of_a_straight_trunk_is_the_sum_of_its_layers_in_the_midline() -> None:
    def layer(depth: float) -> Oval:
        width, front, back = 150 - depth, 110 - depth, 100 - depth
        return Oval((-100.0, 100.0), (width,) * 2, (front,) * 2, (back,) * 2)

    wall = BodyWall(layer(0), layer(2), layer(20), layer(31))
    assert wall.skin_y(0.0, 10.0) == pytest.approx(-110.0)
    assert wall.skin_normal(0.0, 10.0) == pytest.approx([0, -1, 0], abs=1e-3)
    assert wall.wall_thickness_mm(0.0, 10.0) == pytest.approx(31.0, abs=1e-4)
    assert wall.depth_of_muscle_mm(0.0, 10.0) == pytest.approx(20.0, abs=1e-4)
    assert np.isnan(wall.skin_y(151.0, 0.0))


def test_the_umbilicus_is_a_pit(clean: Phantom) -> None:
    umbilicus = clean.truth.landmarks["umbilicus"]
    beside = float(clean.truth.wall.skin_y(0.0, 40.0))
    assert 6.0 < umbilicus[1] - beside < 10.0


# Ureters


@pytest.mark.parametrize("side", SIDES)
def test_contrast_shows_at_the_centreline_where_the_lumen_is_wide(fine: Phantom, side: str) -> None:
    tube = fine.truth.left if side == "left" else fine.truth.right
    line = tube.centreline
    seen = fine.volume.contains(line.points_mm) & (line.points_mm[:, 2] < 65)
    wide = seen & (tube.lumen_at(line.station_mm) >= 3.0)
    assert wide.sum() > 100
    urine = fine.truth.spec.tissues.urine_with_contrast
    found = _hounsfield(fine, line.points_mm[wide])
    assert found.min() > 0.7 * urine
    assert np.median(found) == pytest.approx(urine, rel=0.1)


def test_a_gap_shows_as_soft_tissue(fine: Phantom) -> None:
    tube = fine.truth.right
    gap = tube.gaps[0]
    stations = np.linspace(gap.from_mm + 3, gap.to_mm - 3, 30)
    found = _hounsfield(fine, tube.centreline.point_at(stations))
    assert (found > -10).all()
    assert (found < 60).all()


@pytest.mark.parametrize("side", SIDES)
def test_fat_surrounds_the_ureter_above_the_brim(fine: Phantom, side: str) -> None:
    tube = fine.truth.left if side == "left" else fine.truth.right
    line = tube.centreline
    part = (line.points_mm[:, 2] < 45) & (line.points_mm[:, 2] > -45)
    reach = tube.outer_at(line.station_mm[part]) / 2 + 2.0
    front = line.points_mm[part] - np.stack([0 * reach, reach, 0 * reach], axis=-1)
    assert np.median(_hounsfield(fine, front)) < -80


@pytest.mark.parametrize("truth", TRUTHS, ids=_named)
@pytest.mark.parametrize("side", SIDES)
def test_ureters_lie_within_the_cavity_and_clear_of_bone_and_arteries(
    truth: PhantomTruth, side: str
) -> None:
    tube = truth.left if side == "left" else truth.right
    line = tube.centreline
    x, y, z = line.points_mm.astype(np.float32).T
    assert truth.wall.cavity.signed_distance(x, y, z).max() < 0
    outer = tube.outer_at(line.station_mm) / 2
    for capsule in truth.obstacles:
        assert (_distance(capsule, line.points_mm) - outer).min() > 0, capsule.name
    shells, _ = bones(truth.spec)
    for shell in shells:
        assert (shell.signed_distance(x, y, z) - outer).min() > 0


@pytest.mark.parametrize("truth", TRUTHS, ids=_named)
@pytest.mark.parametrize("side", SIDES)
def test_at_least_a_millimetre_of_fat_parts_ureters_from_vessels_and_psoas(
    truth: PhantomTruth, side: str
) -> None:
    tube = truth.left if side == "left" else truth.right
    line = tube.centreline
    outer = tube.outer_at(line.station_mm) / 2
    sign = 1.0 if side == "left" else -1.0
    others = {**arteries(truth.spec), **veins(truth.spec), "psoas": psoas(truth.spec, sign)}
    for name, other in others.items():
        far, nearest = cKDTree(other.centreline.points_mm).query(line.points_mm)
        radius = other.lumen_at(other.centreline.station_mm)[nearest] / 2
        assert (far - radius - outer).min() > 1.0, name


@pytest.mark.parametrize("truth", TRUTHS, ids=_named)
@pytest.mark.parametrize("side", SIDES)
def test_ureters_cross_in_front_of_the_iliac_vessels(truth: PhantomTruth, side: str) -> None:
    # The ureter enters the pelvis in front of the end of the common or the beginning of the
    # external iliac artery (descriptive anatomy, from memory).
    line = (truth.left if side == "left" else truth.right).centreline.points_mm
    vessels = {**arteries(truth.spec), **veins(truth.spec)}
    crossed = 0
    for name in (f"common iliac artery, {side}", f"external iliac artery, {side}",
                 f"common iliac vein, {side}"):  # fmt: skip
        vessel = vessels[name].centreline.points_mm
        across, nearest = cKDTree(vessel[:, [0, 2]]).query(line[:, [0, 2]])
        crossing = across < 1.0 * truth.spec.scale
        crossed += int(crossing.any())
        assert (line[crossing, 1] < vessel[nearest[crossing], 1]).all(), name
    assert crossed


@pytest.mark.parametrize("truth", TRUTHS, ids=_named)
@pytest.mark.parametrize("side", SIDES)
def test_a_ureter_runs_from_the_hilum_past_the_lower_pole_to_the_bladder(
    truth: PhantomTruth, side: str
) -> None:
    sign = 1 if side == "left" else -1
    junction = np.asarray(truth.landmarks[f"pelvi-ureteric junction, {side}"])
    hiatus = np.asarray(truth.landmarks[f"bladder hiatus, {side}"])
    pole = np.asarray(truth.landmarks[f"lower pole of kidney, {side}"])
    spine = np.asarray(truth.landmarks[f"anterior superior iliac spine, {side}"])
    assert junction[2] > pole[2] > spine[2] > hiatus[2]
    assert abs(pole[0]) > abs(junction[0]) > abs(hiatus[0])
    assert (sign * np.array([junction[0], hiatus[0], pole[0], spine[0]]) > 0).all()
    tube = truth.left if side == "left" else truth.right
    pivot = truth.pivot_station_mm[side]  # type: ignore[index]
    assert 0 < pivot < tube.length_mm / 4
    assert tube.centreline.point_at(pivot)[2] == pytest.approx(pole[2], abs=0.3)


# Obstacles


def test_arteries_in_the_image_lie_along_their_capsules(clean: Phantom) -> None:
    artery = clean.truth.spec.tissues.artery
    names = {capsule.name for capsule in clean.truth.obstacles}
    assert {"spine", "aorta", "common iliac artery, left", "external iliac artery, right"} <= names
    for capsule in clean.truth.obstacles:
        middle = (np.asarray(capsule.from_mm) + np.asarray(capsule.to_mm)) / 2
        if capsule.name == "spine" or not clean.volume.contains(middle):
            continue
        assert _hounsfield(clean, middle[None])[0] == pytest.approx(artery, abs=25), capsule.name


@pytest.mark.parametrize("truth", TRUTHS, ids=_named)
def test_spine_capsules_hold_the_front_of_every_lumbar_body(truth: PhantomTruth) -> None:
    spine = [capsule for capsule in truth.obstacles if capsule.name == "spine"]
    angles = np.linspace(-np.pi, 0, 41)
    for vertebra in vertebrae(truth.spec):
        if vertebra.name not in {"L2", "L3", "L4", "L5"}:
            continue
        body = vertebra.body
        for height in (-body.half_height_mm, 0.0, body.half_height_mm):
            local = np.stack(
                [
                    body.radii_mm[0] * np.cos(angles),
                    body.radii_mm[1] * np.sin(angles),
                    np.full_like(angles, height),
                ],
                axis=-1,
            )
            points = np.asarray(body.centre_mm) + local @ np.asarray(body.axes)
            outside = np.min([_distance(capsule, points) for capsule in spine], axis=0)
            assert outside.max() < 1.0 * truth.spec.scale, (vertebra.name, height)


def test_the_aorta_divides_at_the_fourth_lumbar_vertebra() -> None:
    # Usual level of the aortic bifurcation: L4 (descriptive anatomy, from memory).
    spec = adult()
    fork = arteries(spec)["aorta"].centreline.points_mm[-1]
    body = next(v.body for v in vertebrae(spec) if v.name == "L4")
    assert abs(fork[2] - body.centre_mm[2]) < body.half_height_mm


# Scenarios


def test_the_adults_ureters_are_as_described() -> None:
    left, right = adult().left, adult().right
    assert (right.gaps[0].to_mm - right.gaps[0].from_mm) == pytest.approx(22.0)
    open_calibre = right.calibre_at(np.linspace(0, right.length_mm, 500))
    assert (open_calibre.min(), open_calibre.max()) == pytest.approx((2.5, 4.5), abs=0.15)
    narrow = left.narrowings[0]
    assert narrow.from_mm > left.length_mm * 2 / 3
    assert narrow.to_mm - narrow.from_mm == pytest.approx(10.0)
    above = left.calibre_at(np.linspace(0, narrow.from_mm - narrow.shoulder_mm, 500))
    assert above.min() >= 6.0
    assert above.max() <= 8.0
    assert left.calibre_at((narrow.from_mm + narrow.to_mm) / 2) == pytest.approx(2.5)


def test_the_infants_ureters_are_as_long_as_a_childs() -> None:
    # "Age in years plus 10 cm" (a rule for stents in children, from memory): 11 cm at one year.
    for tube in (infant().left, infant().right):
        assert 95 <= tube.length_mm <= 125


def test_the_hard_right_ureter_keeps_close_beside_an_artery() -> None:
    truth = TRUTHS[2]
    line = truth.right.centreline
    near = [c for c in truth.obstacles if c.name == "common iliac artery, right"]
    distance = np.min([_distance(capsule, line.points_mm) for capsule in near], axis=0)
    assert 4.5 < distance.min() < 6.5
    assert (distance < 7.5).sum() * line.station_mm[1] > 40
    gaps = [g.to_mm - g.from_mm for t in (truth.left, truth.right) for g in t.gaps]
    assert min(gaps) >= 30
    assert max(gaps) == pytest.approx(45)


# Rendering


def test_the_same_call_gives_the_same_voxels_and_reports_its_progress() -> None:
    calls: list[tuple[str, int, int]] = []

    def watch(label: str, done: int, total: int) -> None:
        calls.append((label, done, total))

    def draw(spec: AnatomySpec) -> Phantom:
        return render(
            spec, spacing_mm=(2.0, 1.0, 1.0), low_mm=(-20, -20, -10), high_mm=(20, 20, 10),
            progress=watch,
        )  # fmt: skip

    first, again = draw(infant()), draw(infant())
    assert np.array_equal(first.volume.values, again.volume.values)
    assert first.volume.phantom
    assert calls[-1][1] == calls[-1][2] == len(calls) // 2


def test_an_oblique_image_shows_the_same_person() -> None:
    corners = {"low_mm": (22.0, -20.0, -12.0), "high_mm": (54.0, 20.0, 24.0)}
    straight, oblique = (
        render(
            adult(), spacing_mm=(1.0, 0.8, 0.8), noise_hu=0.0, psf_mm=1.0, oblique_deg=turn,
            low_mm=corners["low_mm"], high_mm=corners["high_mm"],
        )
        for turn in (None, (8.0, -12.0, 20.0))
    )  # fmt: skip
    assert not np.allclose(straight.volume.to_lps, oblique.volume.to_lps)
    line = adult().left.centreline.points_mm
    line = line[(line[:, 2] > -4) & (line[:, 2] < 16)]
    for offset in ((0, 0, 0), (2, 0, 0), (0, 9, 0), (-7, 3, 0)):
        first = _hounsfield(straight, line + offset)
        second = _hounsfield(oblique, line + offset)
        assert np.abs(first - second).mean() < 25
        assert np.median(first) == pytest.approx(np.median(second), abs=25)
