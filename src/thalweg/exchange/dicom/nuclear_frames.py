"""Which frames of a dynamic nuclear-medicine file belong together, and when each was counted.

The frame indexing vectors are those of PS3.3 C.8.4.8.1, the times those of C.8.4.14: a phase is a
run of frames of one duration with one pause between them, and Phase Delay is the time between
the last frame of the phase before and the first of this one. Times in the file are milliseconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import ImageError

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pydicom import Dataset

__all__ = ["FrameIndex", "Timing", "frame_index", "timing_of"]

COUNTED_BY: Final = {
    "EnergyWindowVector": ("NumberOfEnergyWindows", "energy window"),
    "DetectorVector": ("NumberOfDetectors", "detector"),
    "PhaseVector": ("NumberOfPhases", "phase"),
}
EXPORT: Final = "export the study again, or give its curves as a table"


@dataclass(frozen=True, eq=False)
class FrameIndex:
    """Energy window, detector, phase and time slice of every frame, from 1.

    Parameters
    ----------
    window, detector, phase, time_slice : ndarray of intp, shape (frames,)
    windows, detectors, phases : int
        How many there are of each.
    """

    window: NDArray[np.intp]
    detector: NDArray[np.intp]
    phase: NDArray[np.intp]
    time_slice: NDArray[np.intp]
    windows: int
    detectors: int
    phases: int


@dataclass(frozen=True, eq=False)
class Timing:
    """Frames of one detector in one energy window, in the order of time.

    Parameters
    ----------
    frames : tuple of int
        Their indices in the file, from 0.
    starts_s, durations_s : ndarray of float64, shape (frames,)
        In seconds after the first of them began.
    cautions : tuple of str
        What the file leaves open about its times.
    """

    frames: tuple[int, ...]
    starts_s: NDArray[np.float64]
    durations_s: NDArray[np.float64]
    cautions: tuple[str, ...] = ()


def frame_index(header: Dataset) -> FrameIndex:
    """Read the frame indexing vectors.

    Raises
    ------
    ImageError
        A vector is missing where its index has more than one value, has another length than there
        are frames, or holds a number beyond what the file says there is.
    """
    frames = int(header.get("NumberOfFrames") or 1)
    read = {vector: _vector(header, vector, frames) for vector in COUNTED_BY}
    slices = _given(header, "TimeSliceVector")
    if slices is None:
        raise ImageError("does not number its frames (Time Slice Vector is missing)", mend=EXPORT)
    _require_length(slices, frames, "time slice")
    return FrameIndex(
        read["EnergyWindowVector"][0],
        read["DetectorVector"][0],
        read["PhaseVector"][0],
        slices,
        read["EnergyWindowVector"][1],
        read["DetectorVector"][1],
        read["PhaseVector"][1],
    )


def _given(header: Dataset, keyword: str) -> NDArray[np.intp] | None:
    value = header.get(keyword)
    if value is None or value == "":
        return None
    return np.atleast_1d(np.asarray(value, dtype=np.intp))


def _require_length(vector: NDArray[np.intp], frames: int, name: str) -> None:
    if vector.size != frames:
        raise ImageError(f"gives {vector.size} {name} numbers for {frames} frames", mend=EXPORT)


def _vector(header: Dataset, keyword: str, frames: int) -> tuple[NDArray[np.intp], int]:
    """Return an indexing vector and how many values it may have."""
    counter, name = COUNTED_BY[keyword]
    vector = _given(header, keyword)
    stated = header.get(counter)
    count = int(stated) if stated not in (None, "") else None
    if vector is None:
        if count not in (None, 1):
            raise ImageError(
                f"has {count} {name}s but does not say which frame belongs to which", mend=EXPORT
            )
        return np.ones(frames, dtype=np.intp), 1
    _require_length(vector, frames, name)
    most = count if count is not None else int(vector.max())
    if vector.min() < 1 or vector.max() > most:
        raise ImageError(
            f"numbers a frame's {name} {int(vector.max() if vector.min() >= 1 else vector.min())}, "
            f"outside 1 to {most}",
            mend=EXPORT,
        )
    return vector, most


def timing_of(header: Dataset, index: FrameIndex, *, detector: int, window: int) -> Timing:
    """Put the frames of one detector and energy window in time.

    Parameters
    ----------
    header : Dataset
        With Phase Information Sequence.
    index : FrameIndex
        Of the same file.
    detector, window : int
        From 1.

    Raises
    ------
    ImageError
        The file does not say how long its frames lasted, or contradicts itself.
    """
    phases = list(header.get("PhaseInformationSequence") or ())
    if len(phases) != index.phases:
        what = f"describes {len(phases)} phases but says it holds {index.phases}"
        missing = "does not say how long its frames lasted (Phase Information Sequence is missing)"
        raise ImageError(what if phases else missing, mend=EXPORT)
    frames: list[int] = []
    starts: list[float] = []
    durations: list[float] = []
    cautions: list[str] = []
    clock = 0.0
    for number, phase in enumerate(phases, start=1):
        own = _frames_of_phase(phase, index, detector, window, number)
        duration = _milliseconds(phase, "ActualFrameDuration", number)
        pause = _milliseconds(phase, "PauseBetweenFrames", number)
        delay = _milliseconds(phase, "PhaseDelay", number)
        if duration <= 0:
            raise ImageError(f"has frames that last no time in phase {number}", mend=EXPORT)
        if number == 1 and delay > 0:
            cautions.append(
                f"The file states a delay of {delay:g} s before the first frame; what went on "
                "then is not on the pictures."
            )
        elif number > 1:
            clock += delay
        for frame in own:
            frames.append(frame)
            starts.append(clock)
            durations.append(duration)
            clock += duration + pause
        clock -= pause
    return Timing(tuple(frames), np.array(starts), np.array(durations), tuple(cautions))


def _frames_of_phase(
    phase: Dataset, index: FrameIndex, detector: int, window: int, number: int
) -> list[int]:
    """Return the indices of one phase's frames in the order of their time slices."""
    chosen = np.flatnonzero(
        (index.phase == number) & (index.detector == detector) & (index.window == window)
    )
    ordered = chosen[np.argsort(index.time_slice[chosen], kind="stable")]
    slices = index.time_slice[ordered]
    if not ordered.size or (np.diff(slices) != 1).any():
        raise ImageError(
            f"has {'gaps or doubles among the' if ordered.size else 'no'} frames of phase {number}",
            mend=EXPORT,
        )
    stated = phase.get("NumberOfFramesInPhase")
    all_channels = index.detectors * index.windows
    if stated in (None, "") or int(stated) not in {ordered.size, ordered.size * all_channels}:
        said = f"should hold {stated}" if stated not in (None, "") else "is said to hold none"
        raise ImageError(
            f"holds {ordered.size} frames in phase {number}, which {said}", mend=EXPORT
        )
    return [int(frame) for frame in ordered]


def _milliseconds(phase: Dataset, keyword: str, number: int) -> float:
    """Return a time of a phase in seconds; pauses and delays that are left out are 0."""
    value = phase.get(keyword)
    if value in (None, ""):
        if keyword == "ActualFrameDuration":
            raise ImageError(
                f"does not say how long the frames of phase {number} lasted", mend=EXPORT
            )
        return 0.0
    seconds = float(value) / 1000.0
    if not math.isfinite(seconds) or seconds < 0:
        raise ImageError(f"has an unusable time in phase {number}", mend=EXPORT)
    return seconds
