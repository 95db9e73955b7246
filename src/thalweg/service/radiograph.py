"""Measure a ureter's shadow on one radiograph, DICOM or picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.picture import PICTURE_ENDINGS, read_picture
from thalweg.measure.radiograph import measured_shadow, shadow_findings
from thalweg.record.units import convert, parse_quantity
from thalweg.service.inbox import is_dicom
from thalweg.service.tracing import acquired_on

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.exchange.dicom import ReadRadiograph
    from thalweg.measure.calibration import Setup
    from thalweg.measure.radiograph import Shadow
    from thalweg.record.finding import Finding
    from thalweg.record.radiograph import Radiograph

__all__ = ["MeasuredRadiograph", "length_mm", "measure_radiograph", "read_one"]

Pair = tuple[float, float]


def length_mm(text: str, where: str) -> float:
    """Return a length that a person typed with its unit, such as ``110cm``, in mm.

    Raises
    ------
    InputError
        No number, no unit, not a length, or not above 0.
    """
    try:
        number, unit = parse_quantity(text)
        value = convert(float(number), unit, "mm")
    except InputError as error:
        raise InputError(error.what, where=where, mend="write it like 110cm or 1100mm") from error
    if value <= 0 or number == Decimal(0):
        raise InputError(f"{text!r} is not above 0", where=where, mend="give a length")
    return value


def read_one(path: Path, *, frame: int | None = None, taken: date | None = None) -> ReadRadiograph:
    """Read a radiograph, whichever kind of file it is.

    Parameters
    ----------
    path : Path
        DICOM, PNG or JPEG.
    frame : int, optional
        Which one of a DICOM file of several, from 1.
    taken : date, optional
        Day of the radiograph; where a DICOM file gives another, both are said and the file's is
        kept.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    from thalweg.exchange.dicom import ReadRadiograph, read_radiograph  # noqa: PLC0415 - slow

    if path.is_dir():
        raise InputError("is a folder", where=str(path), mend="name one radiograph in it")
    given = "" if taken is None else taken.isoformat()
    if not is_dicom(path) and (path.suffix.lower() in PICTURE_ENDINGS or path.exists()):
        if frame is not None:
            raise InputError("a picture has no frames", where=str(path), mend="leave --frame out")
        return ReadRadiograph(read_picture(path, acquired=given))
    found = read_radiograph(path, frame=frame)
    own = found.radiograph.acquired
    if not given or own[:10] == given:
        return found
    caution = f"The file dates the radiograph {own[:10]}, you {given}; the file's date was kept."
    image = replace(
        found.radiograph,
        acquired=own or given,
        cautions=(*found.radiograph.cautions, *([caution] if own else [])),
    )
    return replace(found, radiograph=image)


@dataclass(frozen=True, eq=False)
class MeasuredRadiograph:
    """A radiograph, the shadow measured on it, and what it says."""

    radiograph: Radiograph
    shadow: Shadow
    findings: tuple[Finding, ...]
    side: str = ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution of every finding, each once."""
        return tuple(dict.fromkeys(c for f in self.findings for c in f.all_cautions))

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        when = self.radiograph.acquired[:10] or "date not known"
        rows = [
            f"Radiograph of {when}. {self.radiograph.calibration}",
            f"Scale: {self.shadow.calibration.said}",
        ]
        rows += [f"{finding}" for finding in self.findings]
        return [*rows, *(f"! {caution}" for caution in self.cautions)]

    def to_json(self) -> dict[str, Any]:
        """Return the plain numbers, and the full findings."""
        shadow = self.shadow
        known = shadow.length_mm is not None
        return {
            "length_mm": shadow.length_mm,
            "lower_bound": True,
            "length_sd_mm": shadow.length_sd_mm,
            "interval_mm": list(shadow.interval_mm) if shadow.interval_mm else None,
            "at_least_mm": shadow.at_least_mm,
            "detector_length_mm": shadow.detector_length_mm,
            "magnification": shadow.calibration.magnification,
            "source_ureter_mm": shadow.calibration.ureter_mm,
            "placed_px": shadow.placed_px.tolist(),
            "points_px": shadow.points_px.tolist(),
            "station_mm": shadow.station_mm.tolist() if known else None,
            "calibration": shadow.calibration.said,
            "file_calibration": self.radiograph.calibration,
            "side": self.side or None,
            "taken": self.radiograph.acquired[:10] or None,
            "modality": self.radiograph.modality,
            "phantom": self.radiograph.phantom,
            "cautions": list(self.cautions),
            "findings": [finding.to_json(cite) for finding in self.findings],
        }


def measure_radiograph(
    radiograph: Radiograph, points_px: list[Pair], setup: Setup, *, side: str = ""
) -> MeasuredRadiograph:
    """Measure a shadow and say it as findings.

    Parameters
    ----------
    radiograph : Radiograph
    points_px : list of (column, row)
        From renal pelvis to bladder.
    setup : Setup
    side : str
        ``"left"``, ``"right"`` or empty.

    Raises
    ------
    InputError
        If points or distances cannot be used.
    """
    shadow = measured_shadow(radiograph, points_px, setup)
    at, _ = acquired_on(radiograph.acquired, date.today())  # noqa: DTZ011 - only if undated
    said = []
    if radiograph.phantom:
        said.append("This image is a phantom: it was computed and shows no person.")
    if not radiograph.acquired:
        said.append("The date of the radiograph is not known: the findings carry today's.")
    findings = tuple(each.with_cautions(said) for each in shadow_findings(shadow, at=at, side=side))
    return MeasuredRadiograph(radiograph, shadow, findings, side)
