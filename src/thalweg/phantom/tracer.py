"""What a tracer does in an artificial person: blood, kidneys, pelves, tissue, bladder.

Amounts are parts of what was injected. Curves are not drawn: they follow from a blood input, an
uptake proportional to it, the times that urine takes through the parenchyma, and urine flow through
pelves of a given volume. Sizes are plausible for MAG3 (from memory) and describe no population.

Sources: uptake proportional to the integral of the blood curve, Rutland 1979 and Patlak 1983;
retention as the convolution of the input with the survival of transit times, Meier and Zierler
1954; the pelvis as a stirred vessel.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import gammaincc

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BloodInput",
    "KidneySpec",
    "KidneyTracer",
    "TissueSpec",
    "kidney_tracer",
    "tissue_amount",
]

Side = Literal["left", "right"]

STEP_S = 2.0
"""Step of the fine grid. Inputs are integrated over each step in closed form."""

FUROSEMIDE_LAG_S = 90.0
FUROSEMIDE_RISE_S = 120.0
"""Urine flow begins to rise so long after furosemide, and takes so long to its height."""


@dataclass(frozen=True)
class BloodInput:
    """Part of the dose in the blood after a bolus: exponentials after a quick mixing.

    Parameters
    ----------
    parts : tuple of float
        Weights of the exponentials.
    half_times_s : tuple of float
        Their half-times in seconds.
    mixing_s : float
        Time constant with which the bolus arrives, in seconds; not that of any exponential.
    """

    parts: tuple[float, ...] = (0.65, 0.25, 0.10)
    half_times_s: tuple[float, ...] = (30.0, 180.0, 1500.0)
    mixing_s: float = 8.0

    def _terms(self) -> list[tuple[float, float]]:
        """Return weight and rate of each exponential, the mixing's own last."""
        mixing = 1.0 / self.mixing_s
        rates = [np.log(2.0) / half for half in self.half_times_s]
        weights = [
            part * mixing / (mixing - rate) for part, rate in zip(self.parts, rates, strict=True)
        ]
        return [*zip(weights, rates, strict=True), (-sum(weights), mixing)]

    def amount(self, time_s: ArrayLike) -> NDArray[np.float64]:
        """Return the part of the dose in the blood; nought before the injection."""
        after = np.maximum(np.asarray(time_s, dtype=np.float64), 0.0)
        return np.asarray(sum(w * np.exp(-rate * after) for w, rate in self._terms()))

    def integral(self, time_s: ArrayLike) -> NDArray[np.float64]:
        """Return the integral of `amount` from the injection on, in seconds."""
        after = np.maximum(np.asarray(time_s, dtype=np.float64), 0.0)
        return np.asarray(sum(w / rate * -np.expm1(-rate * after) for w, rate in self._terms()))


@dataclass(frozen=True)
class TissueSpec:
    """What lies over and under the kidneys: blood and interstitium, per square centimetre.

    Parameters
    ----------
    per_cm2 : float
        Part of the body's blood, and of its interstitium, seen through one cm².
    into_per_s, back_per_s : float
        Exchange of the interstitium with the blood.
    """

    per_cm2: float = 5.0e-4
    into_per_s: float = 0.0035
    back_per_s: float = 0.0018


@dataclass(frozen=True)
class KidneySpec:
    """One kidney and its pelvis.

    Parameters
    ----------
    uptake_per_s : float
        Clearance as a part of the blood's tracer per second.
    blood : float
        Part of the body's blood that lies inside the kidney.
    least_transit_s, mean_extra_transit_s, transit_shape : float
        Parenchymal transit at resting flow: the least, and a gamma-distributed time beyond it.
    flow_ml_min : float
        Urine flow of this kidney at rest.
    diuretic_flow_ml_min : float
        The same at the height of furosemide's effect.
    outflow_limit_ml_min : float, optional
        No more than this leaves the pelvis, nor then enters it: an obstruction.
    pelvis_ml : float
        Volume in which the urine mixes.
    """

    uptake_per_s: float = 0.00125
    blood: float = 0.010
    least_transit_s: float = 120.0
    mean_extra_transit_s: float = 60.0
    transit_shape: float = 3.0
    flow_ml_min: float = 2.0
    diuretic_flow_ml_min: float = 12.0
    outflow_limit_ml_min: float | None = None
    pelvis_ml: float = 6.0

    def dilated(self, pelvis_ml: float = 45.0) -> KidneySpec:
        """Return the same kidney with a wide pelvis that nothing obstructs."""
        return replace(self, pelvis_ml=pelvis_ml)

    def obstructed(self, outflow_limit_ml_min: float = 0.8, pelvis_ml: float = 45.0) -> KidneySpec:
        """Return the same kidney behind an obstruction."""
        return replace(self, outflow_limit_ml_min=outflow_limit_ml_min, pelvis_ml=pelvis_ml)

    def flow(self, time_s: ArrayLike, furosemide_s: float | None) -> NDArray[np.float64]:
        """Return the urine flow in mL/min at times after the tracer."""
        time = np.asarray(time_s, dtype=np.float64)
        flow = np.full(time.shape, self.flow_ml_min)
        if furosemide_s is not None:
            risen = (time - furosemide_s - FUROSEMIDE_LAG_S) / FUROSEMIDE_RISE_S
            flow += (self.diuretic_flow_ml_min - self.flow_ml_min) * np.clip(risen, 0.0, 1.0)
        if self.outflow_limit_ml_min is not None:
            flow = np.minimum(flow, self.outflow_limit_ml_min)
        return flow


@dataclass(frozen=True, eq=False)
class KidneyTracer:
    """Tracer in one kidney on the fine grid, as parts of the dose.

    Parameters
    ----------
    time_s : ndarray of float64, shape (steps,)
    taken_up, parenchyma, pelvis, gone : ndarray of float64, shape (steps,)
        Taken up so far; of it in the parenchyma, in the pelvis, and gone down the ureter. The last
        three sum to the first.
    """

    time_s: NDArray[np.float64]
    taken_up: NDArray[np.float64]
    parenchyma: NDArray[np.float64]
    pelvis: NDArray[np.float64]
    gone: NDArray[np.float64] = field(repr=False)

    @property
    def content(self) -> NDArray[np.float64]:
        """In the kidney and its pelvis, without the blood in them."""
        return self.parenchyma + self.pelvis


TRANSIT_QUICKENS = 0.3
"""Parenchymal transit shortens with urine flow to this power (ours, for the look only)."""


@lru_cache(maxsize=64)
def kidney_tracer(
    kidney: KidneySpec, blood: BloodInput, furosemide_s: float | None, until_s: float
) -> KidneyTracer:
    """Return where a kidney's tracer is, from the injection to `until_s`.

    Under changing flow, transit runs on a clock of its own that goes faster with the flow, on which
    the spectrum of transit times stays the same.
    """
    time = np.arange(0.0, until_s + STEP_S, STEP_S)
    taken_up = kidney.uptake_per_s * blood.integral(time)
    middle = time[:-1] + 0.5 * STEP_S
    flow = kidney.flow(middle, furosemide_s)
    quicker = (flow / kidney.flow_ml_min) ** TRANSIT_QUICKENS
    clock = np.concatenate([[0.0], np.cumsum(quicker * STEP_S)])
    parenchyma = _retained(kidney, np.diff(taken_up), clock)
    passed = np.maximum(np.diff(taken_up) - np.diff(parenchyma), 0.0)
    pelvis = np.zeros_like(time)
    loss = flow / 60.0 / kidney.pelvis_ml
    for step, (rate, entering) in enumerate(zip(loss, passed, strict=True)):
        kept = np.exp(-rate * STEP_S)
        pelvis[step + 1] = pelvis[step] * kept + entering * (1.0 - kept) / (rate * STEP_S)
    return KidneyTracer(time, taken_up, parenchyma, pelvis, taken_up - parenchyma - pelvis)


def _retained(
    kidney: KidneySpec, taken_up: NDArray[np.float64], clock: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return what the parenchyma holds: each step's uptake times the survival of its transit."""
    born = 0.5 * (clock[:-1] + clock[1:])
    lag = np.arange(0.0, clock[-1] + STEP_S, 0.5 * STEP_S)
    beyond = np.maximum(lag - kidney.least_transit_s, 0.0)
    shape = kidney.transit_shape
    survival = gammaincc(shape, beyond * shape / kidney.mean_extra_transit_s)
    held = np.zeros(clock.size)
    for at in range(1, clock.size):
        held[at] = taken_up[:at] @ np.interp(clock[at] - born[:at], lag, survival)
    return held


def tissue_amount(tissue: TissueSpec, blood: BloodInput, time_s: ArrayLike) -> NDArray[np.float64]:
    """Return blood and interstitium together as a part of the dose, before `per_cm2`.

    The interstitium is the blood's exponentials convolved with its own; in closed form on the
    blood's terms, so that nothing of the fine grid enters.
    """
    after = np.maximum(np.asarray(time_s, dtype=np.float64), 0.0)
    back = tissue.back_per_s
    interstitium = np.zeros_like(after)
    for weight, rate in blood._terms():  # noqa: SLF001 - one model in one module
        gap = back - rate
        interstitium += weight / gap * (np.exp(-rate * after) - np.exp(-back * after))
    return np.asarray(blood.amount(after) + tissue.into_per_s * interstitium)
