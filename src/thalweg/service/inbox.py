"""What a case folder holds, sorted by how it is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile import CASE_FILE
from thalweg.exchange.casefile.renograms import FOLDER as RENOGRAM_FOLDER

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["Inbox", "look_into"]

RADIOGRAPHS: Final = "radiographs"
"""Sub-folder of single radiographs, DICOM or pictures, which are no series."""

MAGIC_AT: Final = 128
MAGIC: Final = b"DICM"
"""How a DICOM file begins after its preamble (PS3.10 section 7.1)."""


@dataclass(frozen=True, slots=True)
class Inbox:
    """The files of a case folder, each kind in order of name.

    Parameters
    ----------
    case_file : Path
        ``case.toml``.
    fhir, tables : tuple of Path
        ``*.json`` and ``*.csv``.
    images : tuple of Path
        Sub-folders with at least one DICOM file.
    radiographs : tuple of Path
        Files of the sub-folder ``radiographs``.
    renograms : tuple of Path
        Files and folders inside the sub-folder ``renograms``.
    not_taken : tuple of str
        A sentence for each kind of thing that is passed over.
    """

    case_file: Path
    fhir: tuple[Path, ...]
    tables: tuple[Path, ...]
    images: tuple[Path, ...]
    radiographs: tuple[Path, ...]
    renograms: tuple[Path, ...]
    not_taken: tuple[str, ...]


def look_into(folder: Path) -> Inbox:
    """Sort what a case folder holds.

    Raises
    ------
    InputError
        If there is no such folder, no case file in it, or images outside a folder of their own.
    """
    inside = _listed(folder)
    case_file = folder / CASE_FILE
    if case_file not in inside:
        raise InputError(
            f"holds no {CASE_FILE}",
            where=str(folder),
            mend="add one with a section [person]: reference, name, born, sex",
        )
    files = [path for path in inside if path.is_file() and not path.name.startswith(".")]
    fhir = [path for path in files if path.suffix.lower() == ".json"]
    tables = [path for path in files if path.suffix.lower() == ".csv"]
    folders = [path for path in inside if path.is_dir() and not path.name.startswith(".")]
    films, counted = folder / RADIOGRAPHS, folder / RENOGRAM_FOLDER
    radiographs = _visible(films, folders=False) if films in folders else ()
    renograms = _visible(counted, folders=True) if counted in folders else ()
    images = [path for path in folders if path not in (films, counted) and _has_images(path)]
    apart = [path for path, found in ((films, radiographs), (counted, renograms)) if found]
    taken = {case_file, *fhir, *tables, *images, *apart}
    others = [path for path in inside if path not in taken]
    loose = [path.name for path in others if path.is_file() and is_dicom(path)]
    if loose:
        raise InputError(
            f"holds DICOM files outside a folder of their own ({_few(loose)})",
            where=str(folder),
            mend="put each series into a folder",
        )
    sentences = [
        f"The folder {path.name} holds no DICOM images." for path in others if path.is_dir()
    ]
    rest = [path.name for path in others if not path.is_dir()]
    if rest:
        sentences.append(f"Not of a kind that is read: {_few(rest)}.")
    return Inbox(
        case_file,
        tuple(fhir),
        tuple(tables),
        tuple(images),
        radiographs,
        renograms,
        tuple(sentences),
    )


def is_dicom(path: Path) -> bool:
    """Say whether a file begins as DICOM does; a file that cannot be read does not."""
    try:
        with path.open("rb") as file:
            file.seek(MAGIC_AT)
            return file.read(len(MAGIC)) == MAGIC
    except OSError:
        return False


def _visible(folder: Path, *, folders: bool) -> tuple[Path, ...]:
    """Return the files of a folder, with or without the folders in it, that are not hidden."""
    return tuple(
        path
        for path in _listed(folder)
        if (path.is_file() or folders) and not path.name.startswith(".")
    )


def _has_images(folder: Path) -> bool:
    return any(is_dicom(path) for path in sorted(folder.rglob("*")) if path.is_file())


def _listed(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except NotADirectoryError:
        what, mend = "is not a folder", "name the folder that holds it"
    except FileNotFoundError:
        what, mend = "does not exist", "check the folder's name"
    except OSError as error:
        what, mend = f"cannot be listed ({error.strerror})", "check its permissions"
    raise InputError(what, where=str(folder), mend=mend)


def _few(names: list[str], most: int = 5) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
