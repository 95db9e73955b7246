"""Tubes in the kidneys' outflow: days with one, and how often it is changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.lifecourse.deaths import DAYS_A_YEAR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.lived import Lived
    from thalweg.plan.lifecourse.rates import OptionRates, Start, Tube
    from thalweg.plan.lifecourse.world import Block

    Floats = NDArray[np.float64]

__all__ = ["tubes"]

DAYS_A_WEEK = 7.0


def tubes(
    option: OptionRates,
    start: Start,
    lost: tuple[Floats, ...] | None,
    found: Lived,
    block: Block,
) -> Floats | None:
    """Add days with a tube, changes, and who has one now; return tube-years of each life.

    A day with two tubes is one day; a change of each of two tubes is two changes. A tube ends with
    the kidney it drains. Tubes of the first weeks are taken out, not changed.

    Returns
    -------
    ndarray or None
        Years summed over tubes by each horizon, shape (horizons, worlds, lives); None where it is
        not known how long tubes stay.
    """
    tube = option.tube
    if tube is None:
        return None
    reached, death = found.moments.reached, found.moments.death
    units = start.units if tube.per_unit else 1
    first = (
        np.zeros((block.shape[0], 1))
        if tube.first_days is None
        else block.value(tube.first_days) / DAYS_A_YEAR
    )
    kept_from = [_kept_from(tube, unit, first, block) for unit in range(units)]
    ends = [np.inf if lost is None or not tube.per_unit else lost[unit] for unit in range(units)]
    spans = [
        np.maximum(np.minimum(reached, end) - begin, 0.0)
        for begin, end in zip(kept_from, ends, strict=True)
    ]
    together = spans[0] if units == 1 else _either(kept_from, ends, spans, reached)
    found.values["tube-days"] = DAYS_A_YEAR * (np.minimum(reached, first) + together)
    if tube.every_weeks is not None:
        every = block.value(tube.every_weeks) * DAYS_A_WEEK / DAYS_A_YEAR
        # A change falls due somewhere within the first interval: over a life the number of
        # changes is then the time over the interval, on average.
        changes = [
            np.floor(span / every + block.uniform(f"day of change {unit}"))
            for unit, span in enumerate(spans)
        ]
        found.values["tube-changes"] = np.sum(changes, axis=0)
    elif not tube.always and tube.kept is None:
        found.values["tube-changes"] = np.zeros(reached.shape)
    now = found.moments.years[:, None, None]
    in_now = now < first
    for begin, end in zip(kept_from, ends, strict=True):
        in_now = in_now | ((begin <= now) & (now < end))
    found.tube_now = in_now & (death > now)
    return np.asarray(np.minimum(reached, first) * units + np.sum(spans, axis=0))


def _kept_from(tube: Tube, unit: int, first: Floats, block: Block) -> Floats:
    """Return from when on a unit keeps a tube, years; infinite if never."""
    if tube.always:
        return np.broadcast_to(first, block.shape)
    if tube.kept is None:
        return np.full(block.shape, np.inf)
    event = tube.kept
    with np.errstate(divide="ignore"):
        stands = block.exponential(f"{event.key} {unit}") / block.value(event.rate)
    return np.maximum(event.shape.when(stands), first)


def _either(
    begins: list[Floats], ends: list[Floats | float], spans: list[Floats], reached: Floats
) -> Floats:
    """Return the time in which at least one of two tubes is in: both spans less their overlap."""
    begin = np.maximum(begins[0], begins[1])
    end = np.minimum(np.minimum(ends[0], ends[1]), reached)
    return np.asarray(spans[0] + spans[1] - np.maximum(end - begin, 0.0))
