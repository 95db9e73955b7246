"""The levels of an MR image: noise, soft tissue, fat, and urine beside the placed points."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from thalweg.errors import ImageError

if TYPE_CHECKING:
    from thalweg.measure.shading import Blocks, Shading
    from thalweg.record.image import ImageVolume

__all__ = [
    "TISSUE",
    "URINE",
    "Body",
    "Levels",
    "Tone",
    "body_of",
    "found_levels",
    "untouched",
    "urine_level",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Tone = Callable[[Any], Any]
"""Takes an array of the working scale to one on which fat and gas are as far from soft tissue as on
CT; on CT it gives back the very array."""

TISSUE, URINE = 40.0, 420.0
"""What soft tissue and urine are drawn to on the working scale."""

DARKEST = 0.12
"""Below this share of soft tissue nothing gives signal: gas, dense bone, tendon, flowing blood."""

SHARES = (0.0, 0.5 * DARKEST, DARKEST, 1.0)
TONES = (-700.0, -400.0, -136.0, 40.0)
"""Signal as a share of soft tissue, and what stands for it: 0.3, as fat suppressed, becomes -100,
the value of fat on CT, so that a cord of tissue in it shows alike."""

RAYLEIGH_MEAN = float(np.sqrt(np.pi / 2))
"""Mean of the magnitude of noise alone, in standard deviations of its two channels."""

AIR_SHARE = 0.15
"""A dark class of blocks below this share of the bright one is air; else the image shows none."""

ABOVE_AIR_SD = 2.5
"""Blocks of body are brighter than this many standard deviations of noise; air is at 1.25."""

VOXEL_ABOVE_AIR_SD = 3.5
"""The same for single voxels: two of a thousand of air are brighter."""

SHELL_MM = (6.0, 18.0)
"""Depth below the body's surface at which fat lies in all but the leanest."""

BIN, SPREAD = 0.04, 2.0
"""Bins of the histogram of logarithms (4 %), and the bins it is smoothed over."""

SAME_CLASS = 0.35
"""Modes closer than this (in logarithms, 40 %) belong to one tissue."""

LEAST_CLASS = 0.02
"""A mode's class holds at least this share of the body's blocks."""

NEAR_POINT_MM = 12.0
BRIGHTEST_MM3 = 60.0
"""Urine is the mean of so much of the brightest within that radius of a placed point: a ureter 3 mm
wide holds some 170 mm³ there."""

LEAST_RATIO = 2.0
"""Urine is at least this times as bright as soft tissue, which enhanced vessels come near."""

LEAST_NOISE_SD = 8.0
"""And stands out from it by this many standard deviations of noise: chance reaches about 4."""


def untouched(values: Any) -> Any:
    """Return the very array: CT's tone."""
    return values


@dataclass(frozen=True)
class Levels:
    """Signal of an MR image in its own units, the coils' shading taken out.

    Parameters
    ----------
    noise : float
        Standard deviation of the noise in either channel.
    tissue : float
        The commonest level of the body that is not fat.
    fat : float or None
        Of the shell below the skin; None where that is no class of its own.
    urine : float
        Near the placed points; 0 until it is known.
    """

    noise: float
    tissue: float
    fat: float | None
    urine: float = 0.0

    @property
    def rise(self) -> float:
        """What a signal as large as soft tissue's own comes to on the working scale."""
        return (URINE - TISSUE) / (self.urine / self.tissue - 1)

    def working(self, signal: Floats | float) -> Floats:
        """Return signal on the working scale: straight through soft tissue and urine.

        Straight, because voxels mix signal in proportion: calibre rests on that.
        """
        share = np.asarray(signal, dtype=np.float64) / self.tissue
        return np.asarray(TISSUE + self.rise * (share - 1))

    def toned(self, working: NDArray[np.floating]) -> Floats:
        """Return values of the working scale with what is darker than soft tissue spread out.

        Where tissue, fat and gas must be told from one another by brightness, they are drawn to
        what they have on CT; what is brighter than soft tissue stays.
        """
        share = 1 + (np.asarray(working, dtype=np.float64) - TISSUE) / self.rise
        return np.where(share > 1, working, np.interp(share, SHARES, TONES))


@dataclass(frozen=True, eq=False)
class Body:
    """Where an image shows the body.

    Parameters
    ----------
    blocks : ndarray of bool, shape (a, b, c)
    above : float
        Voxels of the body are brighter than this.
    noise : float
        Standard deviation of the noise in either channel.
    """

    blocks: Flags
    above: float
    noise: float


def body_of(blocks: Blocks, volume: ImageVolume) -> Body:
    """Tell the body from the air round it by the noise in the air.

    Raises
    ------
    ImageError
        Nothing stands out from the noise.
    """
    from skimage.filters import threshold_otsu  # noqa: PLC0415 - slow import, only for MR

    lit = blocks.mean[blocks.mean > 0]
    if not lit.size:
        raise ImageError("the MR series holds no signal", mend="give the series with the urogram")
    # Zeros, which some scanners put in place of air, have no logarithm.
    logs = np.log(np.maximum(blocks.mean, 1e-3 * np.median(lit)))
    dark = logs < float(threshold_otsu(logs))  # type: ignore[no-untyped-call]
    level = float(np.median(blocks.mean[dark])), float(np.median(blocks.mean[~dark]))
    noise = 0.0
    if level[0] < AIR_SHARE * level[1]:
        noise = float(np.mean(blocks.mean[dark & (blocks.mean < 2 * level[0] + 1e-12)]))
        noise /= RAYLEIGH_MEAN
    if noise < 1e-3 * level[1]:  # no air to be seen, or filled with zeros
        noise = _noise_inside(volume)
    body = blocks.mean > ABOVE_AIR_SD * noise
    labels, count = ndimage.label(body)
    if count:
        body = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
    if not count or body.sum() < 27:
        raise ImageError("nothing on the MR series stands out from its noise", mend="give another")
    return Body(body, VOXEL_ABOVE_AIR_SD * noise, noise)


def _noise_inside(volume: ImageVolume) -> float:
    """Return the noise from how neighbours along rows differ, in the middle plane.

    The second difference of noise alone has six times its variance; edges of organs are the few
    that the median leaves out.
    """
    plane = volume.values[volume.shape[0] // 2].astype(np.float64)
    rest = plane[:, :-2] - 2 * plane[:, 1:-1] + plane[:, 2:]
    shown = rest[(plane[:, 1:-1] > 0)]
    return float(1.4826 * np.median(np.abs(shown)) / np.sqrt(6)) if shown.size else 0.0


def found_levels(blocks: Blocks, body: Body, shading: Shading) -> Levels:
    """Return noise, soft tissue and fat.

    Fat is what lies in a shell below the skin. Soft tissue is the commonest level that is not
    fat's; where the shell is no class of its own, the commonest of all.
    """
    where = np.argwhere(body.blocks)
    logs = np.log(blocks.mean[body.blocks]) - shading.log_at(blocks.voxel_index(where))
    depth = ndimage.distance_transform_edt(np.pad(body.blocks, 1), sampling=blocks.sampling_mm)
    depth = depth[1:-1, 1:-1, 1:-1][body.blocks]
    # Blocks at the image's rim may lie deep in the body: only air has a skin.
    shell = (depth > SHELL_MM[0]) & (depth < SHELL_MM[1])
    modes = _modes(logs)
    if shell.sum() < LEAST_CLASS * len(logs) or len(modes) < 2:
        return Levels(body.noise, float(np.exp(modes[0])), None)
    outer = _modes(logs[shell])[0]
    others = [mode for mode in modes if abs(mode - outer) > SAME_CLASS]
    if not others:
        return Levels(body.noise, float(np.exp(modes[0])), None)
    return Levels(body.noise, float(np.exp(others[0])), float(np.exp(outer)))


def _modes(logs: Floats) -> list[float]:
    """Return the modes of the histogram of logarithms, the fullest first."""
    edges = np.arange(logs.min() - 10 * BIN, logs.max() + 11 * BIN, BIN)
    counts = np.histogram(logs, edges)[0].astype(np.float64)
    counts = ndimage.gaussian_filter1d(counts, SPREAD)
    peak = (counts[1:-1] > counts[:-2]) & (counts[1:-1] >= counts[2:])
    at = np.flatnonzero(peak) + 1
    span = round(SAME_CLASS / 2 / BIN)
    held = np.array([counts[max(i - span, 0) : i + span + 1].sum() for i in at])
    order = [i for i in np.argsort(-held, kind="stable") if held[i] >= LEAST_CLASS * len(logs)]
    return [float((edges[at[i]] + edges[at[i] + 1]) / 2) for i in order]


def urine_level(volume: ImageVolume, placed_mm: Floats, shading: Shading, levels: Levels) -> float:
    """Return the brightness of urine near the placed points.

    Raises
    ------
    ImageError
        Nothing near any of them is bright enough to be told from vessels and noise.
    """
    found = np.array([_brightest(volume, point, shading) for point in placed_mm])
    least = max(LEAST_RATIO * levels.tissue, levels.tissue + LEAST_NOISE_SD * levels.noise)
    shown = found[found >= least]
    if not shown.size:
        raise ImageError(
            "urine does not stand out from soft tissue near any placed point of this MR series"
            f" (brightest {found.max():.3g}, soft tissue {levels.tissue:.3g}, noise"
            f" {levels.noise:.3g} in its own units)",
            mend="put the points on bright urine, give the excretory phase, or place the whole"
            " course by hand",
        )
    return float(shown.mean())


def _brightest(volume: ImageVolume, point_mm: Floats, shading: Shading) -> float:
    """Return the mean of the brightest `BRIGHTEST_MM3` near a point, shading taken out."""
    centre = volume.index_of(point_mm)
    reach = NEAR_POINT_MM * np.linalg.norm(volume.from_lps[:3, :3], axis=1)
    low = np.maximum(np.ceil(centre - reach), 0).astype(int)
    high = np.minimum(np.floor(centre + reach) + 1, volume.shape).astype(int)
    axes = (np.arange(a, b) for a, b in zip(low, high, strict=True))
    lattice = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    away = np.linalg.norm(volume.point_of(lattice) - point_mm, axis=-1)
    part = volume.values[tuple(map(slice, low, high))] / np.exp(shading.log_at(lattice))
    near = np.sort(part[away < NEAR_POINT_MM])
    voxel_mm3 = abs(float(np.linalg.det(volume.to_lps[:3, :3])))
    return float(near[-max(round(BRIGHTEST_MM3 / voxel_mm3), 4) :].mean())
