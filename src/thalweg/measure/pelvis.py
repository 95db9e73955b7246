"""Anteroposterior diameter of an opacified renal pelvis in the transverse plane.

The diameter in use for naming dilatation is the greatest one, front to back, in a transverse
section of the renal pelvis (Chow 2017, on ultrasound). Here the contrast that hangs together with
the course's start is cut out, the ureter and the calyces' necks are taken off, and every line from
front to back through what is left is measured between its half-level edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from thalweg.measure.chords import Chord, longest_chord
from thalweg.measure.section import TISSUE_HU
from thalweg.measure.spline import polyline_length

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["RenalPelvis", "renal_pelvis"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BOXES = ((36.0, 0.7), (72.0, 1.1))
"""Half width and grid of the region looked at, in mm; the second where the first is too small."""

OPAQUE_HU = 200.0
"""Fainter contrast is not told from an enhanced kidney."""

SEED_MM = 5.0
"""Contrast is looked for so far from the course's start."""

TAPER_SHARE = 0.6
"""The pelvis ends where the ureter leads on at this share of its inscribed radius."""

NECK_SHARE = 0.5
"""Parts thinner than this share of the pelvis' inscribed radius are calyces' necks or ureter."""

LEAD_MM = 45.0
"""The widest place lies within this of the start, along the course or in a straight line."""

LEAST_MM = 2.5
"""A smaller diameter is within the blur of the image."""

LARGEST_ML = 400.0

BESIDE_MM = 8.0
"""Contrast that leaves the box within this of the course is the ureter."""

KIDNEY_MM, KIDNEY_HU = 15.0, 90.0
"""Enhanced kidney within so far in front and behind says that the pelvis lies inside the kidney."""

NECK_COUNTS_MM = 2.0
FAR_MM = 30.0


@dataclass(frozen=True)
class RenalPelvis:
    """Size of one renal pelvis.

    Parameters
    ----------
    ap_mm, ap_sd_mm : float or None
        Greatest diameter along the patient's y in any transverse plane, and its standard deviation;
        None where it is not known.
    at_mm : (x, y, z) or None
        Middle of the anteroposterior diameter, LPS mm.
    problem : str
        Why it is not known; empty where it is.
    cautions : tuple of str
    """

    ap_mm: float | None
    ap_sd_mm: float | None
    at_mm: tuple[float, float, float] | None = None
    problem: str = ""
    cautions: tuple[str, ...] = ()


class _UnknownError(Exception):
    """The pelvis cannot be measured; the message says why."""


@dataclass(frozen=True, eq=False)
class _Box:
    """Brightness round the start on a grid along the patient's axes, indexed (z, y, x)."""

    values: NDArray[np.float32]
    held: Flags
    low_mm: Floats
    step_mm: float

    def index(self, points_mm: Floats) -> NDArray[np.int64]:
        """Return the nearest grid places (z, y, x) of LPS points."""
        places = np.rint((points_mm - self.low_mm) / self.step_mm).astype(np.int64)
        return np.asarray(places[..., ::-1])

    def point(self, index: Floats) -> Floats:
        """Return the LPS mm of a grid place (z, y, x)."""
        return np.asarray(self.low_mm + self.step_mm * np.asarray(index)[::-1])


def renal_pelvis(volume: ImageVolume, course_mm: Floats) -> RenalPelvis:
    """Return the size of the renal pelvis at the start of a course.

    Parameters
    ----------
    volume : ImageVolume
        CT in the excretory phase, or another image brought to its scale: soft tissue about 40,
        contrast above 200.
    course_mm : ndarray, shape (n, 3)
        LPS mm from the renal pelvis to the bladder.

    Returns
    -------
    RenalPelvis
        Without a diameter, and with a reason, where the pelvis is not opacified, is cut off by the
        image, or runs into other bright things.
    """
    try:
        for number, (half, step) in enumerate(BOXES, 1):
            box = _cut_out(volume, course_mm[0], half, step)
            pelvis = _connected(box)
            if not _leaves(pelvis, box, course_mm):
                return _measured(volume, box, pelvis, course_mm)
            if number == len(BOXES):
                break
    except _UnknownError as unknown:
        return RenalPelvis(None, None, problem=str(unknown))
    return RenalPelvis(
        None, None, problem="the contrast at the start runs on into something else that is bright"
    )


def _cut_out(volume: ImageVolume, start: Floats, half: float, step: float) -> _Box:
    count = int(2 * half / step) + 1
    axis = (np.arange(count) - count // 2) * step
    low = start + axis[0]
    # Grid places (z, y, x) to voxels: one matrix, which is faster than a place at a time.
    matrix = volume.from_lps[:3, :3][:, ::-1] * step
    corner = volume.index_of(low)
    values = ndimage.affine_transform(
        volume.values,
        matrix,
        corner,
        (count,) * 3,
        output=np.float32,
        order=1,
        mode="nearest",
    )
    held = np.ones((count,) * 3, dtype=bool)
    ends = start + np.stack(np.meshgrid(*[axis[[0, -1]]] * 3), axis=-1)
    if not volume.contains(ends).all():
        z, y, x = np.meshgrid(axis, axis, axis, indexing="ij")
        held = volume.contains(start + np.stack([x, y, z], axis=-1))
    return _Box(values, held, low, step)


def _connected(box: _Box) -> Flags:
    """Return the contrast that hangs together with the start, as grid places."""
    smooth = ndimage.gaussian_filter(box.values, 0.6 / box.step_mm)
    middle = np.array(box.values.shape) // 2
    reach = round(SEED_MM / box.step_mm)
    near = tuple(slice(m - reach, m + reach + 1) for m in middle)
    brightest = float(smooth[near].max())
    if brightest < OPAQUE_HU:
        raise _UnknownError("the renal pelvis is not opacified at the start of the course")
    seed = np.array(np.unravel_index(smooth[near].argmax(), smooth[near].shape)) + middle - reach
    level = _contrast(smooth, seed, box.step_mm)
    threshold = TISSUE_HU + 0.5 * (level - TISSUE_HU)
    parts, _ = ndimage.label(smooth > threshold)
    found = np.asarray(parts == parts[tuple(seed)])
    if found.sum() * box.step_mm**3 / 1000 > LARGEST_ML:
        raise _UnknownError("the contrast at the start runs on into something else that is bright")
    return found


def _contrast(smooth: NDArray[np.float32], seed: NDArray[np.int64], step: float) -> float:
    """Return the brightness of unmixed contrast near the seed: the upper quarter of what is lit."""
    reach = round(10.0 / step)
    part = smooth[tuple(slice(max(s - reach, 0), s + reach + 1) for s in seed)]
    peak = float(smooth[tuple(seed)])
    lit = part[(part > TISSUE_HU + 0.5 * (peak - TISSUE_HU)) & (part < TISSUE_HU + 1.6 * peak)]
    return float(np.percentile(lit, 75))


def _leaves(pelvis: Flags, box: _Box, course: Floats) -> bool:
    """Say whether the contrast leaves the box elsewhere than along the course.

    Raises
    ------
    _UnknownError
        It leaves the image.
    """
    rim = np.ones_like(pelvis)
    rim[1:-1, 1:-1, 1:-1] = False
    if not box.held.all():
        rim |= ndimage.binary_dilation(~box.held) & box.held
    out = pelvis & rim
    if not out.any():
        return False
    places = box.low_mm + box.step_mm * np.argwhere(out)[:, ::-1]
    beside = cKDTree(course).query(places)[0] > BESIDE_MM
    if not beside.any():
        return False
    if not box.held.all() and _beyond(places[beside], box):
        raise _UnknownError("the renal pelvis is cut off by the edge of the image")
    return True


def _beyond(places: Floats, box: _Box) -> bool:
    """Say whether places lie at the image's own edge."""
    at = box.index(places)
    edge = ndimage.binary_dilation(~box.held, iterations=2)
    return bool(edge[tuple(at.T)].any())


def _measured(volume: ImageVolume, box: _Box, pelvis: Flags, course: Floats) -> RenalPelvis:
    box, pelvis = _trimmed(box, pelvis)
    depth = ndimage.distance_transform_edt(pelvis, sampling=box.step_mm)
    whole = pelvis
    body, radius = _body(box, pelvis, depth, course)
    noise = _noise(box, depth)
    chord = longest_chord(box.values, body, box.step_mm, noise)
    if chord is None or chord.length_mm < LEAST_MM:
        raise _UnknownError("no renal pelvis wider than the image's blur was found at the start")
    middle = box.point(np.asarray(chord.middle))
    voxel = float(np.sqrt(np.mean(np.square(volume.spacing_mm))))
    cautions = [*_necks(box, whole, chord), *_outside(box, chord)]
    if float(np.linalg.norm(middle - course[0])) > max(FAR_MM, 2 * radius):
        cautions.append(
            "The widest place of the renal pelvis lies "
            f"{np.linalg.norm(middle - course[0]):.0f} mm from the start of the course: look "
            "whether it is the pelvis."
        )
    x, y, z = (float(value) for value in middle)
    return RenalPelvis(
        chord.length_mm,
        chord.sd_mm(voxel),
        (x, y, z),
        cautions=tuple(cautions),
    )


def _trimmed(box: _Box, pelvis: Flags) -> tuple[_Box, Flags]:
    """Return the part of the box that holds the pelvis and a kidney round it."""
    margin = round((KIDNEY_MM + 5.0) / box.step_mm)
    places = np.argwhere(pelvis)
    low = np.maximum(places.min(axis=0) - margin, 0)
    part = tuple(slice(a, b) for a, b in zip(low, places.max(axis=0) + margin + 1, strict=True))
    corner = box.low_mm + box.step_mm * low[::-1]
    return _Box(box.values[part], box.held[part], corner, box.step_mm), pelvis[part]


def _body(box: _Box, pelvis: Flags, depth: Floats, course: Floats) -> tuple[Flags, float]:
    """Return the pelvis without ureter and necks, and its inscribed radius in mm."""
    station = polyline_length(course)
    near = course[station < LEAD_MM]
    at = box.index(near)
    inside = ((at >= 0) & (at < pelvis.shape)).all(axis=1)
    near, at = near[inside], at[inside]
    along = ndimage.maximum_filter(depth, 3)[tuple(at.T)]
    body = pelvis.copy()
    widest = int(along.argmax())
    thin = np.flatnonzero(along[widest:] < TAPER_SHARE * along[widest])
    if thin.size:
        places = box.low_mm + box.step_mm * np.argwhere(pelvis)[:, ::-1]
        away, nearest = cKDTree(near).query(places)
        beyond = nearest >= widest + int(thin[0])
        body[pelvis] = ~beyond | (away >= 1.4 * along[nearest] + 1.0)
    from_start = np.linalg.norm(
        box.low_mm + box.step_mm * np.argwhere(body)[:, ::-1] - course[0], axis=1
    )
    own = np.where(from_start < LEAD_MM, depth[body], 0.0)
    if not own.size or own.max() <= 0:
        raise _UnknownError("no renal pelvis was found at the start of the course")
    radius = float(own.max())
    core = body & (depth > NECK_SHARE * radius)
    parts, _ = ndimage.label(core)
    deepest = np.argwhere(body)[int(own.argmax())]
    core = parts == parts[tuple(deepest)]
    far = ndimage.distance_transform_edt(~core, sampling=box.step_mm)
    return np.asarray(body & (far <= NECK_SHARE * radius + box.step_mm)), radius


def _noise(box: _Box, depth: Floats) -> float:
    """Return the noise of single grid places, from their second differences along the body's axis.

    Interpolation between voxels makes neighbours alike; places 3 apart are nearly independent.
    """
    deep = depth > 1.5
    apart = box.values[6:] - 2 * box.values[3:-3] + box.values[:-6]
    both = deep[6:] & deep[3:-3] & deep[:-6]
    if both.sum() < 20:
        return 20.0
    return float(1.4826 * np.median(np.abs(apart[both])) / np.sqrt(6.0))


def _necks(box: _Box, whole: Flags, chord: Chord) -> list[str]:
    """Say where calyces or the ureter would lengthen the diameter, had they not been left out."""
    z, y, x = (round(value) for value in chord.middle)
    line = whole[z, :, x]
    start = y - int((~line[: y + 1][::-1]).argmax()) + 1 if not line[: y + 1].all() else 0
    stop = y + int((~line[y:]).argmax()) if not line[y:].all() else len(line)
    extent = (stop - start) * box.step_mm
    if extent < chord.length_mm + NECK_COUNTS_MM:
        return []
    said = (
        f"A calyx or the ureter joins the renal pelvis at its widest place: {extent:.0f} mm with"
        " it; where the pelvis ends there is a matter of judgement."
    )
    return [said]


def _outside(box: _Box, chord: Chord) -> list[str]:
    """Say where no kidney stands in front of and behind the widest place."""
    z, y, x = chord.middle
    half = chord.length_mm / 2 / box.step_mm
    reach = KIDNEY_MM / box.step_mm
    column = ndimage.gaussian_filter(box.values, 1.5 / box.step_mm)[round(z), :, round(x)]
    front = column[max(int(y - half - reach), 0) : max(int(y - half - 2), 1)]
    behind = column[int(y + half + 2) : int(y + half + reach) + 1]
    # The skirt of the contrast itself falls below this within 2 mm.
    margin = round(2.0 / box.step_mm)
    sides = (front[: max(len(front) - margin, 0)], behind[margin:])
    if all(len(side) and float(side.max()) > KIDNEY_HU for side in sides):
        return []
    said = (
        "No enhanced kidney lies in front of and behind the widest place: it may be the part of the"
        " renal pelvis outside the kidney, which is not counted in naming dilatation."
    )
    return [said]
