"""One projection radiograph in DICOM: its picture, its scale and whom it names."""

from __future__ import annotations

import hashlib
import warnings
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pydicom.pixels.processing import apply_modality_lut, apply_voi_lut

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.dates import acquisition
from thalweg.exchange.dicom.decode import decoded
from thalweg.exchange.dicom.headers import (
    PatientKeys,
    is_phantom,
    patient_of,
    require_one_grey_channel,
    term,
    text,
)
from thalweg.exchange.dicom.scan import DAMAGED, OpenedFile, open_file
from thalweg.exchange.dicom.spacing import scale_of
from thalweg.record.radiograph import Radiograph

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pydicom import Dataset
    from pydicom.uid import UID

__all__ = ["ReadRadiograph", "read_radiograph"]

MODALITIES: Final = frozenset({"CR", "DX", "RF", "XA", "RG"})
"""Computed and digital radiography, fluoroscopy, angiography, digitised film (PS3.3 C.7.3.1)."""


@dataclass(frozen=True, eq=False)
class ReadRadiograph:
    """A radiograph and whom its file names; empty for a picture without a header."""

    radiograph: Radiograph
    patient: PatientKeys = field(default_factory=PatientKeys, repr=False)


@dataclass(frozen=True, slots=True)
class _Where:
    path: Path
    frame: int | None
    transfer_syntax: UID


def read_radiograph(path: Path, *, frame: int | None = None) -> ReadRadiograph:
    """Read one radiograph.

    Parameters
    ----------
    path : Path
        DICOM, modality CR, DX, RF, XA or RG, one grey channel of 8 to 16 bits.
    frame : int, optional
        Which picture of a file that holds several, from 1.

    Raises
    ------
    ImageError
        Not such a file, damaged, or of several frames without `frame`.
    """
    path = Path(path)
    # pydicom's warnings quote values, which may name the person; what matters of them is checked.
    with warnings.catch_warnings(action="ignore"):
        opened = open_file(path)
        try:
            return _read(opened, frame)
        except InputError as error:
            raise error if error.where else error.at(str(path)) from error
        except (OSError, *DAMAGED) as error:
            raise ImageError(
                "has a damaged header or damaged pixels",
                where=str(path),
                mend="copy or export it again",
            ) from error


def _read(opened: OpenedFile, frame: int | None) -> ReadRadiograph:
    header = opened.header
    modality = term(header, "Modality")
    if modality not in MODALITIES:
        raise ImageError(
            f"is of modality {modality or 'unknown'} ({opened.kind}), not a radiograph",
            mend="give a CR, DX, RF, XA or RG image, or trace a CT series instead",
        )
    if not opened.has_pixels:
        raise ImageError("holds no picture", mend="give the image itself")
    require_one_grey_channel(header)
    index = _frame(header, frame)
    scale = scale_of(header)
    acquired, undated = acquisition([header])
    lossy = text(header, "LossyImageCompression") == "01"
    return ReadRadiograph(
        Radiograph(
            values=_shown(opened, index),
            modality=modality,
            detector_spacing_mm=scale.detector_spacing_mm,
            object_spacing_mm=scale.object_spacing_mm,
            object_kind=scale.object_kind,
            magnification=scale.magnification,
            source_detector_mm=scale.source_detector_mm,
            shape_ratio=scale.shape_ratio,
            image_id=f"sha256:{_digest(opened.path)}",
            acquired=acquired,
            phantom=is_phantom(header),
            calibration=scale.said,
            cautions=(
                *scale.cautions,
                *undated,
                *(["The picture was compressed with loss."] if lossy else []),
            ),
        ),
        patient_of(header),
    )


def _frame(header: Dataset, frame: int | None) -> int | None:
    count = int(header.get("NumberOfFrames") or 1)
    if count == 1 and frame in {None, 1}:
        return None if header.get("NumberOfFrames") is None else 0
    if frame is None:
        raise ImageError(
            f"holds {count} frames", mend=f"say which one to measure, --frame 1 to {count}"
        )
    if not 1 <= frame <= count:
        raise ImageError(f"holds no frame {frame}, only 1 to {count}", mend="give one of these")
    return frame - 1


def _shown(opened: OpenedFile, index: int | None) -> NDArray[np.float32]:
    """Return the picture as its window shows it, contrast and bone bright."""
    header = opened.header
    where = _Where(opened.path, index, header.file_meta.TransferSyntaxUID)
    ((_, stored),) = decoded([where])
    if stored.shape != (int(header.Rows), int(header.Columns)):
        raise ImageError(
            "does not decode to the rows and columns its header states", mend="export it again"
        )
    grey: NDArray[Any] = apply_voi_lut(apply_modality_lut(stored, header), header)
    shown = np.asarray(grey, dtype=np.float32)
    dark_is_much = text(header, "PhotometricInterpretation") == "MONOCHROME1"
    return np.asarray(shown.max() + shown.min() - shown if dark_is_much else shown)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
