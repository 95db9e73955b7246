"""One folder of DICOM files surveyed as one image series, from headers alone.

What is refused and what is passed over:

* more than one series of images is refused, with a list of them;
* localizers (by Image Type, whatever their series) and objects without pixels (reports,
  contours, presentation states) are passed over and named in a caution when exactly one series of
  images remains: neither can be taken for a plane of the volume;
* a screen picture or any other image beside the series counts as a second series.
"""

from __future__ import annotations

import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.dates import acquisition
from thalweg.exchange.dicom.geometry import stack_planes
from thalweg.exchange.dicom.headers import (
    PatientKeys,
    Plane,
    PlaneFile,
    is_localizer,
    read_planes,
    term,
    text,
)
from thalweg.exchange.dicom.scan import OpenedFile, Scan, scan
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SeriesSurvey", "require_one_series", "survey"]

MODALITIES: Final = frozenset({"CT", "MR"})
SeriesKey = tuple[str, ...]


@dataclass(frozen=True, eq=False)
class SeriesSurvey:
    """A sound series, as its headers describe it.

    Parameters
    ----------
    folder : Path
        Where it was found.
    files : tuple of Path
        Its files, from the lowest plane to the highest along the slice normal.
    planes : tuple of Plane
        Its planes in the same order; more than files in a multi-frame series.
    study_uid, series_uid : str
        Study and Series Instance UID; empty where the files lack them (a caution says so).
    modality : str
        ``"CT"`` or ``"MR"``.
    series_description : str
        As the files give it.
    acquired : str
        ISO 8601 date or date and time, with offset where the files state one; empty if unknown.
    patient : PatientKeys
        For matching with a case; not shown by ``repr``.
    shape : tuple of int
        Planes, rows, columns.
    to_lps : ndarray of float64, shape (4, 4)
        Index (plane, row, column, 1) to LPS millimetres.
    spacing_mm : ndarray of float64, shape (3,)
        Between voxel centres along plane, row, column.
    orientation : str
        ``"axial"``, ``"coronal"``, ``"sagittal"`` or ``"oblique"``.
    phantom : bool
        True when Quality Control Image or Quality Control Subject is YES (PS3.3 C.7.6.1, C.7.1.1).
    cautions : tuple of str
        Sentences that any measurement on the series must carry.
    frame_uid : str
        Frame of Reference UID; empty where the files lack it.
    """

    folder: Path
    files: tuple[Path, ...] = field(repr=False)
    planes: tuple[Plane, ...] = field(repr=False)
    study_uid: str
    series_uid: str
    modality: str
    series_description: str
    acquired: str
    patient: PatientKeys = field(repr=False)
    shape: tuple[int, int, int]
    to_lps: NDArray[np.float64]
    spacing_mm: NDArray[np.float64]
    orientation: str
    phantom: bool
    cautions: tuple[str, ...]
    frame_uid: str = ""


def survey(folder: Path, *, progress: Progress = silent) -> SeriesSurvey:
    """Read the headers of a folder and describe the one series in it.

    Parameters
    ----------
    folder : Path
        Folder of one CT or MR series; sub-folders are searched too.
    progress : Progress, optional
        Told after every file.

    Returns
    -------
    SeriesSurvey
        Ordered planes, geometry and cautions.

    Raises
    ------
    ImageError
        Anything that keeps the folder from being one even, measurable volume: see the module.
    """
    folder = Path(folder)
    # pydicom's warnings quote values, which may name the person; what matters of them is checked.
    with warnings.catch_warnings(action="ignore"):
        found = scan(folder, progress=progress)
        chosen, cautions = _one_series(folder, found)
        _require_modality(folder, chosen)
        files = [read_planes(opened) for opened in chosen]
        try:
            return _described(folder, chosen, files, cautions)
        except InputError as error:
            # What was passed over may be the very plane that is missing: name it.
            beside = f" ({' '.join(cautions).rstrip('.')})" if cautions else ""
            what = f"{error.what}{beside}"
            raise type(error)(what, where=error.where, mend=error.mend).at(str(folder)) from error


def _one_series(folder: Path, found: Scan) -> tuple[list[OpenedFile], list[str]]:
    """Return the files of the one image series, and cautions about those passed over."""
    without_pixels = [opened for opened in found.files if not opened.has_pixels]
    with_pixels = [opened for opened in found.files if opened.has_pixels]
    localizers = [opened for opened in with_pixels if is_localizer(opened.header)]
    images = [opened for opened in with_pixels if not is_localizer(opened.header)]
    if not images:
        if localizers:
            what = f"holds only localizer images ({len(localizers)})"
        else:
            kinds = sorted({opened.kind for opened in without_pixels})
            what = f"holds no images, only {', '.join(kinds)}"
        raise ImageError(what, where=str(folder), mend="give the folder of the CT slices")
    require_one_series(folder, images)
    cautions = []
    if found.clutter:
        cautions.append(f"Passed over, not part of the series: {_few(found.clutter)}.")
    if localizers:
        cautions.append(f"Passed over: {len(localizers)} localizer image(s).")
    if without_pixels:
        kinds = sorted({opened.kind for opened in without_pixels})
        cautions.append(
            f"Passed over: {len(without_pixels)} object(s) without pixels ({', '.join(kinds)})."
        )
    return images, cautions


def _series_key(opened: OpenedFile) -> SeriesKey:
    """Return what tells series apart: the UID, or what else is written once for each series."""
    header = opened.header
    uid = text(header, "SeriesInstanceUID")
    if uid:
        return text(header, "StudyInstanceUID"), uid
    return tuple(
        text(header, keyword)
        for keyword in ("StudyInstanceUID", "Modality", "SeriesNumber", "SeriesDescription")
    )


def require_one_series(folder: Path, images: list[OpenedFile]) -> None:
    """Refuse files of more than one series, with a list of them."""
    counts = Counter(_series_key(opened) for opened in images)
    if len(counts) == 1:
        return
    first = {_series_key(opened): opened for opened in reversed(images)}
    listed = [
        f"'{text(first[key].header, 'SeriesDescription') or 'without description'}' "
        f"({text(first[key].header, 'Modality') or 'no modality'}, {count} file(s))"
        for key, count in counts.items()
    ]
    raise ImageError(
        f"holds {len(counts)} series: {_few(listed, most=8)}",
        where=str(folder),
        mend="give each its own folder",
    )


def _require_modality(folder: Path, chosen: list[OpenedFile]) -> None:
    for opened in chosen:
        modality = term(opened.header, "Modality")
        if modality not in MODALITIES:
            raise ImageError(
                f"holds images of modality {modality or 'unknown'} ({opened.kind}), which cannot "
                "be measured",
                where=str(folder),
                mend="give a CT or MR series",
            )


def _described(
    folder: Path, chosen: list[OpenedFile], files: list[PlaneFile], cautions: list[str]
) -> SeriesSurvey:
    """Put the planes together, once every file has been read."""
    _require_same_subject(files)
    header = chosen[0].header
    modality = text(header, "Modality")
    planes = [plane for file in files for plane in file.planes]
    names = [_label(folder, plane) for plane in planes]
    _require_same_matrix(planes, names)
    stack = stack_planes(
        np.array([plane.position_mm for plane in planes]),
        np.array([plane.directions for plane in planes]),
        np.array([plane.spacing_mm for plane in planes]),
        np.array([plane.thickness_mm for plane in planes]),
        names,
    )
    acquired, date_cautions = acquisition([opened.header for opened in chosen])
    ordered = tuple(planes[index] for index in stack.order)
    series_uid = text(header, "SeriesInstanceUID")
    if not series_uid:
        cautions.append("The files carry no Series Instance UID; they were taken as one series.")
    if modality == "CT":
        cautions.extend(_unit_cautions(files))
    if any(file.lossy for file in files):
        cautions.append("The images were compressed with loss; fine edges may be altered.")
    return SeriesSurvey(
        folder=folder,
        files=tuple(dict.fromkeys(plane.path for plane in ordered)),
        planes=ordered,
        study_uid=text(header, "StudyInstanceUID"),
        series_uid=series_uid,
        modality=modality,
        series_description=text(header, "SeriesDescription"),
        acquired=acquired,
        patient=files[0].patient,
        shape=(len(ordered), ordered[0].rows, ordered[0].columns),
        to_lps=stack.to_lps,
        spacing_mm=stack.spacing_mm,
        orientation=stack.orientation,
        phantom=any(file.phantom for file in files),
        cautions=(*stack.cautions, *date_cautions, *cautions),
        frame_uid=files[0].frame_of_reference_uid,
    )


def _require_same_subject(files: list[PlaneFile]) -> None:
    """Refuse files of one series that name different persons or coordinate systems."""
    if len({file.patient for file in files}) > 1:
        raise ImageError(
            "holds files that name different patients (ID, birth date or sex differ)",
            mend="find out whose images these are before using any of them",
        )
    if len({file.frame_of_reference_uid for file in files}) > 1:
        raise ImageError(
            "holds files whose positions refer to different frames of reference",
            mend="give the images of one acquisition",
        )


def _require_same_matrix(planes: list[Plane], names: list[str]) -> None:
    first = planes[0]
    for plane, name in zip(planes, names, strict=True):
        if (plane.rows, plane.columns) != (first.rows, first.columns):
            raise ImageError(
                f"holds planes of different matrix ({first.rows} × {first.columns} in {names[0]}, "
                f"{plane.rows} × {plane.columns} in {name})",
                mend="give only the planes of one reconstruction",
            )


def _unit_cautions(files: list[PlaneFile]) -> list[str]:
    """Refuse CT values declared as something else than HU; say where the unit is left open."""
    units = sorted({file.rescale_type for file in files} - {"", "HU"})
    if not units:
        return []
    if units == ["US"]:  # "unspecified" in PS3.3 C.11.1.1.2
        return ["The files leave the unit of their values unspecified; Hounsfield units assumed."]
    raise ImageError(
        f"holds CT values in {', '.join(units)}, not in Hounsfield units",
        mend="give the series reconstructed in Hounsfield units",
    )


def _label(folder: Path, plane: Plane) -> str:
    name = plane.path.relative_to(folder).as_posix()
    return name if plane.frame is None else f"{name} frame {plane.frame + 1}"


def _few(names: list[str] | tuple[str, ...], most: int = 3) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
