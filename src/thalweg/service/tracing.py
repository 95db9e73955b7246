"""Trace one ureter on a folder of images."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.dicom import read_volume
from thalweg.measure.findings import course_findings
from thalweg.measure.pelvis import RenalPelvis, renal_pelvis
from thalweg.measure.pelvis_finding import pelvis_finding
from thalweg.measure.trace import course_from_points, trace_ureter
from thalweg.progress import silent
from thalweg.service.picturing import checked_picture, write_course, write_refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from thalweg.measure.course import Course
    from thalweg.progress import Progress
    from thalweg.record.fact import Moment
    from thalweg.record.finding import Finding
    from thalweg.record.image import ImageVolume

__all__ = [
    "TracedFolder",
    "acquired_on",
    "image_cautions",
    "pelvis_beside",
    "placed_on_folder",
    "trace_folder",
]

Point = tuple[float, float, float]


def acquired_on(text: str, otherwise: Moment) -> tuple[Moment, tuple[str, ...]]:
    """Return when images were acquired, and a caution where the files do not say.

    Parameters
    ----------
    text : str
        ISO 8601 date or date and time as the series gives it, or empty.
    otherwise : date or aware datetime
        What findings are dated where the files say nothing.
    """
    if not text:
        return otherwise, ("The images do not say when they were acquired.",)
    if len(text) > len("2026-01-31"):
        moment = datetime.fromisoformat(text)
        # A time without a zone could be anywhere on Earth: only its day is kept.
        return (moment if moment.tzinfo else moment.date()), ()
    return date.fromisoformat(text), ()


def image_cautions(volume: ImageVolume) -> tuple[str, ...]:
    """Return what any measurement on an image must say, an artificial one first of all."""
    artificial = "This image is a phantom: it was computed and shows no person."
    said = (artificial, *volume.cautions) if volume.phantom else volume.cautions
    return tuple(dict.fromkeys(said))


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    """Return numbers for JSON: what is not known is null, not NaN."""
    return [float(value) if np.isfinite(value) else None for value in values]


@dataclass(frozen=True)
class TracedFolder:
    """One traced ureter and what it says."""

    course: Course
    findings: tuple[Finding, ...]
    phantom: bool
    pelvis: RenalPelvis

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        rows = [f"{finding}" for finding in self.findings]
        rows += [f"! {caution}" for caution in self.cautions]
        return rows

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution of every finding, each once."""
        return tuple(dict.fromkeys(c for f in self.findings for c in f.all_cautions))

    def to_json(self) -> dict[str, Any]:
        """Return the plain numbers in millimetres, and the full findings."""
        course = self.course
        return {
            "by_hand": course.by_hand,
            "length_mm": course.length_mm,
            "length_sd_mm": course.length_sd_mm,
            "chord_mm": course.chord_mm,
            "chord_sd_mm": course.chord_sd_mm,
            "tortuosity": course.tortuosity,
            "tortuosity_sd": course.tortuosity_sd,
            "points_mm": course.points_mm.tolist(),
            "station_mm": course.station_mm.tolist(),
            "calibre_mm": _numbers(course.calibre_mm),
            "calibre_sd_mm": _numbers(course.calibre_sd_mm),
            "median_calibre_sd_mm": course.median_calibre_sd_mm,
            "calibre_less_than_mm": _numbers(course.calibre_upper_mm),
            "narrowings": [
                {
                    "from_mm": one.from_mm,
                    "to_mm": one.to_mm,
                    "least_calibre_mm": one.least_calibre_mm,
                    "reference_calibre_mm": one.reference_calibre_mm,
                    "less_than": one.less_than,
                    "from_sd_mm": one.from_sd_mm,
                    "to_sd_mm": one.to_sd_mm,
                    "least_calibre_sd_mm": one.least_sd_mm,
                    "reference_calibre_sd_mm": one.reference_sd_mm,
                }
                for one in course.narrowings
            ],
            "stones": [
                {
                    "from_mm": one.from_mm,
                    "to_mm": one.to_mm,
                    "width_mm": one.width_mm if isfinite(one.width_mm) else None,
                    "core_hu": one.core_hu,
                }
                for one in course.stones
            ],
            "stents": [
                {
                    "from_mm": one.from_mm,
                    "to_mm": one.to_mm,
                    "width_mm": one.width_mm,
                    "core_hu": one.core_hu,
                    "certain": one.certain,
                }
                for one in course.stents
            ],
            "gaps": [
                {"from_mm": one.from_mm, "to_mm": one.to_mm, "end_sd_mm": one.end_sd_mm}
                for one in course.gaps
            ],
            "dilatations": [
                {
                    "from_mm": one.from_mm,
                    "to_mm": one.to_mm,
                    "greatest_calibre_mm": one.greatest_calibre_mm,
                    "more_than": one.more_than,
                    "greatest_calibre_sd_mm": one.greatest_sd_mm,
                }
                for one in course.dilatations
            ],
            "least_bend_radius_mm": course.least_bend_radius_mm,
            "least_bend_radius_interval_mm": list(course.least_bend_interval_mm),
            "pelvis_ap_diameter_mm": self.pelvis.ap_mm,
            "pelvis_ap_diameter_sd_mm": self.pelvis.ap_sd_mm,
            "phantom": self.phantom,
            "cautions": list(self.cautions),
            "findings": [finding.to_json(cite) for finding in self.findings],
        }


def trace_folder(
    folder: Path,
    start_mm: Point,
    end_mm: Point,
    via_mm: Sequence[Point] = (),
    *,
    side: str = "",
    picture: Path | None = None,
    progress: Progress = silent,
) -> TracedFolder:
    """Read a series and trace one ureter on it.

    Parameters
    ----------
    folder : Path
        Holds one series of CT or MR in DICOM.
    start_mm, end_mm : tuple of float
        LPS millimetres in the renal pelvis and at the bladder.
    via_mm : sequence of tuple
        Points it passes, in order.
    side : str
        Whose ureter it is, ``"left"`` or ``"right"``; empty: nobody said.
    picture : Path, optional
        File for a picture (.svg, .png or .pdf) of the course, or of what was wrong with the
        points where they are refused.
    progress : Progress

    Raises
    ------
    InputError
        If the series or the points cannot be used, or the picture cannot be written.
    """
    if picture is not None:
        checked_picture(picture)
    volume = read_volume(folder, progress=progress)

    def follow() -> TracedFolder:
        return traced_on(volume, start_mm, end_mm, via_mm, side=side, progress=progress)

    return _pictured(picture, volume, follow)


def traced_on(
    volume: ImageVolume,
    start_mm: Point,
    end_mm: Point,
    via_mm: Sequence[Point] = (),
    *,
    side: str = "",
    progress: Progress = silent,
) -> TracedFolder:
    """Trace one ureter on a volume already read; otherwise as `trace_folder`."""
    course = trace_ureter(volume, start_mm, end_mm, list(via_mm), side=side, progress=progress)
    return _told(course, volume, side)


def placed_on_folder(
    folder: Path | None,
    points_mm: Sequence[Point],
    *,
    side: str = "",
    picture: Path | None = None,
    progress: Progress = silent,
) -> TracedFolder:
    """Measure along a course placed by hand; only what stands beside it is read from the series.

    Parameters
    ----------
    folder : Path or None
        Holds one series in DICOM; None: the length alone is measured.
    points_mm : sequence of tuple
        LPS millimetres from the renal pelvis to the bladder, at least two.
    side : str
        As in `trace_folder`.
    picture : Path, optional
        As in `trace_folder`; it needs a series.
    progress : Progress

    Raises
    ------
    InputError
        If the series or the points cannot be used, or the picture cannot be drawn or written.
    """
    if picture is not None and folder is None:
        raise InputError(
            "a picture needs images", where="--picture", mend="name the folder of the series too"
        )
    if picture is not None:
        checked_picture(picture)
    volume = None if folder is None else read_volume(folder, progress=progress)

    def follow() -> TracedFolder:
        return _told(course_from_points(points_mm, volume, side=side), volume, side)

    return _pictured(picture, volume, follow)


def _pictured(
    path: Path | None, volume: ImageVolume | None, follow: Callable[[], TracedFolder]
) -> TracedFolder:
    """Follow a ureter, and write the picture of it, or of why that was refused."""
    if path is None or volume is None:
        return follow()
    try:
        traced = follow()
    except InputError as refused:
        raise write_refusal(path, volume, refused) from refused
    write_course(path, volume, traced.course)
    return traced


def _told(course: Course, volume: ImageVolume | None, side: str) -> TracedFolder:
    today = date.today()  # noqa: DTZ011 - only if undated
    acquired, doubts = ("", ()) if volume is None else (volume.acquired, image_cautions(volume))
    at, undated = acquired_on(acquired, today)
    if volume is None:
        undated = ("No images were given: the finding is dated today, not when they were taken.",)
    pelvis = pelvis_beside(course, volume)
    told = course_findings(course, at=at, side=side)
    findings = (*told, pelvis_finding(pelvis, at=at, side=side))
    return TracedFolder(
        course,
        tuple(finding.with_cautions((*doubts, *undated)) for finding in findings),
        volume is not None and volume.phantom,
        pelvis,
    )


def pelvis_beside(course: Course, volume: ImageVolume | None) -> RenalPelvis:
    """Return the renal pelvis at a course's start, or why it is not known."""
    if volume is None:
        return RenalPelvis(None, None, problem="no image was measured")
    if volume.modality != "CT":
        return RenalPelvis(None, None, problem="it is measured on CT alone")
    return renal_pelvis(volume, course.points_mm)
