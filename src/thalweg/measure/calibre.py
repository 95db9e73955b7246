"""Inner diameter of an opacified ureter from its cross-sections, partial volume included.

The mean brightness of each ring of a cross-section is compared with that of a disc of contrast
inside a ring of wall inside other tissue, all blurred alike. The diameter of the best fitting
disc is what is reported, so that blur and voxel size cancel out. Where the lumen is too narrow
for its brightness to be seen unmixed, the brightness comes from the wider stretches beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from thalweg.measure.section import RING_MM, RINGS, TISSUE_HU, Sections

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["Calibres", "fitted_calibres", "voxel_blur"]

Floats = NDArray[np.float64]

RATIO = 1.06
DIAMETERS_MM = np.asarray(0.5 * RATIO ** np.arange(65))
"""Diameters tried, from 0.5 to 20.8 mm, each this much wider than the one before."""

SAMPLES = 60
"""About so many sections are enough to find the blur, the wall and the contrast's brightness."""

WALLS_MM = (0.0, 0.5, 1.0, 1.5)
PSFS_MM = (0.0, 0.2, 0.3, 0.4, 0.5, 0.65)
"""Standard deviations tried for the scanner's blur; one is chosen for the whole course."""

BLURS_MM = tuple(float(blur) for blur in np.geomspace(0.15, 1.6, 22))
"""Blurs that templates are kept for."""

RINGS_BEYOND = 2
"""Rings kept beyond the end of a ray's skirt, so that the tissue around is seen too."""

FREE_SHARE = 0.5
FITTED = 2
"""Share of the rings whose noise is their own; how many numbers are fitted to them."""

NOISE_SHARE = 0.45
"""What the fit leaves unexplained is not all noise: so much of it by repeated noise on phantoms."""

LUMEN_RUN_MM = 6.0
"""Length over which the brightness of contrast is taken to change little."""


@dataclass(frozen=True, eq=False)
class Calibres:
    """What the cross-sections along a course hold.

    Parameters
    ----------
    diameter_mm : ndarray, shape (n,)
        Inner diameter of the best fit; meaningless where there is no contrast.
    lumen_hu : ndarray, shape (n,)
        Brightness of unmixed contrast near each station.
    blur_mm : ndarray, shape (n,)
        Standard deviation of the blur it was fitted with.
    sd_mm : ndarray, shape (n,)
        Standard deviation of the diameter by the fit: how far it may move before the rings fit
        worse than what is left unexplained of them.
    """

    diameter_mm: Floats
    lumen_hu: Floats
    blur_mm: Floats
    sd_mm: Floats


@dataclass(frozen=True, eq=False)
class _Rings:
    """Ring means and how much each ring counts, both of shape (n, RINGS)."""

    mean_hu: Floats
    weight: Floats

    def of(self, which: NDArray[np.int64]) -> _Rings:
        """Return the rings of some sections only."""
        return _Rings(self.mean_hu[which], self.weight[which])


def fitted_calibres(
    sections: Sections, usable: NDArray[np.bool_], voxel_sd_mm: Floats, step_mm: float
) -> Calibres:
    """Fit a blurred disc to every section.

    Parameters
    ----------
    sections : Sections
        Well centred, `step_mm` apart.
    usable : ndarray of bool, shape (n,)
        Where there is contrast; only there does a section say anything about blur or brightness.
    voxel_sd_mm : ndarray, shape (n,)
        Standard deviation within each section of the blur that voxels and the interpolation
        between them make (`voxel_blur`). The scanner's own blur comes on top of it.
    step_mm : float
    """
    rings = _ring_means(sections)
    if not usable.any():
        nothing = np.full(len(usable), np.nan)
        return Calibres(nothing, nothing, voxel_sd_mm, nothing)
    some = np.flatnonzero(usable)[:: max(usable.sum() // SAMPLES, 1)]
    sample = rings.of(some)
    tried = [
        _best_by_wall(sample, _nearest_blur(np.hypot(voxel_sd_mm[some], psf))) for psf in PSFS_MM
    ]
    total = np.array([[misfit.sum() for misfit, _, _ in walls] for walls in tried])
    psf_at, wall = np.unravel_index(int(total.argmin()), total.shape)
    blur = _nearest_blur(np.hypot(voxel_sd_mm, PSFS_MM[psf_at]))
    _, brightness, at = tried[psf_at][wall]
    unmixed = 1 - np.exp(-((DIAMETERS_MM[at] / blur[some]) ** 2) / 8)
    # A core half mixed with what lies around it says little about the brightness of contrast.
    worth, value = np.zeros(len(usable)), np.zeros(len(usable))
    worth[some], value[some] = unmixed**8, brightness
    lumen = _along(value, worth, LUMEN_RUN_MM / step_mm)
    diameter, sd = np.zeros(len(usable)), np.zeros(len(usable))
    for one in np.unique(blur):
        here = np.flatnonzero(blur == one)
        error, _ = _fit(rings.of(here), float(one), lumen[here])
        diameter[here], sd[here] = _least(error[:, wall], rings.of(here).weight)
    return Calibres(diameter, lumen, blur, sd)


def voxel_blur(volume: ImageVolume, one: Floats, two: Floats) -> Floats:
    """Return the standard deviation in mm, in the plane of two normals, of voxels' own blur.

    A box of width s has the variance s^2 / 12; linear interpolation between samples s apart adds
    on average s^2 / 6. The mean over the two directions is returned, shape (n,).
    """
    edges = volume.to_lps[:3, :3]
    across = (np.square(one @ edges) + np.square(two @ edges)).sum(axis=1) / 2
    return np.asarray(np.sqrt(across * (1 / 12 + 1 / 6)))


def _nearest_blur(blur_mm: Floats) -> Floats:
    """Return the nearest of the blurs that templates are kept for."""
    nearest = np.abs(np.subtract.outer(blur_mm, BLURS_MM)).argmin(axis=1)
    return np.asarray(np.asarray(BLURS_MM)[nearest])


def _best_by_wall(rings: _Rings, blur: Floats) -> list[tuple[Floats, Floats, NDArray[np.int64]]]:
    """Return for each wall the misfit, brightness and number of the best diameter, each (n,)."""
    shape = (len(blur), len(WALLS_MM), len(DIAMETERS_MM))
    error, brightness = np.empty(shape), np.empty(shape)
    for one in np.unique(blur):
        here = np.flatnonzero(blur == one)
        error[here], brightness[here] = _fit(rings.of(here), float(one), None)
    own = np.arange(len(blur))
    found = []
    for wall in range(len(WALLS_MM)):
        at = error[:, wall].argmin(axis=1)
        # The root keeps a few sections that fit badly from deciding for all.
        misfit = np.sqrt(np.maximum(error[own, wall, at], 0.0))
        found.append((misfit, brightness[own, wall, at], at))
    return found


def _ring_means(sections: Sections) -> _Rings:
    seen = np.arange(RINGS) < sections.ends[:, :, None] + RINGS_BEYOND
    count = seen.sum(axis=1)
    mean = (sections.values * seen).sum(axis=1) / np.maximum(count, 1)
    return _Rings(np.asarray(mean, dtype=np.float64), count * sections.radii_mm)


def _fit(rings: _Rings, blur_mm: float, lumen_hu: Floats | None) -> tuple[Floats, Floats]:
    """Return misfit and brightness of contrast, each (n, wall, diameter), at the best tissue.

    The model is linear in the brightness of contrast and of the tissue outside; both, or with
    `lumen_hu` given only the latter, are solved for by weighted least squares.
    """
    plain, products = _templates(blur_mm)
    shape = (len(rings.mean_hu), len(WALLS_MM), len(DIAMETERS_MM))
    wy = rings.weight * rings.mean_hu
    yo, yd, yw = _summed(wy, plain)
    oo, dd, do, wall_o, wall_d, wall_wall = _summed(rings.weight, products)
    yo, yd = yo - TISSUE_HU * wall_o, yd - TISSUE_HU * wall_d
    yy = (wy * rings.mean_hu).sum(axis=1)[:, None] - 2 * TISSUE_HU * yw + TISSUE_HU**2 * wall_wall
    if lumen_hu is None:
        determinant = np.maximum(oo * dd - do**2, 1e-6)
        lumen = (yd * oo - yo * do) / determinant
    else:
        lumen = np.broadcast_to(lumen_hu[:, None], yo.shape)
    tissue = (yo - lumen * do) / np.maximum(oo, 1e-6)
    error = yy + tissue**2 * oo + lumen**2 * dd + 2 * tissue * lumen * do
    error -= 2 * (tissue * yo + lumen * yd)
    return error.reshape(shape), np.asarray(lumen).reshape(shape)


def _summed(weights: Floats, parts: Floats) -> Floats:
    """Return sums over rings: weights (n, RINGS) by parts (RINGS, p, templates) to (p, n, t)."""
    summed = weights @ parts.reshape(RINGS, -1)
    return np.asarray(summed.reshape(len(weights), *parts.shape[1:]).swapaxes(0, 1))


@cache
def _templates(blur_mm: float) -> tuple[Floats, Floats]:
    """Return the model's parts and their products, shapes (RINGS, 3 or 6, templates).

    The parts are the shares, ring by ring, of other tissue (o), contrast (d) and wall (w); the
    products are oo, dd, do, wo, wd and ww. Templates run over walls, then diameters.
    """
    radii = (np.arange(RINGS, dtype=np.float64) + 0.5) * RING_MM
    inner = DIAMETERS_MM / 2
    disc = _blurred_disc(inner, radii, blur_mm)
    whole = np.concatenate([_blurred_disc(inner + wall, radii, blur_mm) for wall in WALLS_MM])
    d = np.tile(disc, (len(WALLS_MM), 1)).T
    o, w = 1 - whole.T, whole.T - d
    return np.stack([o, d, w], axis=1), np.stack([o * o, d * d, d * o, w * o, w * d, w * w], axis=1)


def _blurred_disc(disc_mm: Floats, radii_mm: Floats, blur_mm: float) -> Floats:
    """Return a unit disc blurred by a Gaussian, shape (discs, radii).

    The share of a two-dimensional Gaussian at distance r that falls into a disc is the
    non-central chi-squared distribution with two degrees of freedom.
    """
    return np.asarray(
        special.chndtr((disc_mm[:, None] / blur_mm) ** 2, 2.0, (radii_mm / blur_mm) ** 2)
    )


def _along(values: Floats, worth: Floats, run: float) -> Floats:
    """Return the mean of values nearby, by worth; of the whole where nothing near is worth it."""
    total = float(worth.sum())
    overall = float((values * worth).sum() / total) if total > 0 else TISSUE_HU
    faint = 1e-3
    near = ndimage.gaussian_filter1d(worth, run, mode="constant")
    summed = ndimage.gaussian_filter1d(values * worth, run, mode="constant")
    return np.asarray((summed + faint * overall) / (near + faint))


def _least(error: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Return the diameter at the least of each row, between the steps by a parabola, and its SD.

    Noise in rings nearer to one another than a voxel is alike, so that `FREE_SHARE` of them count.
    """
    at = error.argmin(axis=1)
    own = np.arange(len(error))
    middle = np.clip(at, 1, len(DIAMETERS_MM) - 2)
    before, here, after = (error[own, middle + shift] for shift in (-1, 0, 1))
    bowl = before - 2 * here + after
    shift = np.where(bowl > 0, 0.5 * (before - after) / np.maximum(bowl, 1e-12), 0.0)
    inner = DIAMETERS_MM[middle] * RATIO ** np.clip(shift, -1, 1)
    diameter = np.asarray(np.where(at == middle, inner, DIAMETERS_MM[at]))
    free = np.maximum(FREE_SHARE * (weight > 0).sum(axis=1) - FITTED, 1.0)
    left = np.maximum(error[own, at], 0.0) / free
    sd = NOISE_SHARE * diameter * np.log(RATIO) * np.sqrt(2 * left / np.maximum(bowl, 1e-12))
    return diameter, np.asarray(np.minimum(sd, diameter))
