"""An artificial renogram: an invented person before a gamma camera, and what is true of them.

As curves of regions (`renogram`) or as pictures (`renogram_image`). Counting noise is Poisson and
seeded: same arguments, same counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.phantom.gamma_camera import Placed, layout
from thalweg.phantom.tracer import (
    BloodInput,
    KidneySpec,
    KidneyTracer,
    TissueSpec,
    kidney_tracer,
    tissue_amount,
)
from thalweg.record.renogram import KIDNEYS, DynamicImage, Renogram

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["Phase", "RenogramSpec", "RenogramTruth", "renogram", "renogram_image", "renogram_truth"]

PHANTOM_CAUTION: Final = "This renogram is a phantom: it was computed and shows no person."
TECHNETIUM_S: Final = 6.0067 * 3600.0


@dataclass(frozen=True)
class Phase:
    """Frames of one length, one after the other, from `start_s` after the tracer."""

    start_s: float
    frames: int
    frame_s: float


@dataclass(frozen=True)
class RenogramSpec:
    """An invented person and study.

    Parameters
    ----------
    left, right : KidneySpec, optional
        None for a kidney that is not there.
    blood : BloodInput
    tissue : TissueSpec
    phases : tuple of Phase
        Times after the tracer.
    before_s : float
        The first frame began so long before the tracer: frames of 10 s without counts but noise.
    furosemide_s : float, optional
        After the tracer; negative before it.
    emptied_s : float, optional
        When the bladder was emptied.
    counts_per_s : float
        What the camera would count per second were the whole dose before it.
    decays : bool
        Whether the label decays, so that the counts are not corrected for it.
    size : float
        The person's size against an adult's; areas go with its square.
    heart_blood : float
        Part of the body's blood within the blood region.
    mismatch : (left, right)
        Tissue over the kidney against that over its background region, less 1.
    caught : (left, right)
        Part of the kidney that its region catches; for curves, not for pictures.
    view : "posterior" or "anterior"
    pixels : int
        Rows and columns of the picture.
    pixel_mm : float
    blur_mm : float
        Full width at half maximum of the camera's blur.
    acquired : str
    """

    left: KidneySpec | None = field(default_factory=KidneySpec)
    right: KidneySpec | None = field(default_factory=KidneySpec)
    blood: BloodInput = field(default_factory=BloodInput)
    tissue: TissueSpec = field(default_factory=TissueSpec)
    phases: tuple[Phase, ...] = (Phase(0.0, 120, 10.0), Phase(1200.0, 60, 20.0))
    before_s: float = 0.0
    furosemide_s: float | None = None
    emptied_s: float | None = None
    counts_per_s: float = 7000.0
    decays: bool = True
    size: float = 1.0
    heart_blood: float = 0.08
    mismatch: tuple[float, float] = (0.0, 0.0)
    caught: tuple[float, float] = (1.0, 1.0)
    view: str = "posterior"
    pixels: int = 128
    pixel_mm: float = 4.8
    blur_mm: float = 9.0
    acquired: str = ""

    def kidney(self, side: str) -> KidneySpec | None:
        """Return one kidney."""
        return self.left if side == "left" else self.right

    def edges(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return starts after the tracer and durations of all frames, in seconds."""
        early = round(self.before_s / 10.0)
        phases = (Phase(-10.0 * early, early, 10.0), *self.phases)
        starts = [phase.start_s + phase.frame_s * np.arange(phase.frames) for phase in phases]
        lasting = [np.full(phase.frames, phase.frame_s) for phase in phases]
        return np.concatenate(starts), np.concatenate(lasting)


@dataclass(frozen=True, eq=False)
class RenogramTruth:
    """What is true, by the noise-free model without blood and tissue.

    Parameters
    ----------
    kidneys : mapping of side to KidneyTracer
    uptake_per_s : mapping of side to float
    own_blood : mapping of side to ndarray of float64, shape (steps,)
        Tracer in the blood within the kidney, on the same grid.
    """

    kidneys: Mapping[str, KidneyTracer]
    uptake_per_s: Mapping[str, float]
    own_blood: Mapping[str, NDArray[np.float64]]

    @property
    def share_left_percent(self) -> float:
        """The left kidney's share of both kidneys' uptake rate."""
        return 100.0 * self.uptake_per_s.get("left", 0.0) / sum(self.uptake_per_s.values())

    def peak_s(self, side: str) -> float:
        """Return when most tracer was in the kidney, in seconds."""
        kidney = self.kidneys[side]
        return float(kidney.time_s[np.argmax(kidney.content)])

    def _mean(self, side: str, from_s: float, to_s: float) -> float:
        kidney = self.kidneys[side]
        time = np.linspace(from_s, to_s, 201)
        within = np.interp(time, kidney.time_s, kidney.content + self.own_blood[side])
        return float(np.trapezoid(within, time) / (to_s - from_s))

    def half_time_s(self, side: str, from_s: float, to_s: float) -> float:
        """Return ln 2 over the mean rate of fall between two times; infinite where none.

        The mean rate is that of the line of least squares through the logarithm of the content.
        """
        kidney = self.kidneys[side]
        time = np.linspace(from_s, to_s, 401)
        logs = np.log(np.interp(time, kidney.time_s, kidney.content))
        fall = -float(np.polyfit(time, logs, 1)[0])
        return float(np.log(2.0)) / fall if fall > 0 else float("inf")

    def residual(self, side: str, from_s: float, to_s: float) -> float:
        """Return mean activity between two times over that of 1 to 2 minutes.

        As the measure is defined on a kidney's region: with the kidney's own blood, which a
        background beside the kidney does not take off.
        """
        late, early = (self._mean(side, *w) for w in ((from_s, to_s), (60.0, 120.0)))
        return late / early

    def efficiency_percent(self, side: str, at_s: float) -> float:
        """Return what has left the kidney of all it took up, in per cent."""
        kidney = self.kidneys[side]
        taken = np.interp(at_s, kidney.time_s, kidney.taken_up)
        return float(100.0 * np.interp(at_s, kidney.time_s, kidney.gone) / taken)


def renogram_truth(spec: RenogramSpec) -> RenogramTruth:
    """Return what is true of an invented study."""
    starts, lasting = spec.edges()
    until = float(starts[-1] + lasting[-1])
    kidneys = {side: kidney for side in KIDNEYS if (kidney := spec.kidney(side)) is not None}
    tracers = {
        side: kidney_tracer(kidney, spec.blood, spec.furosemide_s, until)
        for side, kidney in kidneys.items()
    }
    return RenogramTruth(
        kidneys=tracers,
        own_blood={
            side: kidney.blood * spec.blood.amount(tracers[side].time_s)
            for side, kidney in kidneys.items()
        },
        uptake_per_s={side: kidney.uptake_per_s for side, kidney in kidneys.items()},
    )


def _framed(
    spec: RenogramSpec, time_s: NDArray[np.float64], amount: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return expected counts of each frame for an amount on the fine grid, decay included."""
    if spec.decays:
        amount = amount * np.exp2(-time_s / TECHNETIUM_S)
    steps = 0.5 * (amount[1:] + amount[:-1]) * np.diff(time_s)
    total = np.concatenate([[0.0], np.cumsum(steps)])
    starts, lasting = spec.edges()
    seen = np.interp(starts + lasting, time_s, total) - np.interp(starts, time_s, total)
    return np.asarray(spec.counts_per_s * seen)


def _amounts(spec: RenogramSpec, truth: RenogramTruth) -> dict[str, NDArray[np.float64]]:
    """Return expected counts of each frame by compartment.

    ``blood`` is the body's whole blood, ``tissue`` what is seen through one square centimetre.
    """
    time = next(iter(truth.kidneys.values())).time_s
    found = {
        "blood": _framed(spec, time, spec.blood.amount(time)),
        "tissue": _framed(
            spec,
            time,
            spec.tissue.per_cm2 / spec.size**2 * tissue_amount(spec.tissue, spec.blood, time),
        ),
    }
    gone = np.zeros_like(time)
    for side, kidney in truth.kidneys.items():
        found[f"{side} parenchyma"] = _framed(spec, time, kidney.parenchyma)
        found[f"{side} pelvis"] = _framed(spec, time, kidney.pelvis)
        gone = gone + kidney.gone
    if spec.emptied_s is not None:
        gone = gone - np.where(time >= spec.emptied_s, np.interp(spec.emptied_s, time, gone), 0.0)
    found["bladder"] = _framed(spec, time, gone)
    return found


def _times(spec: RenogramSpec) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    starts, lasting = spec.edges()
    return starts - starts[0], lasting


def renogram(spec: RenogramSpec, seed: int) -> tuple[Renogram, RenogramTruth]:
    """Return curves of regions drawn exactly, with counting noise.

    Parameters
    ----------
    spec : RenogramSpec
    seed : int
        Of the counting noise.
    """
    truth = renogram_truth(spec)
    amounts = _amounts(spec, truth)
    places = layout(spec.size, spec.pixels, spec.pixel_mm, spec.view)
    cm2 = (spec.pixel_mm / 10.0) ** 2
    means: dict[str, NDArray[np.float64]] = {}
    pixels: dict[str, float] = {}
    for index, side in enumerate(KIDNEYS):
        kidney = spec.kidney(side)
        if kidney is None:
            continue
        pixels[side] = float(places[side].region.sum())
        over = amounts["tissue"] * cm2 * pixels[side] * (1.0 + spec.mismatch[index])
        own = kidney.blood * amounts["blood"]
        inside = amounts[f"{side} parenchyma"] + amounts[f"{side} pelvis"] + own
        means[side] = spec.caught[index] * inside + over
        beside = f"{side}-background"
        pixels[beside] = float(places[beside].region.sum())
        means[beside] = amounts["tissue"] * cm2 * pixels[beside]
    for role, part in (
        ("blood", spec.heart_blood * amounts["blood"]),
        ("bladder", amounts["bladder"]),
    ):
        pixels[role] = float(places[role].region.sum())
        means[role] = part + amounts["tissue"] * cm2 * pixels[role]
    rng = np.random.default_rng(seed)
    starts, lasting = _times(spec)
    study = Renogram(
        starts_s=starts,
        durations_s=lasting,
        counts={role: rng.poisson(mean).astype(np.float64) for role, mean in means.items()},
        pixels=pixels,
        tracer="MAG3",
        given_s=10.0 * round(spec.before_s / 10.0),
        furosemide_s=spec.furosemide_s,
        decay_corrected=not spec.decays,
        view=spec.view,
        acquired=spec.acquired,
        phantom=True,
        cautions=(PHANTOM_CAUTION,),
    )
    return study, truth


def renogram_image(
    spec: RenogramSpec, seed: int
) -> tuple[DynamicImage, dict[str, NDArray[np.bool_]], RenogramTruth]:
    """Return the pictures, the regions as they truly lie (by role), and the truth.

    Parameters
    ----------
    spec : RenogramSpec
    seed : int
        Of the counting noise.

    Returns
    -------
    DynamicImage
        Whole counts, shape (frames, pixels, pixels); the person's left is on the picture's left in
        a posterior view.
    dict of str to ndarray of bool, shape (pixels, pixels)
        Kidneys are drawn one pixel outside their edge, as is usual; backgrounds are rings.
    RenogramTruth
    """
    truth = renogram_truth(spec)
    amounts = _amounts(spec, truth)
    places = layout(spec.size, spec.pixels, spec.pixel_mm, spec.view)
    means = np.zeros((spec.edges()[0].size, spec.pixels, spec.pixels))

    def lay(amount: NDArray[np.float64], place: Placed) -> None:
        means[...] += amount[:, None, None] * place.blurred(spec.blur_mm / spec.pixel_mm)

    cm2 = (spec.pixel_mm / 10.0) ** 2
    lay(amounts["tissue"] * cm2, places["trunk"])
    for index, side in enumerate(KIDNEYS):
        kidney = spec.kidney(side)
        if kidney is None:
            continue
        lay(
            amounts[f"{side} parenchyma"] + kidney.blood * amounts["blood"], places[f"{side} organ"]
        )
        lay(amounts[f"{side} pelvis"], places[f"{side} pelvis"])
        area = float(places[f"{side} organ"].shape.astype(bool).sum())
        lay(amounts["tissue"] * cm2 * area * spec.mismatch[index], places[f"{side} organ"])
    lay(spec.heart_blood * amounts["blood"], places["heart"])
    lay(amounts["bladder"], places["bladder"])
    starts, lasting = _times(spec)
    counts = np.random.default_rng(seed).poisson(means).astype(np.float32)
    image = DynamicImage(
        counts=counts,
        starts_s=starts,
        durations_s=lasting,
        view=spec.view,
        left_at="left" if spec.view == "posterior" else "right",
        pixel_mm=(spec.pixel_mm, spec.pixel_mm),
        tracer="MAG3",
        decay_corrected=not spec.decays,
        acquired=spec.acquired,
        phantom=True,
        cautions=(PHANTOM_CAUTION,),
    )
    wanted = [role for role in places if places[role].is_region]
    present = [role for role in wanted if _there(spec, role)]
    return image, {role: places[role].region for role in present}, truth


def _there(spec: RenogramSpec, role: str) -> bool:
    side = role.partition("-")[0]
    return side not in KIDNEYS or spec.kidney(side) is not None
