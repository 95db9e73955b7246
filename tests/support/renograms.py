"""Renograms without noise from plain functions of time, and artificial ones for the tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.phantom.renogram import Phase, RenogramSpec
from thalweg.phantom.tracer import KidneySpec
from thalweg.record.renogram import Renogram

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

QUICK = (Phase(0.0, 18, 10.0), Phase(180.0, 111, 20.0), Phase(3000.0, 3, 20.0))
"""40 minutes in few frames, then one minute after emptying."""


def exact(
    curves: Mapping[str, Callable[[NDArray[np.float64]], NDArray[np.float64]]],
    *,
    frame_s: float = 10.0,
    until_s: float = 2400.0,
    **more: Any,
) -> Renogram:
    """Return a renogram whose frames hold the mean rate of each curve, by fine sums; no noise."""
    starts = np.arange(0.0, until_s - 0.5 * frame_s, frame_s)
    fine = (np.arange(200) + 0.5) / 200 * frame_s
    counts = {
        role: curve((starts[:, None] + fine).ravel()).reshape(starts.size, -1).mean(axis=1)
        * frame_s
        for role, curve in curves.items()
    }
    settings: dict[str, Any] = {"decay_corrected": True, "acquired": "2026-03-04", "tracer": "MAG3"}
    settings.update(more)
    return Renogram(
        starts_s=starts, durations_s=np.full(starts.size, frame_s), counts=counts, **settings
    )


HEALTHY = KidneySpec()
SPECS: dict[str, RenogramSpec] = {
    "normal": RenogramSpec(phases=QUICK, emptied_s=2700.0),
    "dilated": RenogramSpec(
        left=HEALTHY.dilated(), phases=QUICK, furosemide_s=1200.0, emptied_s=2700.0
    ),
    "obstructed": RenogramSpec(
        left=HEALTHY.obstructed(), phases=QUICK, furosemide_s=1200.0, emptied_s=2700.0
    ),
    "poor": RenogramSpec(
        left=KidneySpec(uptake_per_s=0.00014), phases=QUICK, furosemide_s=1200.0, emptied_s=2700.0
    ),
    "infant": RenogramSpec(
        left=HEALTHY.dilated(20.0),
        phases=QUICK,
        furosemide_s=0.0,
        emptied_s=2700.0,
        counts_per_s=1000.0,
        size=0.45,
        pixel_mm=2.4,
    ),
}
