"""What must be said beside a course, in sentences."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thalweg.measure.corridor import BRIGHT_HU
from thalweg.measure.fault import point_names
from thalweg.measure.levels import TISSUE, URINE
from thalweg.measure.spline import polyline_length

if TYPE_CHECKING:
    from thalweg.measure.byhand import HandFit
    from thalweg.measure.capture import OtherWay
    from thalweg.measure.course import Dilatation, Gap, Narrowing, Stent, Stone
    from thalweg.record.image import ImageVolume

__all__ = ["NOT_CT", "Seen", "by_hand", "remarks"]

Floats = NDArray[np.float64]

MUCH_UNSEEN = 0.6
"""Above this share without contrast a course is mostly a guess between what was placed."""

CORD_SHARE = 0.5
"""A gap counts as followed where a cord shows along this share of it."""

THICK_PLANES_MM = 2.0

OFF_COURSE_MM = 5.0

TIGHT_MM = 20.0
"""Bends that read tighter than this may be tighter still, as smoothing rounds them."""

FAR_APART_MM = 30.0
"""Points placed farther apart than this may hide a bend of a ureter (our own judgement)."""

HIDDEN_SHARE = 0.02
"""Such a share of the length, expected to hide between the points, is said."""

MR_BRIGHT = f"{(BRIGHT_HU - TISSUE) / (URINE - TISSUE):.0%} of the way from soft tissue to urine"

NOT_CT = (
    "No CT or MR was measured, so calibre, narrowings and stretches without contrast are not known."
)


@dataclass(frozen=True, eq=False)
class Seen:
    """What was found along a course; stations in mm.

    Parameters
    ----------
    station_mm, points_mm : ndarray
        The course.
    placed_mm : ndarray, shape (k, 3)
        The points it was asked to pass.
    gaps, narrowings, dilatations : tuple
    corded : ndarray of bool
        Where the course follows a cord of soft tissue.
    dense, specks : list of (from_mm, to_mm)
        Stretches denser than contrast; lone spots of contrast that were left out.
    others : tuple of OtherWay
        Ways that the course could take instead.
    beside : list of (from_mm, to_mm, distance_mm)
        Stretches of gaps along which something bright runs.
    touched_mm : ndarray, shape (k, 3)
        Where another bright tube touches the course.
    hollow : list of (from_mm, to_mm)
        Stretches whose core is darker than the rim round it.
    stones, stents : tuple
    least_bend_mm : float
        Radius of the tightest bend that was seen.
    """

    station_mm: Floats
    points_mm: Floats
    placed_mm: Floats
    gaps: tuple[Gap, ...]
    corded: NDArray[np.bool_]
    narrowings: tuple[Narrowing, ...]
    dilatations: tuple[Dilatation, ...]
    dense: list[tuple[float, float]]
    specks: list[tuple[float, float]]
    others: tuple[OtherWay, ...] = ()
    beside: list[tuple[float, float, float]] = field(default_factory=list)
    touched_mm: Floats = field(default_factory=lambda: np.empty((0, 3)))
    hollow: list[tuple[float, float]] = field(default_factory=list)
    stones: tuple[Stone, ...] = ()
    stents: tuple[Stent, ...] = ()
    least_bend_mm: float = np.inf


def remarks(volume: ImageVolume, seen: Seen) -> tuple[str, ...]:
    """Return the cautions of a course: those of its image, then those of what was seen."""
    return (
        *volume.cautions,
        *_of_contrast(volume, seen),
        *_of_other_ways(volume, seen),
        *_of_calibre(seen),
        *_of_bends(seen),
        *_of_placing(volume, seen),
    )


def by_hand(placed_mm: Floats, fit: HandFit) -> tuple[str, ...]:
    """Return what must be said of a course along points placed by hand."""
    first = (
        f"The course was placed by hand at {len(placed_mm)} points; it is the likeliest smooth"
        " curve along them, and the image did not move it."
    )
    said = [first]
    apart = float(np.linalg.norm(np.diff(placed_mm, axis=0), axis=1).max())
    if apart > FAR_APART_MM:
        said.append(
            f"Points lie up to {apart:.0f} mm apart, and a bend between them is not seen: place"
            " one every 10 to 20 mm, closer where it winds."
        )
    if fit.hidden_mm > HIDDEN_SHARE * float(polyline_length(fit.points_mm)[-1]):
        said.append(
            f"The true length is rather longer than given, by about {fit.hidden_mm:.0f} mm, as"
            " the curve cuts bends that the points do not show."
        )
    return tuple(said)


def _of_contrast(volume: ImageVolume, seen: Seen) -> list[str]:
    length = float(seen.station_mm[-1])
    unseen = sum(gap.length_mm for gap in seen.gaps)
    if unseen > 0.999 * length:
        least = f"{BRIGHT_HU:g} HU" if volume.modality == "CT" else MR_BRIGHT
        nothing = (
            f"Nothing along the course is opacified (brighter than {least}): the line is only a"
            " smooth bridge between the placed points and its length is not a measurement."
        )
        return [nothing]
    said = []
    if unseen > MUCH_UNSEEN * length:
        said.append(
            f"{unseen:.0f} of {length:.0f} mm hold no contrast: most of the course is bridged,"
            " not seen; add via points or use another phase."
        )
    said += [
        f"No contrast from {gap.from_mm:.0f} to {gap.to_mm:.0f} mm: narrow or unopacified, which"
        f" one phase cannot tell apart; the course there {_bridge(seen, gap)}."
        for gap in seen.gaps
    ]
    return said


def _bridge(seen: Seen, gap: Gap) -> str:
    within = (seen.station_mm > gap.from_mm) & (seen.station_mm < gap.to_mm)
    if within.any() and seen.corded[within].mean() > CORD_SHARE:
        return "follows a cord of soft tissue taken for the empty ureter"
    return "is a smooth bridge"


def _of_other_ways(volume: ImageVolume, seen: Seen) -> list[str]:
    said = []
    for other in seen.others:
        ends = np.stack([other.from_mm, other.to_mm])
        start, end = sorted(_nearest_stations(seen, ends))
        change = f"{abs(other.longer_mm):.0f} mm {'longer' if other.longer_mm > 0 else 'shorter'}"
        if other.through_tube:
            said.append(
                f"From {start:.0f} to {end:.0f} mm a second way was left out because it runs in a"
                f" bright tube that goes on elsewhere, such as an artery; were it the ureter, the"
                f" course would be {change}: look there, and add a via point to settle it."
            )
        else:
            said.append(
                f"Between {start:.0f} and {end:.0f} mm the course leaves a bright tube that goes on"
                f" elsewhere: either the tube is the ureter and the course loses it, or the course"
                f" ran in a vessel; the next best way would be {change}: look there, and add a via"
                f" point on the ureter to settle it."
            )
    bright = "vessel, bone or bowel" if volume.modality == "CT" else "vessel or bowel"
    said += [
        f"Something bright ({bright}) runs {distance:.0f} mm beside the bridge from"
        f" {start:.0f} to {end:.0f} mm, where the ureter holds no contrast: look whether the course"
        " keeps to the ureter there."
        for start, end, distance in seen.beside
    ]
    said += [
        f"At {station:.0f} mm another bright tube (vessel or bowel) touches the course: look"
        " whether the course keeps to the ureter there."
        for station in _nearest_stations(seen, seen.touched_mm)
    ]
    return said


def _nearest_stations(seen: Seen, places_mm: Floats) -> list[float]:
    away = np.linalg.norm(seen.points_mm[None] - places_mm[:, None], axis=-1)
    return [float(seen.station_mm[at]) for at in away.argmin(axis=1)]


def _of_calibre(seen: Seen) -> list[str]:
    said = []
    for narrow in seen.narrowings:
        limit = "less than " if narrow.less_than else ""
        said.append(
            f"Narrow from {narrow.from_mm:.0f} to {narrow.to_mm:.0f} mm"
            f" ({limit}{narrow.least_calibre_mm:.1f} mm against"
            f" {narrow.reference_calibre_mm:.1f} mm nearby): a narrowing or a wave of peristalsis,"
            " which one phase cannot tell apart."
        )
    for wide in seen.dilatations:
        limit = "more than " if wide.more_than else ""
        said.append(
            f"Wide from {wide.from_mm:.0f} to {wide.to_mm:.0f} mm"
            f" (up to {limit}{wide.greatest_calibre_mm:.1f} mm)."
        )
    said += [
        f"From {start:.0f} to {end:.0f} mm something denser than the contrast elsewhere (stone,"
        " stent or denser urine) hides the calibre."
        for start, end in seen.dense
    ]
    said += [_of_stone(stone) for stone in seen.stones]
    said += [_of_stent(stent) for stent in seen.stents]
    said += [
        f"From {start:.0f} to {end:.0f} mm the middle of the lumen is darker than its rim:"
        " concentrated contrast can look dark on MR; calibre is not measured there."
        for start, end in seen.hollow
    ]
    said += [
        f"A lone bright spot at {(start + end) / 2:.0f} mm was left out: it may be a drop of"
        " contrast, a stone, or lie outside the ureter."
        for start, end in seen.specks
    ]
    return said


def _of_stone(stone: Stone) -> str:
    return (
        f"A stone, or something as dense, at station {(stone.from_mm + stone.to_mm) / 2:.0f} mm:"
        f" about {stone.length_mm:.0f} mm long and {stone.width_mm:.0f} mm across"
        f" ({stone.core_hu:.0f} HU, the contrast beside it {stone.beside_hu:.0f}); calibre is not"
        " measured there."
    )


def _of_stent(stent: Stent) -> str:
    kind = "A stent" if stent.certain else "A stent, or undiluted contrast in a ureter as narrow,"
    tell = "" if stent.certain else " which one image cannot tell apart;"
    return (
        f"{kind} lies in the course from {stent.from_mm:.0f} to {stent.to_mm:.0f} mm"
        f" ({stent.width_mm:.1f} mm wide throughout, {stent.core_hu:.0f} HU):{tell} it hides the"
        " calibre, so that calibre, narrowings and dilatations are not known, and it may straighten"
        " the ureter."
    )


def _of_bends(seen: Seen) -> list[str]:
    if seen.least_bend_mm >= TIGHT_MM:
        return []
    said = (
        f"The tightest bend reads {seen.least_bend_mm:.0f} mm in radius; a kink within a few"
        " millimetres is rounded, most of all in thick planes: it may be tighter."
    )
    return [said]


def _of_placing(volume: ImageVolume, seen: Seen) -> list[str]:
    said = []
    away = np.linalg.norm(seen.placed_mm[:, None] - seen.points_mm[None], axis=-1).min(axis=1)
    names = point_names(len(away))
    said += [
        f"The {name} was placed {distance:.0f} mm off the course that was found."
        for name, distance in zip(names, away, strict=True)
        if distance > OFF_COURSE_MM
    ]
    thick = float(volume.spacing_mm.max())
    if thick > THICK_PLANES_MM:
        said.append(
            f"Voxels are {thick:.1f} mm long: short narrowings may not show, and calibre is"
            " surer where the ureter runs along them."
        )
    return said
