"""The filtration rate over a life: own course, operation, lost kidneys, events."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.lived import Lived
    from thalweg.plan.lifecourse.rates import OptionRates, Start
    from thalweg.plan.lifecourse.world import Block

    Floats = NDArray[np.float64]

__all__ = ["filtration"]


def filtration(
    option: OptionRates,
    start: Start,
    failure_gfr: float,
    lost: tuple[Floats, ...] | None,
    times: Mapping[str, Floats],
    found: Lived,
    block: Block,
) -> None:
    """Add the filtration rate at each horizon, and whether the kidneys have failed by then.

    The rate never rises on its way (a rising course is not carried on, and no part of the model
    raises it), so that it has been below a limit exactly when it is below it at the end.
    """
    change = option.gfr_change
    if start.gfr is None or start.gfr_per_year is None or change is None:
        return
    time = found.moments.reached
    own = block.value(start.gfr) + np.minimum(block.value(start.gfr_per_year), 0.0) * time
    percent = np.minimum(block.value(change.percent), 0.0)
    share = 1.0 + percent / 100.0 * np.minimum(time / change.years, 1.0)
    rate = own * np.maximum(share, 0.0)
    if lost is not None:
        rate = rate * _left(start, lost, time, block)
    for fall in option.falls:
        rate = rate - block.value(fall.each) * (times[fall.event] <= time)
    rate = np.maximum(rate, 0.0)
    found.gfr = rate
    found.values["kidney-failure"] = rate < failure_gfr


def _left(start: Start, lost: tuple[Floats, ...], time: Floats, block: Block) -> Floats:
    """Return the part of the filtration that is left once kidneys are lost, 0 to 1."""
    if start.units == 1:
        return np.where(lost[0] <= time, 0.0, 1.0)
    more = 1.0 + block.value(start.compensation)
    first = block.value(start.first_share)
    without = [np.minimum((1.0 - share) * more, 1.0) for share in (first, 1.0 - first)]
    gone = [when <= time for when in lost]
    left = np.where(gone[0], without[0], np.where(gone[1], without[1], 1.0))
    return np.where(gone[0] & gone[1], 0.0, left)
