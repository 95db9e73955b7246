"""What a block of lives goes through with one option."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.plan.lifecourse.deaths import DAYS_A_YEAR, deaths
from thalweg.plan.lifecourse.kidneys import filtration
from thalweg.plan.lifecourse.tubes import tubes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.rates import Burden, LateEvent, OptionRates, Rates, Start
    from thalweg.plan.lifecourse.world import Block

    Floats = NDArray[np.float64]

__all__ = ["Lived", "Moments", "lived"]


@dataclass(frozen=True, eq=False)
class Moments:
    """The horizons at which lives are looked at, and what each life has reached by then.

    Parameters
    ----------
    years : ndarray, shape (horizons,)
        After the operation; the last is infinite: the whole life.
    death : ndarray, shape (worlds, lives)
        Years after the operation.
    reached : ndarray, shape (horizons, worlds, lives)
        Years lived by each horizon.
    """

    years: Floats
    death: Floats
    reached: Floats

    @property
    def alive(self) -> NDArray[np.bool_]:
        """Who is alive at each horizon, shape (horizons, worlds, lives)."""
        return self.death > self.years[:, None, None]


@dataclass(eq=False)
class Lived:
    """What happened, by figure; each value of shape (horizons, worlds, lives).

    Parameters
    ----------
    moments : Moments
    values : dict
        By figure: years lived, counts, days; or whether something has happened.
    parts : dict
        By figure and event, the parts of a total.
    gfr : ndarray or None
        Filtration rate at each horizon or at death before it, mL/min per 1.73 m².
    tube_now : ndarray or None
        Who has a tube in at each horizon.
    """

    moments: Moments
    values: dict[str, NDArray[Any]] = field(default_factory=dict)
    parts: dict[tuple[str, str], NDArray[Any]] = field(default_factory=dict)
    gfr: Floats | None = None
    tube_now: NDArray[np.bool_] | None = None


def lived(
    option: OptionRates, start: Start, rates: Rates, years: Sequence[float], block: Block
) -> Lived:
    """Return what the block's lives go through with this option.

    Parameters
    ----------
    option : OptionRates
        One of `rates.options`.
    start : Start
    rates : Rates
    years : sequence of float
        Horizons, rising; the last may be infinite.
    block : Block
    """
    death = deaths(option, start, block)
    horizons = np.asarray(years, dtype=np.float64)
    moments = Moments(horizons, death, np.minimum(death, horizons[:, None, None]))
    found = Lived(moments)
    found.values["survival"] = moments.alive
    found.values["years-lived"] = moments.reached
    for one in option.early:
        struck = block.uniform(one.key) < block.value(one.share)
        found.values[f"event:{one.key}"] = np.broadcast_to(struck, moments.reached.shape)
    lost = _lost_units(option, start, found, block)
    clock = tubes(option, start, lost, found, block)
    times: dict[str, Floats] = {}
    for event in option.late:
        _late(event, start, found, times, clock, block)
    _totals("operations", option.operations, found, block)
    _totals("nights", option.nights, found, block)
    if option.bags is not None:
        found.values["bag-days"] = moments.reached * (DAYS_A_YEAR if option.bags else 0.0)
    filtration(option, start, rates.failure_gfr, lost, times, found, block)
    return found


def _lost_units(
    option: OptionRates, start: Start, found: Lived, block: Block
) -> tuple[Floats, ...] | None:
    """Return when each renal unit is lost, years; None where no rate is known."""
    event = option.lost_unit
    if event is None:
        return None
    lost = tuple(when(event, unit, block) for unit in range(start.units))
    first = np.minimum.reduce(lost)
    found.values["lost-unit"] = first <= found.moments.reached
    return lost


def when(event: LateEvent, unit: int, block: Block) -> Floats:
    """Return when an event first comes to a unit, years; shape (worlds, lives)."""
    rate = block.value(event.rate)
    with np.errstate(divide="ignore"):
        return event.shape.when(block.exponential(f"{event.key} {unit}") / rate)


def _late(
    event: LateEvent,
    start: Start,
    found: Lived,
    times: dict[str, Floats],
    clock: Floats | None,
    block: Block,
) -> None:
    """Add how often an event has come by each horizon, and whether it has."""
    units = start.units if event.per_unit else 1
    if event.again:
        exposed = found.moments.reached if not event.with_tube else clock
        if exposed is None:
            return
        # Units run side by side: their processes together are one of the summed rate.
        share = 1 if event.with_tube else units
        summed = block.value(event.rate) * share * event.shape.at(exposed)
        count = block.counted(event.key, summed)
        found.parts["events", event.key] = count
        found.values[f"event:{event.key}"] = count > 0
        return
    each = [when(event, unit, block) for unit in range(units)]
    times[event.key] = each[0] if units == 1 else np.minimum.reduce(each)
    happened = [one <= found.moments.reached for one in each]
    struck = np.asarray(np.sum(happened, axis=0, dtype=np.int16))
    found.parts["events", event.key] = struck
    found.values[f"event:{event.key}"] = struck > 0


def _totals(figure: str, burdens: tuple[Burden, ...] | None, found: Lived, block: Block) -> None:
    """Add up a total over its parts."""
    if burdens is None:
        return
    total: Any = np.zeros(found.moments.reached.shape)
    for burden in burdens:
        each = block.value(burden.each)
        if burden.event == "operation":
            part = np.broadcast_to(each, found.moments.reached.shape)
        else:
            part = each * found.parts["events", burden.event]
        found.parts[figure, burden.event] = part
        total = total + part
    found.values[figure] = total
