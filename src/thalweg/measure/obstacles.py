"""What a ureter's route must keep clear of, found on the CT itself: bone and great vessels."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.errors import ImageError
from thalweg.measure.blood import blood_seen, dark_before_spine
from thalweg.measure.coarse import coarse_copy
from thalweg.measure.cover import (
    FoundCapsule,
    chained,
    facing_cover,
    judged,
    signed_distance,
)
from thalweg.measure.skeleton import bone_mask, bone_threshold, midline, soft_tissue, spine_levels
from thalweg.measure.vessel import great_vessels, vessel_cells
from thalweg.progress import silent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.measure.blood import Blood
    from thalweg.measure.coarse import Coarse
    from thalweg.measure.skeleton import Level
    from thalweg.progress import Progress
    from thalweg.record.image import ImageVolume

__all__ = ["FoundCapsule", "FoundObstacles", "bone_and_vessels"]

Floats = NDArray[np.float64]

LOW_PAD_MM = (80.0, 80.0, 20.0)
HIGH_PAD_MM = (80.0, 95.0, 30.0)
"""How far round the ureters obstacles are looked for: to the sides, to the back as far as the
sacrum, upwards to above the renal pelvis."""

ADULT_URETER_MM = 215.0
SIZE = (0.35, 1.1)
"""Height over which an adult's ureters run; by it lengths are scaled, within these shares."""

SPINE_TOLERANCE_MM = 2.5
VESSEL_TOLERANCE_MM = 2.0

NEAR_URETER_MM = 45.0
"""Pelvic bone farther than this from every ureter is left out: no route comes there."""

BEHIND_SPINE_MM = 5.0
SIDE_CAPSULES = 7
"""Bone farther back than the middle of the spine and this is out of reach; capsules per side."""

FACING = 0.3
SURFACE_POINTS = 350
LEAST_SURFACE_POINTS = 20
"""Cosine from which bone faces a ureter; points its surface is thinned to; fewer are a splinter."""

URETER_WALL_MM = 1.5
"""A capsule is drawn back to so much beside the middle of a ureter, which cannot run in bone."""

NOT_ENHANCED = "Great vessels are not enhanced in this phase: not reckoned with."
NOT_TOLD = (
    "Bright vessels were seen but could not be told from bone or urine: not reckoned with; mark "
    "them."
)
NOT_FOUND = "Great vessels were not found: not reckoned with; mark them."
EXPECTED = ("aorta", "inferior vena cava", "iliac vessel, left", "iliac vessel, right")
ONLY_GREAT = (
    "Of the vessels only aorta, vena cava, common and external iliac vessels were looked for; "
    "internal iliac, mesenteric and gonadal vessels are not reckoned with."
)
NO_BONE = "No spine was found on the image: bone is not reckoned with."


@dataclass(frozen=True)
class FoundObstacles:
    """Bone and great vessels of one image as capsules.

    Parameters
    ----------
    capsules : tuple of FoundCapsule
    threshold_hu : float
        Above it a cell was taken for bone, if its object was.
    step_mm : float
        Edge of the cells it was done on.
    cautions : tuple of str
    """

    capsules: tuple[FoundCapsule, ...]
    threshold_hu: float
    step_mm: float
    cautions: tuple[str, ...] = ()


def bone_and_vessels(
    volume: ImageVolume, ureters: Sequence[Floats] = (), *, progress: Progress = silent
) -> FoundObstacles:
    """Find bone and great vessels near the ureters.

    Parameters
    ----------
    volume : ImageVolume
        CT in Hounsfield units, any orientation.
    ureters : sequence of ndarray, shape (n, 3)
        Courses in LPS mm, from pelvis to bladder. They say where to look, and which bright things
        hold urine. Without them the whole image is searched.
    progress : Progress

    Returns
    -------
    FoundObstacles
        Front of the spine and sacrum, pelvic bone near the ureters, and the aorta, vena cava and
        iliac vessels as far as they are enhanced; each capsule with how well it stands for them.

    Raises
    ------
    ImageError
        The series is not CT.

    Notes
    -----
    Thresholds follow the image's own histogram, and how bright blood is is measured on discs
    before the spine; vessels as bright as bone are taken out of it before the spine is fitted.
    What cannot be told is said and left out: vessels without enhancement or as bright as excreted
    contrast, and mesenteric and gonadal vessels always.
    """
    if volume.modality != "CT":
        raise ImageError(
            f"bone is found by Hounsfield units, and this series is {volume.modality!r}",
            mend="give a CT series",
        )
    courses = _spaced(ureters)
    total = 4
    progress("Finding bone and vessels", 0, total)
    size = _size(courses)
    low = courses.min(axis=0) - size * np.array(LOW_PAD_MM) if len(courses) else None
    high = courses.max(axis=0) + size * np.array(HIGH_PAD_MM) if len(courses) else None
    coarse = coarse_copy(volume, low, high)
    soft, spread = soft_tissue(coarse)
    threshold = bone_threshold(soft, spread)
    progress("Finding bone and vessels", 1, total)
    # Of all that is bright: vessels that touch both may have made spine and urine one object.
    middle = midline(coarse, coarse.values > threshold)
    kinds = blood_seen(coarse, middle, size, soft, threshold)
    taken = None
    if any(kind.high_hu > threshold for kind in kinds):
        taken = vessel_cells(coarse, kinds, middle, size, courses, soft, threshold)
    bone = bone_mask(coarse, threshold, courses, taken)
    levels = spine_levels(coarse, bone, size)
    progress("Finding bone and vessels", 2, total)
    spine = _spine(levels)
    capsules = spine + _pelvis(coarse, bone, levels, spine, courses)
    progress("Finding bone and vessels", 3, total)
    told = [kind for kind in kinds if kind.told]
    vessels = [
        one
        for vessel in great_vessels(coarse, bone, levels, courses, told, soft)
        for one in judged(
            chained(vessel.name, "vessel", vessel.centres_mm, vessel.radii_mm, VESSEL_TOLERANCE_MM),
            vessel.surface_mm,
        )
    ]
    said = [*volume.cautions]
    said += [] if levels else [NO_BONE]
    said += _unseen(vessels, kinds, coarse, levels)
    clear, drawn_back = _off_ureters([*capsules, *vessels], courses)
    progress("Finding bone and vessels", total, total)
    return FoundObstacles(
        tuple(clear), threshold, coarse.step_mm, tuple(dict.fromkeys([*said, *drawn_back]))
    )


def _unseen(
    vessels: list[FoundCapsule], kinds: Sequence[Blood], coarse: Coarse, levels: list[Level]
) -> list[str]:
    """Return what must be said of vessels that were not found.

    That they are not enhanced is said only where what lies before the spine is as dark as muscle.
    """
    if not vessels:
        if kinds:
            return [NOT_TOLD]
        return [NOT_ENHANCED if dark_before_spine(coarse, levels) else NOT_FOUND]
    names = {one.name for one in vessels}
    missing = [name for name in EXPECTED if name not in names]
    said = [f"Not found, and so not reckoned with: {', '.join(missing)}."] if missing else []
    said += [] if all(kind.told for kind in kinds) else [NOT_TOLD]
    return [*said, ONLY_GREAT]


def _size(courses: Floats) -> float:
    """Return the person's size against an adult's, as the height their ureters run over tells."""
    if not len(courses):
        return 1.0
    return float(np.clip(np.ptp(courses[:, 2]) / ADULT_URETER_MM, *SIZE))


def _spaced(ureters: Sequence[Floats]) -> Floats:
    """Return points of all courses about 2 mm apart."""
    rows = [np.zeros((0, 3))]
    for course in ureters:
        steps = np.linalg.norm(np.diff(course, axis=0), axis=1)
        along = np.append(0.0, np.cumsum(steps))
        at = np.linspace(0.0, along[-1], max(int(along[-1] / 2.0), 1) + 1)
        rows.append(np.column_stack([np.interp(at, along, course[:, n]) for n in range(3)]))
    return np.concatenate(rows)


def _spine(levels: list[Level]) -> list[FoundCapsule]:
    """Return the front of the spine as a chain."""
    if len(levels) < 2:
        return []
    centres = np.array([level.centre_mm for level in levels])
    radii = np.array([level.radius_mm for level in levels])
    surface = np.concatenate([level.front_mm for level in levels])
    return judged(chained("spine", "bone", centres, radii, SPINE_TOLERANCE_MM), surface)


def _pelvis(
    coarse: Coarse,
    bone: NDArray[np.bool_],
    levels: list[Level],
    spine: list[FoundCapsule],
    courses: Floats,
) -> list[FoundCapsule]:
    """Return the pelvic brim and the wings of ilium and sacrum where routes may come near."""
    if not spine:
        return []
    points, inward = _surface(coarse, bone)
    heights = np.array([level.centre_mm[2] for level in levels[::-1]])
    centres = np.array([level.centre_mm for level in levels[::-1]])
    middle, back = (np.interp(points[:, 2], heights, centres[:, axis]) for axis in (0, 1))
    keep = points[:, 1] < back + BEHIND_SPINE_MM
    keep[keep] = signed_distance(spine, points[keep]).min(axis=0) > SPINE_TOLERANCE_MM
    if len(courses):
        from scipy.spatial import cKDTree  # noqa: PLC0415 - slow import, only needed here

        away, nearest = cKDTree(courses).query(points)
        faces = ((points - courses[nearest]) * inward).sum(axis=1) > FACING * away
        keep &= (away < NEAR_URETER_MM) & faces
    else:
        keep &= inward[:, 0] * np.sign(points[:, 0] - middle) > FACING
    found = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        own = np.flatnonzero(keep & (sign * (points[:, 0] - middle) > 0))
        own = own[:: max(len(own) // SURFACE_POINTS, 1)]
        if len(own) < LEAST_SURFACE_POINTS:
            continue
        cover = facing_cover(f"pelvis, {side}", points[own], inward[own], SIDE_CAPSULES)
        found += judged(cover, points[own])
    return found


def _surface(coarse: Coarse, bone: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return points on bone's surface, between cells, and unit directions into it."""
    shell = np.argwhere(bone & ~ndimage.binary_erosion(bone, border_value=1))
    smooth = ndimage.gaussian_filter(bone.astype(np.float32), 1.0)
    rise = np.stack(
        [
            smooth[tuple(np.clip(shell + step, 0, np.array(bone.shape) - 1).T)]
            - smooth[tuple(np.clip(shell - step, 0, np.array(bone.shape) - 1).T)]
            for step in np.eye(3, dtype=np.int64)[::-1]
        ],
        axis=1,
    ).astype(np.float64)
    inward = rise / np.maximum(np.linalg.norm(rise, axis=1, keepdims=True), 1e-6)
    return coarse.point_of(shell) - 0.5 * coarse.step_mm * inward, inward


def _off_ureters(
    capsules: list[FoundCapsule], courses: Floats
) -> tuple[list[FoundCapsule], list[str]]:
    """Return the capsules drawn back from the ureters, and a sentence where one was."""
    if not len(courses) or not capsules:
        return capsules, []
    nearest = signed_distance(capsules, courses).min(axis=1)
    clear, said = [], []
    for one, away in zip(capsules, nearest, strict=True):
        over = URETER_WALL_MM - float(away)
        if over <= 0:
            clear.append(one)
            continue
        said.append(
            f"The {one.name} as found would have reached a ureter's course and was drawn back by "
            f"{over:.0f} mm."
        )
        if one.radius_mm - over > 1.0:
            clear.append(
                replace(one, radius_mm=one.radius_mm - over, deficit_mm=one.deficit_mm + over)
            )
    return clear, said
