"""From what is known of a radiograph's scale to millimetres at the ureter's own depth.

Size at the ureter = size in a plane × (source–ureter distance) ÷ (source–plane distance). The plane
is the detector, that of a scale in the picture, or the ureter's own. Where a distance that the
formula needs is not known there is no length: a magnified shadow is too long, a foreshortened one
too short, and nothing says which prevails.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from thalweg.record.radiograph import Radiograph

__all__ = ["Calibration", "MarkedScale", "Setup", "calibrated"]

Pair = tuple[float, float]

DETECTOR_SHARE: Final = 0.005
"""Detectors state their pixels at the front of their housing, some millimetres before 1000."""

KIND_SHARES: Final = {"FIDUCIAL": 0.02, "GEOMETRY": 0.03, "": 0.05}
"""SD of a scale that others set in the person, as a share of lengths: 3 % is 30 mm of depth in
1000. Our judgement."""

SCALE_CLICK_PX: Final = 1.0
"""SD of each end of a scale as placed, pixels. Our judgement."""

DISAGREE: Final = 0.02
"""Two statements of one magnification or scale that differ by more are said to."""

SAME_DISTANCE: Final = 0.01
"""Likewise for distances from the source."""

Depth = Literal["ureter", "detector"] | float | None


@dataclass(frozen=True)
class MarkedScale:
    """Two places in the picture whose true distance is known.

    Parameters
    ----------
    ends_px : tuple of two (column, row)
    length_mm : float
        True distance between them.
    depth : "ureter", "detector", float or None
        Where it lies: at the ureter's depth, on the detector, or its distance from the source in
        mm; None where nobody said.
    """

    ends_px: tuple[Pair, Pair]
    length_mm: float
    depth: Depth = None


@dataclass(frozen=True)
class Setup:
    """What a person states of a radiograph; lengths in mm.

    Parameters
    ----------
    scale : MarkedScale, optional
    source_detector_mm, source_ureter_mm, ureter_detector_mm : float, optional
        Distances square to the detector.
    depth_spread_mm : float, optional
        How far any part of the ureter lies at most before or behind its stated depth.
    central_ray_px : (column, row), optional
        Where the perpendicular from the source meets the picture.
    """

    scale: MarkedScale | None = None
    source_detector_mm: float | None = None
    source_ureter_mm: float | None = None
    ureter_detector_mm: float | None = None
    depth_spread_mm: float | None = None
    central_ray_px: Pair | None = None


@dataclass(frozen=True)
class Calibration:
    """How pixels become millimetres at the ureter, or what is lacking.

    Parameters
    ----------
    said : str
        In words.
    spacing_mm : (between rows, between columns), optional
        In the plane that it is known for.
    to_ureter : float, optional
        What lengths in that plane are multiplied by; None where it is not known.
    ureter_mm : float, optional
        Distance of the ureter from the source.
    magnification : float, optional
        Detector over ureter.
    sd_share : float
        SD of the scale as a share of any length.
    at_detector : bool
        The plane is the detector.
    lacks : str
        What would settle an unknown scale.
    cautions : tuple of str
    """

    said: str
    spacing_mm: Pair | None = None
    to_ureter: float | None = None
    ureter_mm: float | None = None
    magnification: float | None = None
    sd_share: float = 0.0
    at_detector: bool = False
    lacks: str = ""
    cautions: tuple[str, ...] = field(default=())

    @property
    def ureter_spacing_mm(self) -> Pair | None:
        """Distance between rows and between columns at the ureter's depth."""
        if self.spacing_mm is None or self.to_ureter is None:
            return None
        rows, columns = self.spacing_mm
        return rows * self.to_ureter, columns * self.to_ureter


GIVE_DEPTHS: Final = (
    "give the distances from the source to the detector and to the ureter, or a scale at the "
    "ureter's depth"
)
GIVE_SCALE: Final = "give a scale in the picture: two places whose true distance is known"


def calibrated(radiograph: Radiograph, setup: Setup) -> Calibration:
    """Settle the scale of a radiograph, a marked scale first, then distances, then the file's own.

    Raises
    ------
    InputError
        Distances that contradict each other or cannot be; a scale outside the picture or shorter
        than two pixels.
    """
    detector, ureter, said = _distances(radiograph, setup)
    if setup.scale is not None:
        found = _by_scale(radiograph, setup.scale, detector, ureter)
    elif radiograph.detector_spacing_mm and detector and ureter:
        found = _by_distances(radiograph, radiograph.detector_spacing_mm, detector, ureter)
    elif radiograph.object_spacing_mm:
        found = _by_others(radiograph, radiograph.object_spacing_mm, ureter)
    elif radiograph.detector_spacing_mm and radiograph.magnification:
        found = _by_estimate(
            radiograph.detector_spacing_mm, radiograph.magnification, detector, ureter
        )
    elif radiograph.detector_spacing_mm:
        found = Calibration(
            "Pixel distance at the detector; magnification not known.",
            radiograph.detector_spacing_mm,
            at_detector=True,
            lacks=GIVE_DEPTHS,
        )
    else:
        found = Calibration("No scale is known.", lacks=GIVE_SCALE)
    return replace(found, cautions=(*said, *found.cautions))


def _distances(
    radiograph: Radiograph, setup: Setup
) -> tuple[float | None, float | None, tuple[str, ...]]:
    """Return source–detector and source–ureter distance, and what contradicts them."""
    said = []
    stated, detector = radiograph.source_detector_mm, setup.source_detector_mm
    if stated and detector and abs(stated / detector - 1) > SAME_DISTANCE:
        said.append(
            f"The file gives {stated:.0f} mm from source to detector, you {detector:.0f} mm; "
            "yours was used."
        )
    detector = detector or stated
    ureter = setup.source_ureter_mm
    if setup.ureter_detector_mm is not None:
        if detector is None:
            raise InputError(
                "the ureter's distance from the detector says nothing without that of the source",
                mend="give the distance from source to detector too",
            )
        other = detector - setup.ureter_detector_mm
        if ureter is not None and abs(other - ureter) > SAME_DISTANCE * detector:
            raise InputError(
                f"the ureter cannot lie both {ureter:.0f} and {other:.0f} mm from the source",
                mend="give one of its two distances",
            )
        ureter = other if ureter is None else ureter
    _require_between(detector, ureter, setup.depth_spread_mm or 0.0)
    return detector, ureter, tuple(said)


def _require_between(detector: float | None, ureter: float | None, spread: float) -> None:
    if ureter is None:
        return
    if ureter - spread <= 0 or (detector is not None and ureter + spread > detector):
        raise InputError(
            "the ureter does not lie between source and detector",
            mend="check the distances and how far its parts lie from its depth",
        )


def _by_scale(
    radiograph: Radiograph, scale: MarkedScale, detector: float | None, ureter: float | None
) -> Calibration:
    _require_scale(radiograph, scale)
    (column_a, row_a), (column_b, row_b) = scale.ends_px
    ratio, said = radiograph.shape_ratio, []
    if not math.isfinite(ratio):
        ratio = 1.0
        said.append("The pixels are taken as square: nothing says otherwise.")
    pixels = math.hypot(column_b - column_a, (row_b - row_a) * ratio)
    width = scale.length_mm / pixels
    spacing = (width * ratio, width)
    at = {"ureter": ureter, "detector": detector}.get(str(scale.depth), scale.depth)
    plane = at if isinstance(at, float) else None
    to_ureter = 1.0 if scale.depth == "ureter" else None
    if to_ureter is None and plane is not None and ureter is not None:
        to_ureter = ureter / plane
    where = {"ureter": "at the ureter's depth", "detector": "on the detector"}.get(
        str(scale.depth),
        "at a depth nobody stated" if plane is None else f"{plane:.0f} mm from the source",
    )
    lacks = "" if to_ureter else "give the depth of the scale and that of the ureter"
    said.append("The scale is taken to lie parallel to the film: a tilted one reads too long.")
    found = Calibration(
        f"Marked scale of {scale.length_mm:g} mm over {pixels:.1f} pixels, {where}.",
        spacing,
        to_ureter,
        ureter,
        detector / ureter if detector and ureter else None,
        math.sqrt(2) * SCALE_CLICK_PX / pixels,
        at_detector=scale.depth == "detector",
        lacks=lacks,
    )
    return replace(found, cautions=(*said, *_against_file(radiograph, found, detector, plane)))


def _against_file(
    radiograph: Radiograph, found: Calibration, detector: float | None, plane: float | None
) -> tuple[str, ...]:
    """Say where the file's own scale contradicts a marked one."""
    own, mine = None, found.spacing_mm
    if radiograph.detector_spacing_mm and detector and plane:
        own = radiograph.detector_spacing_mm[1] * plane / detector
    elif radiograph.object_spacing_mm:
        own, mine = radiograph.object_spacing_mm[1], found.ureter_spacing_mm
    if own is None or mine is None or abs(own / mine[1] - 1) <= DISAGREE:
        return ()
    return (
        (
            f"The marked scale makes a pixel {mine[1]:.4f} mm wide there, the file {own:.4f} mm; "
            "the marked scale was used."
        ),
    )


def _by_distances(
    radiograph: Radiograph, spacing: Pair, detector: float, ureter: float
) -> Calibration:
    magnification = detector / ureter
    others = {"its estimated magnification": radiograph.magnification}
    if radiograph.object_spacing_mm:
        others["its corrected pixel spacing"] = spacing[1] / radiograph.object_spacing_mm[1]
    said = tuple(
        f"The distances magnify by {magnification:.3f}, {name} in the file by {other:.3f}; the "
        "distances were used."
        for name, other in others.items()
        if other and abs(other / magnification - 1) > DISAGREE
    )
    return Calibration(
        f"Pixel distance at the detector, brought back to the ureter by {ureter:.0f} ÷ "
        f"{detector:.0f} mm.",
        spacing,
        ureter / detector,
        ureter,
        magnification,
        DETECTOR_SHARE,
        at_detector=True,
        cautions=said,
    )


def _by_others(radiograph: Radiograph, spacing: Pair, ureter: float | None) -> Calibration:
    words, caution = {
        "FIDUCIAL": (
            "Pixel distance calibrated by others against an object of known size (FIDUCIAL).",
            (
                "The file's scale holds at the depth of the object it was calibrated on, close to "
                "the central ray; that the ureter lies there is taken for granted."
            ),
        ),
        "GEOMETRY": (
            "Pixel distance corrected by others for geometric magnification (GEOMETRY).",
            (
                "The file's scale holds at a depth that it does not state, close to the central "
                "ray; that the ureter lies there is taken for granted."
            ),
        ),
    }.get(
        radiograph.object_kind,
        (
            (
                "Pixel distance that differs from that at the detector: corrected by others, how "
                "is not said."
            ),
            (
                "How and for what depth the file's scale was corrected is not said; that the "
                "ureter lies there is taken for granted."
            ),
        ),
    )
    detector = radiograph.detector_spacing_mm
    return Calibration(
        words,
        spacing,
        1.0,
        ureter,
        detector[1] / spacing[1] if detector else None,
        KIND_SHARES.get(radiograph.object_kind, KIND_SHARES[""]),
        cautions=(caution,),
    )


def _by_estimate(
    spacing: Pair, magnification: float, detector: float | None, ureter: float | None
) -> Calibration:
    if ureter is None and detector is not None:
        ureter = detector / magnification
    return Calibration(
        f"Pixel distance at the detector, divided by the {magnification:.3f} that the file "
        "estimates for its magnification.",
        spacing,
        1 / magnification,
        ureter,
        magnification,
        KIND_SHARES["GEOMETRY"],
        at_detector=True,
        cautions=(
            (
                "The file estimates its magnification for a depth that it does not state; that the "
                "ureter lies there is taken for granted."
            ),
        ),
    )


def _require_scale(radiograph: Radiograph, scale: MarkedScale) -> None:
    ends = np.asarray(scale.ends_px)
    upper = np.asarray(radiograph.shape[::-1]) - 0.5
    if not ((ends >= -0.5) & (ends <= upper)).all():
        raise InputError(
            "an end of the scale lies outside the picture", where="scale", mend="place it again"
        )
    if np.linalg.norm(ends[1] - ends[0]) < 2.0:
        raise InputError(
            "its ends are less than two pixels apart", where="scale", mend="place them apart"
        )
