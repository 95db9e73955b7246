"""What a projection image says of its scale (PS3.3 sections 10.7, C.8.7.6 and C.8.11.5).

Imager Pixel Spacing and Nominal Scanned Pixel Spacing hold at the detector or on the film. Pixel
Spacing is the same where the image was not corrected; where it differs, it was corrected for a
magnification or calibrated on an object, and then holds somewhere in the person. Where neither of
the others nor a Calibration Type is present, it cannot be told which (section 10.7.1.1).

Distance Source to Patient is not used: it is the distance to the support beside the person or to
the centre of the field of view, never to the ureter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from thalweg.errors import ImageError
from thalweg.exchange.dicom.headers import text

if TYPE_CHECKING:
    from pydicom import Dataset

__all__ = ["FileScale", "scale_of"]

Pair = tuple[float, float]

SAME: Final = 1e-3
"""Two spacings that differ by less, as a share, are one written twice."""

DISAGREE: Final = 0.02
"""Two statements of one magnification that differ by more are said to."""

SLANT_DEGREES: Final = 0.5


@dataclass(frozen=True)
class FileScale:
    """What a file says of scale and distances; mm, as `thalweg.record.radiograph.Radiograph`."""

    detector_spacing_mm: Pair | None = None
    object_spacing_mm: Pair | None = None
    object_kind: str = ""
    magnification: float | None = None
    source_detector_mm: float | None = None
    shape_ratio: float = math.nan
    said: str = ""
    cautions: tuple[str, ...] = field(default=())


def scale_of(header: Dataset) -> FileScale:
    """Read a file's statements of scale, and say where they contradict each other.

    Raises
    ------
    ImageError
        A spacing or distance that is no length.
    """
    cautions: list[str] = []
    detector = _pair(header, "ImagerPixelSpacing", "Imager Pixel Spacing")
    scanned = _pair(header, "NominalScannedPixelSpacing", "Nominal Scanned Pixel Spacing")
    if detector and scanned and not _alike(detector, scanned):
        cautions.append(
            "Imager Pixel Spacing and Nominal Scanned Pixel Spacing differ; the first was taken."
        )
    detector = detector or scanned
    pixel = _pair(header, "PixelSpacing", "Pixel Spacing")
    corrected, kind, told = _corrected(header, pixel, detector)
    cautions += told
    estimate = _positive(header, "EstimatedRadiographicMagnificationFactor")
    if estimate is not None and estimate < 1:
        cautions.append("The file estimates a magnification below 1, which cannot be; left out.")
        estimate = None
    if estimate and detector and corrected:
        own = detector[1] / corrected[1]
        if abs(own / estimate - 1) > DISAGREE:
            cautions.append(
                f"The file's spacings magnify by {own:.3f}, its estimated factor by "
                f"{estimate:.3f}; which is right is not known."
            )
    cautions += _slanted(header)
    known = pixel or detector
    return FileScale(
        detector_spacing_mm=detector,
        object_spacing_mm=corrected,
        object_kind=kind,
        magnification=estimate,
        source_detector_mm=_positive(header, "DistanceSourceToDetector"),
        shape_ratio=known[0] / known[1] if known else _aspect(header),
        said=_words(header, pixel, detector, estimate),
        cautions=tuple(cautions),
    )


def _corrected(
    header: Dataset, pixel: Pair | None, detector: Pair | None
) -> tuple[Pair | None, str, list[str]]:
    """Return Pixel Spacing where it holds in the person, of what kind, and what is amiss."""
    kind = text(header, "PixelSpacingCalibrationType")
    amiss = _unusable(pixel, detector, kind)
    if amiss:
        return None, "", [amiss]
    if pixel is None or (detector is not None and _alike(pixel, detector)):
        return None, "", []
    return pixel, kind, []


def _unusable(pixel: Pair | None, detector: Pair | None, kind: str) -> str:
    """Return why Pixel Spacing cannot be used as it is stated, or nothing."""
    if pixel is None:
        return f"The file says {kind} but gives no Pixel Spacing." if kind else ""
    if kind not in {"", "GEOMETRY", "FIDUCIAL"}:
        return f"The file calibrates its Pixel Spacing by {kind!r}, which is not known."
    if detector is None:
        lone = (
            "The file gives Pixel Spacing alone: whether it holds at the detector or in the person "
            "cannot be told, and it was not used."
        )
        return "" if kind else lone
    if _alike(pixel, detector):
        contradiction = (
            f"The file calls its Pixel Spacing corrected ({kind}) yet gives that of the detector; "
            "it was taken as not corrected."
        )
        return contradiction if kind else ""
    if pixel[1] > detector[1]:
        return (
            f"Pixel Spacing ({pixel[1]:g} mm) is greater than at the detector ({detector[1]:g} "
            "mm), as if the shadow were smaller than what threw it; it was not used."
        )
    return ""


def _slanted(header: Dataset) -> list[str]:
    """Say where the beam does not meet the detector squarely."""
    for keyword in ("ColumnAngulation", "DetectorPrimaryAngle", "DetectorSecondaryAngle"):
        value = _number(header, keyword)
        if value is not None and abs(value) > SLANT_DEGREES:
            return [
                (
                    f"The beam slants to the detector by {abs(value):.0f}°: distances from the "
                    "source must be given square to the detector."
                )
            ]
    return []


def _words(
    header: Dataset, pixel: Pair | None, detector: Pair | None, estimate: float | None
) -> str:
    parts = [
        f"{name} {value[0]:g} × {value[1]:g} mm"
        for name, value in (("detector", detector), ("Pixel Spacing", pixel))
        if value
    ]
    kind = text(header, "PixelSpacingCalibrationType")
    how = text(header, "PixelSpacingCalibrationDescription")
    parts += [f"calibration {kind}{f' ({how})' if how else ''}"] if kind else []
    parts += [f"estimated magnification {estimate:g}"] if estimate else []
    return f"The file: {', '.join(parts)}." if parts else "The file states no scale."


def _alike(one: Pair, other: Pair) -> bool:
    return all(abs(a / b - 1) <= SAME for a, b in zip(one, other, strict=True))


def _pair(header: Dataset, keyword: str, name: str) -> Pair | None:
    value = header.get(keyword)
    if value is None or value == "":
        return None
    numbers = [float(item) for item in ([value] if isinstance(value, (str, float)) else value)]
    if len(numbers) != 2 or not all(math.isfinite(n) and n > 0 for n in numbers):
        raise ImageError(f"has an unusable {name}", mend="export it again")
    return numbers[0], numbers[1]


def _number(header: Dataset, keyword: str) -> float | None:
    value = header.get(keyword)
    if value is None or value == "":
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def _positive(header: Dataset, keyword: str) -> float | None:
    """Return a distance or factor; an unset one is commonly written as 0 (common practice)."""
    number = _number(header, keyword)
    return number if number is not None and number > 0 else None


def _aspect(header: Dataset) -> float:
    """Return Pixel Aspect Ratio, vertical over horizontal (PS3.3 C.7.6.3.1.7); NaN if absent."""
    value = header.get("PixelAspectRatio")
    try:
        vertical, horizontal = (float(item) for item in value or ())
    except (TypeError, ValueError):
        return math.nan
    return vertical / horizontal if horizontal > 0 and vertical > 0 else math.nan
