"""Read a renogram, whichever kind of file it is, and join to it what a person says of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.service.inbox import is_dicom

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from thalweg.exchange.dicom import PatientKeys
    from thalweg.exchange.regions import Corners
    from thalweg.record.renogram import DynamicImage, Renogram

    Flags = NDArray[np.bool_]

__all__ = ["ReadRenogram", "StatedOfRenogram", "read_renogram"]

ARTIFICIAL = "This renogram is a phantom: it was computed and shows no person."
SAME_S = 30.0
"""Two statements of when furosemide or tracer was given are one within half a minute."""


@dataclass(frozen=True, slots=True)
class StatedOfRenogram:
    """What a person says of a renogram beside its file; empty or None where they do not.

    Parameters
    ----------
    regions_px : mapping of str to corners
        By role: column and row of each corner, counted from 0 at the centre of the first pixel.
    furosemide_s : float, optional
        After the tracer; negative before it.
    given_s : float, optional
        When the tracer was given, after the first frame began.
    left_at : str
        Where on the picture the person's left lies.
    view : str
    acquired : str
        ISO 8601 date.
    detector, energy_window : int, optional
        Which of several in the camera's file, from 1.
    """

    regions_px: Mapping[str, Corners] = field(default_factory=dict)
    furosemide_s: float | None = None
    given_s: float | None = None
    left_at: str = ""
    view: str = ""
    acquired: str = ""
    detector: int | None = None
    energy_window: int | None = None


@dataclass(frozen=True, eq=False)
class ReadRenogram:
    """A renogram ready to be analysed.

    Parameters
    ----------
    renogram : Renogram
    image : DynamicImage or None
        What its curves were summed from.
    regions : mapping of str to ndarray of bool, shape (rows, columns)
        By role; empty for a table.
    patient : PatientKeys or None
        Whom the files name; a table names nobody.
    said : tuple of str
        How regions and times were settled.
    """

    renogram: Renogram
    image: DynamicImage | None = None
    regions: Mapping[str, Flags] = field(default_factory=dict)
    patient: PatientKeys | None = None
    said: tuple[str, ...] = ()

    @property
    def cautions(self) -> tuple[str, ...]:
        """What any result of it must carry."""
        artificial = (ARTIFICIAL,) if self.renogram.phantom else ()
        return tuple(dict.fromkeys((*artificial, *self.renogram.cautions, *self.said)))


def read_renogram(paths: Sequence[Path], stated: StatedOfRenogram) -> ReadRenogram:
    """Read a renogram and join to it what is stated.

    Parameters
    ----------
    paths : sequence of Path
        One table, or the files or one folder of one series of a gamma camera (DICOM NM).
    stated : StatedOfRenogram

    Raises
    ------
    InputError
        If a file cannot be read, files are no one study, a region is missing or lies badly, or
        what is stated contradicts what the file says.
    """
    files = _files(paths)
    found = (_camera if is_dicom(files[0]) else _table)(files, stated)
    return replace(found, renogram=_dated(found.renogram, stated.acquired))


def _files(paths: Sequence[Path]) -> list[Path]:
    """Return the files, those of a folder by name."""
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(each for each in path.rglob("*") if each.is_file())
            files += [each for each in inside if is_dicom(each)]
            if not files:
                raise InputError(
                    "holds no DICOM files",
                    where=str(path),
                    mend="name a table, or the folder of the camera's files",
                )
        else:
            files.append(path)
    return files


def _camera(files: Sequence[Path], stated: StatedOfRenogram) -> ReadRenogram:
    from thalweg.exchange.dicom import read_dynamic  # noqa: PLC0415 - pydicom is slow to import

    found = read_dynamic(
        files[0] if len(files) == 1 else files,
        detector=stated.detector,
        energy_window=stated.energy_window,
        view=stated.view,
        left_at=stated.left_at,
    )
    masks, said = _masks(found.image, stated.regions_px)
    given_s = 0.0 if stated.given_s is None else stated.given_s
    study = found.curves(masks, given_s=given_s, furosemide_s=stated.furosemide_s)
    return ReadRenogram(study, found.image, masks, found.patient, said)


def _masks(
    image: DynamicImage, outlines: Mapping[str, Corners]
) -> tuple[dict[str, Flags], tuple[str, ...]]:
    """Return the regions as pixels, with a ring round each kidney where no background is drawn."""
    from thalweg.assess.renogram.regions import (  # noqa: PLC0415 - slow to load
        check_regions,
        propose_background,
        regions_of,
    )

    if not outlines:
        raise InputError(
            "no region is drawn on the pictures",
            mend="give --regions: an outline round each kidney, and round the heart as 'blood'",
        )
    masks = regions_of(outlines, (image.counts.shape[1], image.counts.shape[2]))
    said = check_regions(masks, image.left_at)
    if "background" in masks:
        return masks, said
    rings = propose_background(masks)
    if rings:
        sides = " and ".join(role.partition("-")[0] for role in rings)
        proposed = f"Nobody drew a background for {sides}: a ring round the kidney was taken."
        said = (*said, proposed)
    return {**masks, **rings}, said


def _table(files: Sequence[Path], stated: StatedOfRenogram) -> ReadRenogram:
    from thalweg.exchange.renogram_table import read_renogram_table  # noqa: PLC0415 - only then

    if len(files) > 1:
        raise InputError(
            f"{len(files)} files are given and the first is a table",
            where=files[0].name,
            mend="give one table, or the files of one DICOM series",
        )
    of_pictures = (
        ("regions", stated.regions_px),
        ("where the person's left lies", stated.left_at),
        ("a detector", stated.detector),
        ("an energy window", stated.energy_window),
    )
    for what, given in of_pictures:
        if given:
            raise InputError(
                f"a table has no picture for which to state {what}",
                where=files[0].name,
                mend="leave that out: its columns name the sides",
            )
    study = read_renogram_table(files[0])
    said = {
        "given_s": _time("the tracer", study.given_s or None, stated.given_s, study.given_s),
        "furosemide_s": _time("furosemide", study.furosemide_s, stated.furosemide_s, None),
    }
    return ReadRenogram(
        replace(
            study,
            given_s=said["given_s"] or 0.0,
            furosemide_s=said["furosemide_s"],
            view=_view(study.view, stated.view),
        )
    )


def _time(
    what: str, own: float | None, stated: float | None, otherwise: float | None
) -> float | None:
    if stated is None:
        return otherwise if own is None else own
    if own is not None and abs(own - stated) > SAME_S:
        raise InputError(
            f"the file says that {what} was given at {own / 60:g} min, you {stated / 60:g} min",
            mend="find out which is right, and correct or leave out yours",
        )
    return stated


def _view(own: str, stated: str) -> str:
    if own and stated and own != stated:
        raise InputError(
            f"the file says that the view was {own}, you {stated}",
            mend="find out which is right, and correct or leave out yours",
        )
    return own or stated


def _dated(study: Renogram, stated: str) -> Renogram:
    own = study.acquired
    if not stated or own[:10] == stated:
        return study
    if not own:
        return replace(study, acquired=stated)
    caution = f"The file dates the renogram {own[:10]}, you {stated}; the file's date was kept."
    return replace(study, cautions=(*study.cautions, caution))
