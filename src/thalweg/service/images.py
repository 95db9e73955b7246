"""The images of one case, each read once and only when something is measured on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.service.library import series_of, volume_of

if TYPE_CHECKING:
    from thalweg.measure.skin import SkinSurface
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.image import ImageVolume
    from thalweg.store.store import Store

__all__ = ["Images"]


class Images:
    """Volumes of a case by series, kept in memory while a case is worked up."""

    def __init__(self, case: Case, store: Store, progress: Progress) -> None:
        self._case = case
        self._store = store
        self._progress = progress
        self._volumes: dict[str, ImageVolume] = {}
        self._skins: dict[str, SkinSurface] = {}

    def volume(self, series_uid: str = "") -> ImageVolume:
        """Return a series as a volume; the only one where none is named.

        Raises
        ------
        InputError
            If the series is not on record or cannot be read.
        """
        record = series_of(self._case, series_uid)
        if record.series_uid not in self._volumes:
            read = volume_of(self._store, record, progress=self._progress)
            self._volumes[record.series_uid] = read
        return self._volumes[record.series_uid]

    def skin(self, series_uid: str = "") -> SkinSurface:
        """Return the front skin of a series.

        Raises
        ------
        InputError
            If it cannot be found.
        """
        from thalweg.measure.skin import anterior_skin  # noqa: PLC0415 - only where sites are

        record = series_of(self._case, series_uid)
        if record.series_uid not in self._skins:
            self._progress("Finding the skin", 0, 1)
            self._skins[record.series_uid] = anterior_skin(self.volume(series_uid))
            self._progress("Finding the skin", 1, 1)
        return self._skins[record.series_uid]
