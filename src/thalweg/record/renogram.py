"""A renogram: counts over time, as pictures from a gamma camera or as curves of drawn regions.

Times are seconds after the first frame began, which is where the tracer was given unless
`given_s` says otherwise. Counts are what the camera counted in the frame, not a rate.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["BACKGROUNDS", "KIDNEYS", "ROLES", "DynamicImage", "Renogram"]

KIDNEYS: Final = ("left", "right")
BACKGROUNDS: Final = ("left-background", "right-background", "background")
ROLES: Final = (*KIDNEYS, *BACKGROUNDS, "blood", "bladder")
"""What a region may be. ``blood``: heart or great vessel; ``background``: one for both kidneys."""


def _no_pixels() -> Mapping[str, float]:
    return MappingProxyType({})


def _times(starts_s: NDArray[np.float64], durations_s: NDArray[np.float64]) -> None:
    """Refuse frames that do not follow one another in time."""
    if starts_s.ndim != 1 or starts_s.shape != durations_s.shape or starts_s.size < 2:
        raise InputError(
            "the frames of a renogram need one start and one duration each, two frames at least",
            mend="give the start and the duration of every frame",
        )
    if not (np.isfinite(starts_s).all() and np.isfinite(durations_s).all()):
        raise InputError("a frame's start or duration is not a number", mend="correct the times")
    if (durations_s <= 0).any():
        raise InputError("a frame lasts no time at all", mend="correct the frame durations")
    overlap = starts_s[:-1] + durations_s[:-1] - starts_s[1:]
    if (overlap > 0.05 * durations_s[:-1]).any():
        place = int(np.argmax(overlap > 0.05 * durations_s[:-1])) + 2
        raise InputError(
            f"frame {place} begins before the frame before it has ended",
            mend="correct the order or the durations of the frames",
        )


@dataclass(frozen=True, eq=False)
class Renogram:
    """Time–activity curves of regions.

    Parameters
    ----------
    starts_s, durations_s : ndarray of float64, shape (frames,)
        Start of each frame after the first frame's start, and how long it lasted, in seconds.
    counts : mapping of str to ndarray of float64, shape (frames,)
        By role (`ROLES`); counts of the whole region in the frame, not corrected for background.
    pixels : mapping of str to float
        Area of each region in pixels; a role is absent where the source does not say.
    tracer : str
        Such as ``"MAG3"``, ``"EC"``, ``"DTPA"``; empty where not known.
    given_s : float
        When the tracer was given, in seconds after the first frame's start (0 or more).
    furosemide_s : float, optional
        When furosemide was given, in seconds after the tracer; negative before it; None where it
        was not given or the source does not say.
    half_life_s : float
        Physical half-life of the label, in seconds. Technetium-99m: 6.0067 h.
    decay_corrected : bool, optional
        Whether the counts were already corrected for decay; None where nobody says.
    view : str
        ``"posterior"``, ``"anterior"``, ``"geometric mean"``, or empty where nobody says.
    acquired : str
        ISO 8601 date or date and time; empty where not known.
    source_id : str
        ``sha256:`` and the hash of the file.
    phantom : bool
        True when it is artificial.
    cautions : tuple of str
        Sentences that any result must carry.

    Raises
    ------
    InputError
        Frames out of order, a role not known, a curve of another length or with negative counts,
        an area that is not above nought.
    """

    starts_s: NDArray[np.float64]
    durations_s: NDArray[np.float64]
    counts: Mapping[str, NDArray[np.float64]]
    pixels: Mapping[str, float] = field(default_factory=_no_pixels)
    tracer: str = ""
    given_s: float = 0.0
    furosemide_s: float | None = None
    half_life_s: float = 6.0067 * 3600.0
    decay_corrected: bool | None = None
    view: str = ""
    acquired: str = ""
    source_id: str = ""
    phantom: bool = False
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _times(self.starts_s, self.durations_s)
        for role, curve in self.counts.items():
            if role not in ROLES:
                raise InputError(
                    f"unknown region {role!r}", mend=f"write one of {', '.join(ROLES)}"
                )
            if curve.shape != self.starts_s.shape:
                raise InputError(
                    f"region {role} has {curve.size} counts for {self.starts_s.size} frames",
                    mend="give one count for every frame",
                )
            if not np.isfinite(curve).all() or (curve < 0).any():
                raise InputError(
                    f"region {role} has a count that is negative or not a number",
                    mend="give raw counts, before any background is taken off",
                )
        for role, area in self.pixels.items():
            if role not in self.counts or not (np.isfinite(area) and area > 0):
                raise InputError(
                    f"the area of region {role} is not a number above 0 of a region that is given",
                    mend="give the area in pixels",
                )

    @property
    def middles_s(self) -> NDArray[np.float64]:
        """Middle of each frame in seconds after the tracer was given; shape (frames,)."""
        return self.starts_s + 0.5 * self.durations_s - self.given_s


@dataclass(frozen=True, eq=False)
class DynamicImage:
    """Frames of a gamma camera, before regions are drawn.

    Parameters
    ----------
    counts : ndarray, shape (frames, rows, columns)
        Counts of each pixel in each frame.
    starts_s, durations_s : ndarray of float64, shape (frames,)
        As in `Renogram`.
    view : str
        ``"posterior"``, ``"anterior"``, or empty where the file does not say.
    left_at : str
        Where on the picture the person's left lies: ``"left"``, ``"right"``, or empty where the
        file does not settle it; then no side may be named.
    pixel_mm : tuple of float, optional
        Distance between rows and between columns, in millimetres.
    """

    counts: NDArray[np.float32]
    starts_s: NDArray[np.float64]
    durations_s: NDArray[np.float64]
    view: str = ""
    left_at: str = ""
    pixel_mm: tuple[float, float] | None = None
    tracer: str = ""
    half_life_s: float = 6.0067 * 3600.0
    decay_corrected: bool | None = None
    acquired: str = ""
    source_id: str = ""
    phantom: bool = False
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _times(self.starts_s, self.durations_s)
        if self.counts.ndim != 3 or self.counts.shape[0] != self.starts_s.size:
            msg = f"frames of shape {self.counts.shape} for {self.starts_s.size} starts"
            raise ValueError(msg)

    def curves(
        self,
        regions: Mapping[str, NDArray[np.bool_]],
        *,
        given_s: float = 0.0,
        furosemide_s: float | None = None,
    ) -> Renogram:
        """Sum the counts inside each region.

        Parameters
        ----------
        regions : mapping of str to ndarray of bool, shape (rows, columns)
            By role (`ROLES`).
        given_s, furosemide_s : float
            As in `Renogram`.

        Raises
        ------
        InputError
            A region of another shape than the picture, or without a pixel.
        """
        shape = self.counts.shape[1:]
        for role, mask in regions.items():
            if mask.shape != shape or not mask.any():
                raise InputError(
                    f"region {role} does not lie on the picture of {shape[0]} by {shape[1]} pixels",
                    mend="draw it again on this picture",
                )
        return Renogram(
            starts_s=self.starts_s,
            durations_s=self.durations_s,
            counts={
                role: self.counts[:, mask].sum(axis=1, dtype=np.float64)
                for role, mask in regions.items()
            },
            pixels={role: float(mask.sum()) for role, mask in regions.items()},
            tracer=self.tracer,
            given_s=given_s,
            furosemide_s=furosemide_s,
            half_life_s=self.half_life_s,
            decay_corrected=self.decay_corrected,
            view=self.view,
            acquired=self.acquired,
            source_id=self.source_id,
            phantom=self.phantom,
            cautions=self.cautions,
        )
