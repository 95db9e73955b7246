"""When a series was acquired, as an ISO 8601 text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from pydicom.valuerep import DA, DT

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pydicom import Dataset

__all__ = ["acquisition", "iso_date"]

FALLBACKS: Final = (("SeriesDate", "series"), ("StudyDate", "study"))
TO_THE_MINUTE: Final = re.compile(r"\d{12}")
OFFSET: Final = re.compile(r"[+-]\d{4}")


def acquisition(headers: Iterable[Dataset]) -> tuple[str, tuple[str, ...]]:
    """Return when the first plane of a series was acquired.

    Parameters
    ----------
    headers : iterable of Dataset
        Header of every file.

    Returns
    -------
    acquired : str
        ISO 8601 date and time (to the second, with the offset from UTC where the file states
        one) or date; empty where the files say nothing usable.
    cautions : tuple of str
        Said when the acquisition date is missing, and what stands in its place.
    """
    given = list(headers)
    moments = sorted(filter(None, map(_moment, given)))
    if moments:
        return moments[0], ()
    for keyword, name in FALLBACKS:
        days = sorted(filter(None, (iso_date(_text(header, keyword)) for header in given)))
        if days:
            caution = f"The files do not state an acquisition date; the {name}'s date is given."
            return days[0], (caution,)
    return "", ("The files do not state when the images were acquired.",)


def iso_date(value: str) -> str:
    """Return a DICOM date (VR DA) as ISO 8601, or empty where it is none."""
    if not value:
        return ""
    try:
        return DA(value).isoformat()
    except ValueError:
        return ""


def _moment(header: Dataset) -> str:
    """Return one file's acquisition date and time, the time only where it is sound."""
    whole = _text(header, "AcquisitionDateTime")
    day, clock = iso_date(_text(header, "AcquisitionDate")), _text(header, "AcquisitionTime")
    stamp = _stamp(whole) or (_stamp(f"{day.replace('-', '')}{clock}") if day and clock else None)
    if stamp is not None:
        return _with_offset(stamp, header)
    return iso_date(whole[:8]) or day


def _stamp(value: str) -> DT | None:
    """Return a DICOM date and time (VR DT), or None unless it reaches at least to the minute."""
    if not TO_THE_MINUTE.match(value):
        return None
    try:
        return DT(value)
    except ValueError:
        return None


def _with_offset(stamp: DT, header: Dataset) -> str:
    """Write a date and time, with the file's Timezone Offset From UTC where it has none itself."""
    iso = stamp.isoformat(timespec="seconds")
    offset = _text(header, "TimezoneOffsetFromUTC")
    if stamp.tzinfo is None and OFFSET.fullmatch(offset):
        return f"{iso}{offset[:3]}:{offset[3:]}"
    return iso


def _text(header: Dataset, keyword: str) -> str:
    value = header.get(keyword)
    return "" if value is None else str(value).strip()
