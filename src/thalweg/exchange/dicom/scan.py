"""Finding the DICOM files of a folder and opening their headers.

Every file is either opened, or passed over by a rule written here and named to the caller, or
refused by name; none is ignored in silence. Only DICOM Part 10 files (PS3.10 section 7.1: 128
bytes of preamble, then ``DICM``) are taken as DICOM.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pydicom import Dataset, dcmread
from pydicom.dataelem import RawDataElement
from pydicom.errors import BytesLengthException, InvalidDicomError
from pydicom.pixels.decoders.base import get_decoder
from pydicom.uid import UID, MediaStorageDirectoryStorage

from thalweg.errors import ImageError, InputError
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["DAMAGED", "OpenedFile", "Scan", "open_file", "scan"]

CLUTTER: Final = frozenset(
    {"autorun.inf", "desktop.ini", "dicomdir", "lockfile", "readme", "readme.md", "readme.txt",
     "thumbs.db", "version"}
)  # fmt: skip
"""Names (lower case) that discs and file managers put beside images; common practice."""

DEFER_BYTES: Final = 2048
"""Longer values stay on disk: pixels and vendors' private blocks are not needed for a header."""

DAMAGED: Final = (
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    NotImplementedError,
    OverflowError,
    RecursionError,
    RuntimeError,
    TypeError,
    ValueError,
    BytesLengthException,
    struct.error,
    zlib.error,
)
"""What pydicom and its decoders raise on damaged bytes (found by mutating files in the tests)."""

SERIES_KEYWORDS: Final = (
    "AcquisitionDate",
    "AcquisitionDateTime",
    "AcquisitionTime",
    "ImageType",
    "Modality",
    "SOPClassUID",
    "SeriesDate",
    "SeriesDescription",
    "SeriesInstanceUID",
    "SeriesNumber",
    "StudyDate",
    "StudyInstanceUID",
    "TimezoneOffsetFromUTC",
)
"""What is asked of every file, whether its planes are read or not."""

PIXEL_KEYWORDS: Final = ("PixelData", "FloatPixelData", "DoubleFloatPixelData")
WHOLE_FILE: Final = "copy the folder again from its source, or leave the file out if it is not part"


@dataclass(frozen=True, slots=True)
class OpenedFile:
    """A readable DICOM file: its path and its header, long values left on disk."""

    path: Path
    header: Dataset

    @property
    def has_pixels(self) -> bool:
        """Whether the object holds an image."""
        return any(keyword in self.header for keyword in PIXEL_KEYWORDS)

    @property
    def kind(self) -> str:
        """Name of the object's SOP class as the standard spells it."""
        named = sop_class(self.header)
        # An unknown UID is called by itself, and in a damaged file may hold anything.
        return "object of unknown class" if named.name == str(named) else named.name


@dataclass(frozen=True, slots=True)
class Scan:
    """All DICOM files of a folder, and the names of the clutter passed over."""

    files: tuple[OpenedFile, ...]
    clutter: tuple[str, ...]


def scan(folder: Path, *, progress: Progress = silent) -> Scan:
    """Open the header of every file in a folder and its sub-folders.

    Parameters
    ----------
    folder : Path
        Folder of one series, as exported.
    progress : Progress, optional
        Told after every file.

    Returns
    -------
    Scan
        Files in order of their path, which carries no meaning.

    Raises
    ------
    ImageError
        The folder is missing, empty or without DICOM; or a file is not DICOM, cut short or
        damaged.
    """
    paths, clutter = _list_files(folder)
    if not paths:
        what = f"holds no DICOM file, only {_names(clutter)}" if clutter else "is empty"
        raise ImageError(what, where=str(folder), mend="name the folder that holds the images")
    files = []
    for done, path in enumerate(paths, start=1):
        opened = open_file(path)
        if sop_class(opened.header) == MediaStorageDirectoryStorage:
            clutter.append(str(path.relative_to(folder)))
        else:
            files.append(opened)
        progress("reading headers", done, len(paths))
    if not files:
        raise ImageError(
            "holds only a DICOM directory, no images",
            where=str(folder),
            mend="copy the image folders of the disc as well",
        )
    return Scan(tuple(files), tuple(sorted(clutter)))


def sop_class(header: Dataset) -> UID:
    """Return the SOP class, from the file meta information where the data set lacks it."""
    named = header.get("SOPClassUID") or header.file_meta.get("MediaStorageSOPClassUID") or ""
    return UID(str(named))


def _list_files(folder: Path) -> tuple[list[Path], list[str]]:
    """Return the files to open and the names of those passed over."""
    if not folder.exists():
        raise ImageError("does not exist", where=str(folder), mend="check the folder's name")
    if not folder.is_dir():
        raise ImageError(
            "is a file, not a folder", where=str(folder), mend="name the folder that holds it"
        )
    paths: list[Path] = []
    clutter: list[str] = []
    try:
        for path in sorted(folder.rglob("*")):
            if path.is_dir():
                continue
            parts = path.relative_to(folder).parts
            hidden = any(part.startswith(".") for part in parts)
            if hidden or path.name.lower() in CLUTTER:
                clutter.append("/".join(parts))
            else:
                paths.append(path)
    except OSError as error:
        raise ImageError(
            f"cannot be listed ({error.strerror})", where=str(folder), mend="check its permissions"
        ) from error
    return paths, clutter


def open_file(path: Path) -> OpenedFile:
    """Open one file's header, refusing what is not whole.

    Raises
    ------
    ImageError
        It is not DICOM, cut short or damaged, or compressed in a way that cannot be undone.
    """
    try:
        header = dcmread(path, defer_size=DEFER_BYTES)
        for keyword in SERIES_KEYWORDS:
            header.get(keyword)  # converted now, while a damaged value can be laid to its file
        header.file_meta.get("MediaStorageSOPClassUID")
        _require_whole(path, header)
    except InputError:
        raise
    except InvalidDicomError as error:
        raise ImageError("is not a DICOM file", where=str(path), mend=WHOLE_FILE) from error
    except OSError as error:
        raise ImageError(
            f"cannot be read ({error.strerror or 'input failed'})",
            where=str(path),
            mend="check its permissions and copy it again",
        ) from error
    except DAMAGED as error:
        raise ImageError(
            "is a damaged DICOM file whose header cannot be read", where=str(path), mend=WHOLE_FILE
        ) from error
    return OpenedFile(path, header)


def _require_whole(path: Path, header: Dataset) -> None:
    """Refuse a file that ends early, or whose pixels no installed decoder reads."""
    syntax = header.file_meta.get("TransferSyntaxUID")
    if not syntax:
        raise ImageError(
            "does not say how it is encoded (no Transfer Syntax UID)",
            where=str(path),
            mend="export it again",
        )
    cut_short = ImageError(
        "is cut short: its pixels are missing or incomplete", where=str(path), mend=WHOLE_FILE
    )
    if not any(keyword in header for keyword in PIXEL_KEYWORDS):
        if "Rows" in header or sop_class(header).name.endswith("Image Storage"):
            raise cut_short
        return
    if "PixelData" not in header:
        return
    if syntax.is_encapsulated:
        _require_decoder(path, syntax)
        return
    size = None if syntax.is_deflated else path.stat().st_size
    if _native_bytes_there(header, size) < _native_bytes_due(header):
        raise cut_short


def _native_bytes_due(header: Dataset) -> int:
    """Bytes that uncompressed pixels must take (PS3.5 section 8.1.1)."""
    samples = int(header.Rows) * int(header.Columns) * int(header.get("SamplesPerPixel") or 1)
    frames = int(header.get("NumberOfFrames") or 1)
    if header.get("PhotometricInterpretation") == "YBR_FULL_422":
        samples = samples * 2 // 3
    return (samples * frames * int(header.BitsAllocated) + 7) // 8


def _native_bytes_there(header: Dataset, size: int | None) -> int:
    """Bytes of uncompressed pixels in the file, `size` being the file's, where it matters."""
    pixels = header.get_item("PixelData", keep_deferred=True)
    if isinstance(pixels, RawDataElement) and pixels.value is None:
        reach = pixels.length if size is None else size - pixels.value_tell
        return min(pixels.length, reach)
    return len(pixels.value or b"")


def _require_decoder(path: Path, syntax: UID) -> None:
    """Refuse pixels compressed in a way that nothing installed can undo."""
    try:
        available = get_decoder(syntax).is_available
    except NotImplementedError:
        available = False
    if not available:
        raise ImageError(
            f"is compressed as {syntax.name}, which no installed decoder reads",
            where=str(path),
            mend="export it again without compression",
        )


def _names(names: list[str], most: int = 3) -> str:
    """List a few names and say how many more there are."""
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
