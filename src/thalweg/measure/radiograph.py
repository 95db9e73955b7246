"""The length of a ureter's shadow on a radiograph, and the length the ureter has at least."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from thalweg.errors import InputError
from thalweg.measure.calibration import Calibration, calibrated
from thalweg.measure.projection import least_length, least_length_anywhere
from thalweg.measure.spline import polyline_length, spline_through
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.measure.calibration import Pair, Setup
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.radiograph import Radiograph

__all__ = ["LEAST", "SHADOW", "Shadow", "measured_shadow", "shadow_findings"]

Floats = NDArray[np.float64]

Z95: Final = 1.959963984540054
CLICK_SD_MM: Final = 1.0
"""SD of a placed point in each direction, mm at the ureter: a fifth to a third of its width. Our
judgement."""

STEP_MM: Final = 1.0
APART_MM: Final = 40.0
"""Points further apart leave the course between them to the curve alone."""

LEAST_APART_PX: Final = 0.5
OVERSHOOT: Final = 1.05
"""A curve longer than its chords by this much bends more than its points tell."""

SHADOW: Final = Method(
    "ureter-length-on-radiograph",
    "Length of the shadow at the ureter's own depth",
    "length = arc length of a cubic spline through the placed points, mm in a plane, × "
    "(source–ureter distance ÷ source–plane distance); interval = length ± 1.96 SD, widened below "
    "by what scattered points add",
    "intravenous urogram or retrograde pyelogram; points placed along the ureter from renal pelvis "
    "to bladder; a scale known at the ureter's depth",
    ("thalweg-engineering", "dicom-ps3-3"),
    (
        (
            "A lower bound: a radiograph shows the ureter's shadow; what runs towards or away from "
            "the film is not counted."
        ),
        (
            "Where the ureter lies nearer the source than stated, or runs obliquely far from the "
            "middle of the beam, its shadow can also be a little too long; the least length allows "
            "for both."
        ),
        "The calibre is not measured on a radiograph.",
    ),
)
LEAST: Final = Method(
    "ureter-least-length-on-radiograph",
    "Length that the ureter has at least",
    "least = Σ min |s·a − t·b| over successive rays a, b through the placed points, s and t "
    "between the least and the greatest distance of any part from the source, mm; less 1.96 SD of "
    "points and scale",
    "as for the shadow's length, with the distances from source to ureter and how far its parts "
    "lie from that depth",
    ("thalweg-engineering",),
    ("It holds only as far as the distances that were stated do.",),
)


@dataclass(frozen=True, eq=False)
class Shadow:
    """A ureter's shadow, measured.

    Parameters
    ----------
    calibration : Calibration
    placed_px : ndarray, shape (k, 2)
        Column and row of each placed point.
    points_px : ndarray, shape (n, 2)
        The smooth curve through them; about 1 mm apart at the ureter, where that is known.
    station_mm : ndarray, shape (n,)
        Length along it at the ureter's depth; NaN where the scale is not known.
    length_mm : float or None
        Of the shadow at the ureter's depth.
    length_sd_mm : float or None
    interval_mm : (low, high) or None
        95 %.
    at_least_mm : float or None
        What the ureter cannot be shorter than; None where depth or its spread are not known.
    detector_length_mm : float or None
        Of the shadow on the detector; says nothing of the ureter while magnification is unknown.
    cautions : tuple of str
    """

    calibration: Calibration
    placed_px: Floats
    points_px: Floats
    station_mm: Floats
    length_mm: float | None = None
    length_sd_mm: float | None = None
    interval_mm: tuple[float, float] | None = None
    at_least_mm: float | None = None
    detector_length_mm: float | None = None
    cautions: tuple[str, ...] = field(default=())


def measured_shadow(radiograph: Radiograph, points_px: list[Pair], setup: Setup) -> Shadow:
    """Measure a shadow along placed points.

    Parameters
    ----------
    radiograph : Radiograph
    points_px : list of (column, row)
        At least two, in order from renal pelvis to bladder.
    setup : Setup
        What is stated of scale and distances.

    Raises
    ------
    InputError
        Points outside the picture, too few or twice the same; distances that cannot be.

    Notes
    -----
    Doubt by the delta method to second order: with first and second derivatives g and h of the
    length by each coordinate and the scatter s of a placed point, ``SD² = Σ (g s)² + ½ Σ (h s²)²``,
    and scattered points lengthen the curve by ``½ Σ h s²`` on average. The scale's and the depth's
    SD (a spread is taken as a rectangle, ÷ √3) are shares of the length, added as squares.
    """
    placed = _checked(radiograph, points_px)
    scale = calibrated(radiograph, setup)
    spacing = scale.ureter_spacing_mm
    on_detector = None
    if scale.at_detector and scale.spacing_mm is not None:
        on_detector = _length(placed * scale.spacing_mm[::-1])
    cautions = [*radiograph.cautions, *scale.cautions]
    if spacing is None:
        curve, run = spline_through(placed)
        points = np.asarray(curve(np.linspace(0.0, run[-1], 200)))
        cautions.append(
            "The length is not known: magnification makes a shadow too long, foreshortening too "
            f"short, and nothing says which prevails; {scale.lacks}."
        )
        nothing = np.full(len(points), np.nan)
        return Shadow(
            scale,
            placed,
            points,
            nothing,
            detector_length_mm=on_detector,
            cautions=tuple(dict.fromkeys(cautions)),
        )
    width = np.asarray(spacing[::-1])
    flat = placed * width
    curve, run = spline_through(flat)
    length = float(run[-1])
    station = np.linspace(0.0, length, max(round(length / STEP_MM), 4) + 1)
    clicks, added = _click_doubt(flat, np.hypot(CLICK_SD_MM, width / np.sqrt(12)))
    spread = setup.depth_spread_mm
    share = scale.sd_share
    if spread is not None and scale.ureter_mm is not None:
        share = float(np.hypot(share, spread / np.sqrt(3) / scale.ureter_mm))
    sd = float(np.hypot(clicks, share * length))
    least = None
    if scale.ureter_mm is not None and spread is not None:
        least = _least(radiograph, flat, width, scale.ureter_mm, setup, spread)
        doubt = float(np.hypot(clicks, scale.sd_share * least))
        least = max(least - added - Z95 * doubt, 0.0)
    cautions += _depth_cautions(scale, spread, length)
    cautions += _course_cautions(flat, length)
    return Shadow(
        scale,
        placed,
        np.asarray(curve(station)) / width,
        station,
        length,
        sd,
        (max(length - added - Z95 * sd, 0.0), length + Z95 * sd),
        least,
        on_detector,
        tuple(dict.fromkeys(cautions)),
    )


def _checked(radiograph: Radiograph, points_px: list[Pair]) -> Floats:
    points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    if len(points) < 2:
        raise InputError(
            "a course on a radiograph needs at least two points",
            mend="place points along the ureter from the renal pelvis to the bladder",
        )
    upper = np.asarray(radiograph.shape[::-1]) - 0.5
    for number, point in enumerate(points, 1):
        name = f"point {number}"
        if not ((point >= -0.5) & (point <= upper)).all():  # NaN lies outside too
            rows, columns = radiograph.shape
            raise InputError(
                f"it lies outside the picture of {columns} columns and {rows} rows",
                where=name,
                mend="give column, row, counted from 0 at the upper left",
            )
        if number > 1 and np.linalg.norm(point - points[number - 2]) < LEAST_APART_PX:
            raise InputError("it is the one before again", where=name, mend="leave it out")
    return points


def _length(points: Floats) -> float:
    return float(spline_through(points)[1][-1])


def _click_doubt(flat: Floats, scatter_mm: Floats) -> tuple[float, float]:
    """Return SD and mean excess of the length that scattered points make."""
    middle = _length(flat)
    variance = excess = 0.0
    for index in range(len(flat)):
        for axis in range(2):
            step = np.zeros_like(flat)
            step[index, axis] = scatter_mm[axis]
            more, less = _length(flat + step), _length(flat - step)
            curved = more + less - 2 * middle
            variance += ((more - less) / 2) ** 2 + curved**2 / 2
            excess += curved / 2
    return float(np.sqrt(variance)), max(float(excess), 0.0)


def _least(
    radiograph: Radiograph,
    flat: Floats,
    width: Floats,
    ureter_mm: float,
    setup: Setup,
    spread: float,
) -> float:
    near, far = ureter_mm - spread, ureter_mm + spread
    if setup.central_ray_px is not None:
        foot = np.asarray(setup.central_ray_px) * width
        return least_length(flat - foot, ureter_mm, near, far)
    rows, columns = radiograph.shape
    corners = np.array([[x, y] for x in (-0.5, columns - 0.5) for y in (-0.5, rows - 0.5)]) * width
    return least_length_anywhere(flat, corners, ureter_mm, near, far)


def _depth_cautions(scale: Calibration, spread: float | None, length: float) -> list[str]:
    if scale.ureter_mm is None:
        return [
            (
                "No length that the ureter has at least can be proven: the distance from the "
                "source to the ureter is not known."
            )
        ]
    changes = 10.0 / scale.ureter_mm * length
    told = f"10 mm of depth change the length by {changes:.1f} mm."
    if spread is None:
        return [
            (
                "How far parts of the ureter lie before or behind the stated depth is not known: "
                f"no length that it has at least can be proven; {told}"
            )
        ]
    return [f"The ureter is taken to lie within {spread:.0f} mm of the stated depth; {told}"]


def _course_cautions(flat: Floats, length: float) -> list[str]:
    chords = polyline_length(flat)
    widest = float(np.diff(chords).max())
    said = []
    if widest > APART_MM:
        said.append(
            f"Two points lie {widest:.0f} mm apart; between them the curve is only smooth: place "
            "more."
        )
    if length > OVERSHOOT * chords[-1]:
        said.append(
            "The curve bends much more than its points tell: place more points where it winds."
        )
    return said


def shadow_findings(
    shadow: Shadow, *, at: Moment, side: str = "", facts: tuple[Fact, ...] = ()
) -> tuple[Finding, ...]:
    """Return what a shadow says: its length, and the length that the ureter has at least.

    Parameters
    ----------
    shadow : Shadow
    at : date or aware datetime
        When the radiograph was taken.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    facts : tuple of Fact
    """
    ending = f"-{side}" if side else ""
    length = Finding(
        f"{SHADOW.key}{ending}",
        f"{side} ureter on a radiograph, length of its shadow, at least".strip().capitalize(),
        shadow.length_mm,
        "mm",
        at,
        SHADOW,
        facts=facts,
        interval=shadow.interval_mm,
        cautions=shadow.cautions,
        digits=0,
    )
    if shadow.at_least_mm is None:
        return (length,)
    least = Finding(
        f"{LEAST.key}{ending}",
        f"{side} ureter on a radiograph, not shorter than".strip().capitalize(),
        shadow.at_least_mm,
        "mm",
        at,
        LEAST,
        facts=facts,
        findings=(length,),
        digits=0,
    )
    return length, least
