"""One detector's frames in one energy window, put together over the files of a series."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.nuclear_counts import require_counts
from thalweg.exchange.dicom.nuclear_frames import frame_index, timing_of
from thalweg.exchange.dicom.nuclear_label import began_at, choose_window, label_of
from thalweg.exchange.dicom.nuclear_sides import view_in

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray
    from pydicom import Dataset

    from thalweg.exchange.dicom.scan import OpenedFile

__all__ = ["Channel", "channels_of", "choose_channels"]

CLOCK_S: Final = 1.0
"""Times of day are often written in whole seconds: files may seem to overlap by as much."""


@dataclass(frozen=True, eq=False)
class Channel:
    """What one detector counted in one energy window.

    Parameters
    ----------
    header : Dataset
        Of its first file.
    item : Dataset or None
        Its item of Detector Information Sequence.
    alone : bool
        Whether its file holds no other detector.
    view : str
        As its code says; empty where it does not.
    frames : tuple of (OpenedFile, int)
        File and index of each frame, in the order of time.
    starts_s, durations_s : ndarray of float64, shape (frames,)
        In seconds after the first frame began.
    cautions : tuple of str
    """

    header: Dataset = field(repr=False)
    item: Dataset | None = field(repr=False)
    alone: bool
    view: str
    frames: tuple[tuple[OpenedFile, int], ...] = field(repr=False)
    starts_s: NDArray[np.float64]
    durations_s: NDArray[np.float64]
    cautions: tuple[str, ...] = ()


def channels_of(opened: list[OpenedFile], energy_window: int | None) -> list[Channel]:
    """Return the channels of a series, one for each detector.

    Parameters
    ----------
    opened : list of OpenedFile
        Dynamic files of one series.
    energy_window : int, optional
        As a person chose, from 1.

    Raises
    ------
    ImageError
        A file contradicts itself, or the files do not fit together.
    """
    files = [_channels(each, energy_window) for each in opened]
    if len(files) == 1:
        return files[0]
    _require_same_matrix(opened)
    moments = [began_at(each.header) for each in opened]
    begun = [moment for moment in moments if moment is not None]
    if len(begun) < len(moments) or len({moment.tzinfo is None for moment in begun}) > 1:
        raise ImageError(
            f"are {len(opened)} files that do not say when each began, so that their order is not "
            "known",
            mend="export the study as one file",
        )
    if _at_once(begun, files):
        return [channel for file in files for channel in file]
    return _in_turn(begun, files)


def _channels(opened: OpenedFile, energy_window: int | None) -> list[Channel]:
    try:
        header = opened.header
        require_counts(header)
        index = frame_index(header)
        window, said = choose_window(header, label_of(header), index.windows, energy_window)
        items = list(header.get("DetectorInformationSequence") or ())
        if items and len(items) != index.detectors:
            raise ImageError(
                f"describes {len(items)} detectors but says it has {index.detectors}",
                mend="export the study again",
            )
        channels = []
        for number in range(1, index.detectors + 1):
            timing = timing_of(header, index, detector=number, window=window)
            item = items[number - 1] if items else None
            channels.append(
                Channel(
                    header,
                    item,
                    index.detectors == 1,
                    view_in(item),
                    tuple((opened, frame) for frame in timing.frames),
                    timing.starts_s,
                    timing.durations_s,
                    (*said, *timing.cautions),
                )
            )
    except InputError as error:
        raise error.at(str(opened.path)) from error
    return channels


def _require_same_matrix(opened: list[OpenedFile]) -> None:
    if len({(int(each.header.Rows), int(each.header.Columns)) for each in opened}) > 1:
        raise ImageError(
            "are files of different rows and columns", mend="give the files of one acquisition"
        )


def _at_once(begun: list[datetime], files: list[list[Channel]]) -> bool:
    """Say whether the files were counted at the same time, by detectors side by side."""
    apart = max((moment - begun[0]).total_seconds() for moment in begun)
    apart -= min((moment - begun[0]).total_seconds() for moment in begun)
    first = files[0][0]
    return apart <= CLOCK_S and all(
        np.array_equal(first.starts_s, channel.starts_s)
        and np.array_equal(first.durations_s, channel.durations_s)
        for file in files
        for channel in file
    )


def _in_turn(begun: list[datetime], files: list[list[Channel]]) -> list[Channel]:
    """Put files one after another by the time each began."""
    order = sorted(range(len(files)), key=lambda place: begun[place])
    first = files[order[0]]
    joined = list(first)
    for place in order[1:]:
        file = files[place]
        if [channel.view for channel in file] != [channel.view for channel in first]:
            raise ImageError(
                "are files that neither show one view after another in time nor different views "
                "of the same time",
                mend="give the files of one acquisition, or one file",
            )
        shift = (begun[place] - begun[order[0]]).total_seconds()
        joined = [_joined(*pair, shift) for pair in zip(joined, file, strict=True)]
    return joined


def _joined(early: Channel, late: Channel, shift_s: float) -> Channel:
    end = float(early.starts_s[-1] + early.durations_s[-1])
    if shift_s < end - CLOCK_S:
        raise ImageError(
            f"are files that overlap in time ({end:g} s after the first began one had not ended, "
            f"but another began at {shift_s:g} s)",
            mend="give the files of one acquisition",
        )
    return replace(
        early,
        frames=early.frames + late.frames,
        starts_s=np.concatenate([early.starts_s, late.starts_s + max(shift_s, end)]),
        durations_s=np.concatenate([early.durations_s, late.durations_s]),
        cautions=tuple(dict.fromkeys(early.cautions + late.cautions)),
    )


def choose_channels(
    channels: list[Channel], detector: int | None, view: str, *, both: bool
) -> list[Channel]:
    """Choose the detector to read, or the posterior and the anterior one.

    Parameters
    ----------
    channels : list of Channel
        All detectors.
    detector : int, optional
        As a person chose, from 1.
    view : str
        Wanted; empty: the only one, or else the posterior one.
    both : bool
        Whether both views are wanted.

    Raises
    ------
    ImageError
        The files do not settle which it is.
    """
    seen = ", ".join(
        f"detector {number}: {channel.view or 'view not stated'}"
        for number, channel in enumerate(channels, start=1)
    )
    if both:
        pairs = [[each for each in channels if each.view == v] for v in ("posterior", "anterior")]
        if any(len(found) != 1 for found in pairs):
            raise ImageError(
                f"does not hold one posterior and one anterior view ({seen})",
                mend="read one view",
            )
        (behind,), (front,) = pairs
        if not np.array_equal(behind.starts_s, front.starts_s):
            raise ImageError("counted its two views at different times", mend="read one view")
        return [behind, front]
    if detector is not None:
        if not 1 <= detector <= len(channels):
            raise ImageError(f"has no detector {detector} ({seen})", mend="give one of these")
        return [channels[detector - 1]]
    if len(channels) == 1:
        return channels
    fitting = [channel for channel in channels if channel.view == (view or "posterior")]
    if len(fitting) != 1:
        raise ImageError(
            f"holds {len(channels)} detectors, {len(fitting)} of them {view or 'posterior'} "
            f"({seen})",
            mend="export the posterior view alone, or give its curves as a table",
        )
    if view:
        return fitting
    said = f"Of {len(channels)} detectors the posterior one was read."
    return [replace(fitting[0], cautions=(said, *fitting[0].cautions))]
