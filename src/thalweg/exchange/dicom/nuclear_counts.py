"""The counts of a detector's frames, from stored values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.errors import ImageError
from thalweg.exchange.dicom.decode import decoded
from thalweg.exchange.dicom.headers import term

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from pydicom import Dataset
    from pydicom.uid import UID

    from thalweg.exchange.dicom.nuclear_channels import Channel
    from thalweg.progress import Progress

__all__ = ["counts_of", "require_counts"]

GREATEST_PIXELS: Final = 2**29
"""Pixels of all frames together (2 GiB as float32); a renogram of 512 × 512 pixels and 360 frames
has a fifth of it."""

EXPORT: Final = "export the study again"


@dataclass(frozen=True, slots=True)
class _Where:
    path: Path
    frame: int | None
    transfer_syntax: UID


def require_counts(header: Dataset) -> None:
    """Refuse pixels that are no counts (PS3.3 C.8.4.7: one sample of 8 or 16 bits).

    A palette only colours counts for display; MONOCHROME1 and colour do not occur in this kind of
    file, so that what such pixels mean is not known.

    Raises
    ------
    ImageError
    """
    kind = term(header, "PhotometricInterpretation")
    if int(header.get("SamplesPerPixel") or 0) != 1 or kind not in ("MONOCHROME2", "PALETTE COLOR"):
        raise ImageError(
            f"stores {kind or 'unnamed'} pixels, whose values need not be counts",
            mend="give the camera's own study, not a picture of it",
        )
    allocated, stored = int(header.BitsAllocated), int(header.BitsStored)
    if (
        allocated not in (8, 16)
        or not 1 <= stored <= allocated
        or int(header.HighBit) != stored - 1
    ):
        raise ImageError(
            f"lays out its pixels against the standard ({stored} of {allocated} bits)", mend=EXPORT
        )
    frames = int(header.get("NumberOfFrames") or 1)
    if frames * int(header.Rows) * int(header.Columns) > GREATEST_PIXELS:
        raise ImageError(
            f"holds {frames} frames of {header.Rows} × {header.Columns} pixels, more than any "
            "renogram",
            mend="give the renogram alone",
        )


def counts_of(channel: Channel, progress: Progress) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Decode the frames of one detector.

    Returns
    -------
    counts : ndarray of float32, shape (frames, rows, columns)
        In the order of time.
    cautions : tuple of str
        Said when counts were scaled, or a pixel is as full as it can be.

    Raises
    ------
    ImageError
        Pixels that cannot be decoded, of another size than stated, or below 0.
    """
    header = channel.header
    rows, columns = int(header.Rows), int(header.Columns)
    planes = [
        _Where(opened.path, frame if "NumberOfFrames" in opened.header else None, syntax)
        for opened, frame in channel.frames
        for syntax in (opened.header.file_meta.TransferSyntaxUID,)
    ]
    counts = np.empty((len(planes), rows, columns), dtype=np.float32)
    full = 0
    scaled = False
    for done, (place, stored) in enumerate(decoded(planes), start=1):
        opened, _ = channel.frames[place]
        if stored.shape != (rows, columns):
            raise ImageError(
                "does not decode to the rows and columns its header states",
                where=str(opened.path),
                mend=EXPORT,
            )
        slope, intercept = _scale(opened.header)
        scaled |= (slope, intercept) != (1.0, 0.0)
        values: NDArray[Any] = stored * slope + intercept
        if values.min() < 0:
            raise ImageError(
                "has pixels below 0, which no counts are", where=str(opened.path), mend=EXPORT
            )
        full = max(full, int((stored >= _greatest(opened.header)).sum()))
        counts[place] = values
        progress("reading frames", done, len(planes))
    said = []
    if scaled:
        said.append(
            "The file scales its pixels; their scatter is not that of plain counts, and the "
            "intervals rest on plain counts."
        )
    if full:
        said.append(
            f"Up to {full} pixel(s) of a frame are at the greatest value that can be stored; more "
            "may have been counted there."
        )
    return counts, tuple(said)


def _greatest(header: Dataset) -> int:
    """Return the greatest value that a pixel can hold."""
    bits = int(header.BitsStored) - int(header.get("PixelRepresentation") or 0)
    return int(2**bits - 1)


def _scale(header: Dataset) -> tuple[float, float]:
    slope = header.get("RescaleSlope")
    intercept = header.get("RescaleIntercept")
    numbers = float(1 if slope in (None, "") else slope), float(intercept or 0)
    if not np.isfinite(numbers).all() or numbers[0] <= 0:
        raise ImageError("has an unusable rescale slope or intercept", mend=EXPORT)
    return numbers
