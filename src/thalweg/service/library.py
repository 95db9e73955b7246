"""The images on record, as volumes that can be measured."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.exchange.dicom import SeriesSurvey
    from thalweg.record.case import Case, ImageRecord
    from thalweg.record.image import ImageVolume
    from thalweg.store import Store

__all__ = ["series_of", "surveyed", "volume_of"]


def series_of(case: Case, series_uid: str = "") -> ImageRecord:
    """Return a series on record.

    Parameters
    ----------
    case : Case
        Whose.
    series_uid : str
        Which; empty for the only one.

    Raises
    ------
    InputError
        If it is not on record, or if it is not said which of several is meant.
    """
    volumes = [each for each in case.images if each.is_volume]
    found = [each for each in volumes if series_uid in ("", each.series_uid)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise InputError(
            "the series is not on record" if series_uid else "no images are on record",
            where=f"case {case.id}",
            mend="take in the folder that holds it",
        )
    raise InputError(
        f"{len(found)} series are on record ({', '.join(each.folder for each in found)})",
        where=f"case {case.id}",
        mend="say which one",
    )


@contextmanager
def surveyed(
    store: Store, record: ImageRecord, *, progress: Progress = silent
) -> Iterator[SeriesSurvey]:
    """Give the survey of a series in the store, whose paths hold while the context lasts."""
    from thalweg.exchange.dicom import survey  # noqa: PLC0415 - pydicom takes seconds to import

    with TemporaryDirectory(prefix="thalweg-") as staged:
        for number, path in enumerate(store.image_files(record)):
            (Path(staged) / f"{number:05d}.dcm").symlink_to(path.resolve())
        yield survey(Path(staged), progress=progress)


def volume_of(store: Store, record: ImageRecord, *, progress: Progress = silent) -> ImageVolume:
    """Return a series on record as a volume.

    Parameters
    ----------
    store : Store
        That holds it.
    record : ImageRecord
        From the case.
    progress : Progress, optional
        Told after every plane.

    Raises
    ------
    InputError
        If a file is gone from the store or can no longer be read.
    """
    from thalweg.exchange.dicom import read_volume  # noqa: PLC0415 - as above

    with surveyed(store, record, progress=progress) as found:
        return read_volume(found, progress=progress)
