"""What one DICOM file says of the series it belongs to and of the planes it holds.

Reads classic CT and MR images (one plane a file) and the enhanced multi-frame ones, whose
per-plane attributes stand in functional groups (PS3.3 C.7.6.16). Nothing is assumed in place of
an attribute that the measurement needs: it is there and sound, or the file is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from pydicom.uid import (
    EnhancedCTImageStorage,
    EnhancedMRImageStorage,
    LegacyConvertedEnhancedCTImageStorage,
    LegacyConvertedEnhancedMRImageStorage,
)

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.scan import DAMAGED, OpenedFile, sop_class

if TYPE_CHECKING:
    from pathlib import Path

    from pydicom import Dataset
    from pydicom.uid import UID

__all__ = [
    "PatientKeys",
    "Plane",
    "PlaneFile",
    "is_localizer",
    "is_phantom",
    "patient_of",
    "read_planes",
    "require_one_grey_channel",
    "term",
    "text",
]

MULTI_FRAME: Final = frozenset(
    {
        EnhancedCTImageStorage,
        EnhancedMRImageStorage,
        LegacyConvertedEnhancedCTImageStorage,
        LegacyConvertedEnhancedMRImageStorage,
    }
)
GROUP_OF: Final = {
    "ImagePositionPatient": "PlanePositionSequence",
    "ImageOrientationPatient": "PlaneOrientationSequence",
    "PixelSpacing": "PixelMeasuresSequence",
    "SliceThickness": "PixelMeasuresSequence",
    "RescaleSlope": "PixelValueTransformationSequence",
    "RescaleIntercept": "PixelValueTransformationSequence",
    "RescaleType": "PixelValueTransformationSequence",
}
"""Functional group that holds each attribute (PS3.3 C.7.6.16.2 and C.8.15.3.10)."""

DIRECTION_TOLERANCE: Final = 1e-3
"""Most that a direction's length may differ from 1, and the cosine between rows and columns from
0: room for cosines written with three decimals, 0.06° off square."""

TERM: Final = re.compile(r"[A-Za-z0-9 _.-]{1,16}", re.ASCII)
"""What a coded term may look like (PS3.5 section 6.2: VR CS, at most 16 characters)."""

PHANTOM_KEYWORDS: Final = ("QualityControlImage", "QualityControlSubject")
"""YES marks a phantom, an artificial image among them (PS3.3 C.7.6.1 and C.7.1.1)."""

Lookup = Callable[[str], Any]


@dataclass(frozen=True, slots=True)
class PatientKeys:
    """Who the file says was imaged; kept for matching, never shown in an error or a log."""

    patient_id: str = field(default="", repr=False)
    birth_date: str = field(default="", repr=False)
    sex: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True)
class Plane:
    """One image plane.

    Parameters
    ----------
    path : Path
        File that holds it.
    frame : int or None
        Index in a multi-frame file, from 0; None in a file of one plane.
    position_mm : tuple of 3 float
        Centre of the first voxel, LPS.
    directions : tuple of 6 float
        Unit vectors along a row (rising column index), then along a column (rising row index).
    spacing_mm : tuple of 2 float
        Between rows, then between columns.
    rows, columns : int
        Matrix.
    slope, intercept : float
        Value = slope × stored + intercept.
    thickness_mm : float
        Nominal slice thickness, or NaN where not stated.
    padding : int or None
        Stored value of voxels outside the reconstruction.
    transfer_syntax : UID
        How the file is encoded.
    """

    path: Path
    frame: int | None
    position_mm: tuple[float, ...]
    directions: tuple[float, ...]
    spacing_mm: tuple[float, ...]
    rows: int
    columns: int
    slope: float
    intercept: float
    thickness_mm: float
    padding: int | None
    transfer_syntax: UID


@dataclass(frozen=True, slots=True)
class PlaneFile:
    """One file's planes and what it says of series and person."""

    planes: tuple[Plane, ...]
    patient: PatientKeys
    frame_of_reference_uid: str
    rescale_type: str
    lossy: bool
    phantom: bool


def text(header: Dataset, keyword: str) -> str:
    """Return an attribute as one line of printable text, empty where it is absent or empty."""
    value = header.get(keyword)
    line = "" if value is None else " ".join(str(value).split())
    return "".join(filter(str.isprintable, line))


def term(header: Dataset, keyword: str) -> str:
    """Return a coded term of the standard (VR CS, or SH of a code), empty where it is none.

    For sentences: in a damaged file the attribute may have swallowed those that follow, and with
    them the person's name.
    """
    value = text(header, keyword)
    return value if TERM.fullmatch(value) else ""


def is_localizer(header: Dataset) -> bool:
    """Say whether Image Type calls this a localizer (PS3.3 C.8.2.1.1.1, C.8.3.1.1.1)."""
    kinds = header.get("ImageType") or ()
    return "LOCALIZER" in ([kinds] if isinstance(kinds, str) else list(kinds))


def is_phantom(header: Dataset) -> bool:
    """Say whether the file calls itself a quality-control phantom."""
    return any(text(header, keyword) == "YES" for keyword in PHANTOM_KEYWORDS)


def patient_of(header: Dataset) -> PatientKeys:
    """Return whom the file names."""
    return PatientKeys(
        text(header, "PatientID"), text(header, "PatientBirthDate"), text(header, "PatientSex")
    )


def read_planes(opened: OpenedFile) -> PlaneFile:
    """Read a file's planes.

    Parameters
    ----------
    opened : OpenedFile
        A CT or MR object with pixels.

    Returns
    -------
    PlaneFile
        At least one plane.

    Raises
    ------
    ImageError
        An attribute needed for measuring is missing, empty or contradicts itself.
    """
    try:
        return _plane_file(opened)
    except InputError as error:
        raise error.at(str(opened.path)) from error
    except (OSError, *DAMAGED) as error:
        raise ImageError(
            "has a damaged header", where=str(opened.path), mend="copy or export it again"
        ) from error


def _plane_file(opened: OpenedFile) -> PlaneFile:
    header = opened.header
    require_one_grey_channel(header)
    if sop_class(header) in MULTI_FRAME:
        frames = _frames(header)
        planes = tuple(_plane(opened, look, index) for index, look in enumerate(frames))
        rescale_type = str(frames[0]("RescaleType") or "").strip()
    elif int(header.get("NumberOfFrames") or 1) > 1:
        raise ImageError(
            "holds several frames without saying where each one lies",
            mend="export the series as single CT or MR slices or as an enhanced image",
        )
    else:
        planes = (_plane(opened, header.get, None),)
        rescale_type = text(header, "RescaleType")
    return PlaneFile(
        planes=planes,
        patient=patient_of(header),
        frame_of_reference_uid=text(header, "FrameOfReferenceUID"),
        rescale_type=rescale_type,
        lossy=text(header, "LossyImageCompression") == "01",
        phantom=is_phantom(header),
    )


def require_one_grey_channel(header: Dataset) -> None:
    """Refuse colour and bit layouts that the current standard forbids (PS3.5 section 8.1.1)."""
    kind = term(header, "PhotometricInterpretation")
    if int(header.get("SamplesPerPixel") or 0) != 1 or not kind.startswith("MONOCHROME"):
        raise ImageError(
            f"is a colour picture ({kind or 'unnamed'}), not a measured image",
            mend="leave out screen pictures and colour overlays",
        )
    stored, high = int(header.BitsStored), int(header.HighBit)
    if high != stored - 1 or not 1 <= stored <= int(header.BitsAllocated):
        raise ImageError(
            f"lays out its {stored} stored bits against the standard (high bit {high})",
            mend="export it again",
        )


def _frames(header: Dataset) -> list[Lookup]:
    """Return one attribute lookup for each frame of an enhanced image."""
    count = int(header.get("NumberOfFrames") or 1)
    each = list(header.get("PerFrameFunctionalGroupsSequence") or ())
    shared = list(header.get("SharedFunctionalGroupsSequence") or ())
    if len(each) != count:
        raise ImageError(
            f"describes {len(each)} frames but says it holds {count}", mend="export it again"
        )

    def lookup(frame: Dataset) -> Lookup:
        def look(keyword: str) -> Any:
            if keyword not in GROUP_OF:
                return header.get(keyword)
            for groups in (frame, *shared):
                for item in groups.get(GROUP_OF[keyword]) or ():
                    if item.get(keyword) is not None:
                        return item.get(keyword)
            return None

        return look

    return [lookup(frame) for frame in each]


def _plane(opened: OpenedFile, look: Lookup, frame: int | None) -> Plane:
    directions = _numbers(look, "ImageOrientationPatient", 6, "Image Orientation (Patient)")
    slope, intercept = _rescale(look)
    thickness = look("SliceThickness")
    padding = look("PixelPaddingValue")
    rows, columns = int(look("Rows") or 0), int(look("Columns") or 0)
    if min(rows, columns) < 1:
        raise ImageError("does not state its rows and columns", mend="export it again")
    return Plane(
        path=opened.path,
        frame=frame,
        position_mm=_numbers(look, "ImagePositionPatient", 3, "Image Position (Patient)"),
        directions=_unit_directions(directions),
        spacing_mm=_positive(_numbers(look, "PixelSpacing", 2, "Pixel Spacing"), "Pixel Spacing"),
        rows=rows,
        columns=columns,
        slope=slope,
        intercept=intercept,
        thickness_mm=math.nan if thickness is None else float(thickness),
        padding=None if padding is None else int(padding),
        transfer_syntax=opened.header.file_meta.TransferSyntaxUID,
    )


def _numbers(look: Lookup, keyword: str, count: int, name: str) -> tuple[float, ...]:
    """Return an attribute's numbers, refusing a wrong count and what is not finite."""
    value = look(keyword)
    if value is None or value == "":
        raise ImageError(
            f"does not say where it lies in the person ({name} is missing)",
            mend="leave out screen pictures and reports, or export the series again",
        )
    numbers = tuple(float(item) for item in ([value] if isinstance(value, str) else value))
    if len(numbers) != count or not all(map(math.isfinite, numbers)):
        raise ImageError(f"has an unusable {name}", mend="export the series again")
    return numbers


def _positive(numbers: tuple[float, ...], name: str) -> tuple[float, ...]:
    if min(numbers) <= 0:
        raise ImageError(f"has a {name} that is not above 0 mm", mend="export the series again")
    return numbers


def _unit_directions(directions: tuple[float, ...]) -> tuple[float, ...]:
    """Check that rows and columns are square to each other; take out rounding of their length."""
    row, column = directions[:3], directions[3:]
    lengths = math.hypot(*row), math.hypot(*column)
    cosine = sum(a * b for a, b in zip(row, column, strict=True))
    if max(abs(lengths[0] - 1), abs(lengths[1] - 1), abs(cosine)) > DIRECTION_TOLERANCE:
        raise ImageError(
            "has an Image Orientation (Patient) that is not two unit vectors at right angles",
            mend="export the series again",
        )
    return (*(a / lengths[0] for a in row), *(b / lengths[1] for b in column))


def _rescale(look: Lookup) -> tuple[float, float]:
    """Return slope and intercept; a CT must state them (PS3.3 C.8.2.1), others may not."""
    slope, intercept = look("RescaleSlope"), look("RescaleIntercept")
    if slope is None or intercept is None:
        if look("Modality") == "CT":
            raise ImageError(
                "does not say how its values become Hounsfield units (rescale slope or "
                "intercept is missing)",
                mend="export the series again",
            )
        return 1.0, 0.0
    numbers = float(slope), float(intercept)
    if not all(map(math.isfinite, numbers)) or numbers[0] == 0:
        raise ImageError("has an unusable rescale slope or intercept", mend="export it again")
    return numbers
