"""What a scanner does to the truth: blur, noise, whole Hounsfield units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter1d

from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.phantom.grid import Grid

__all__ = ["PHANTOM_CAUTION", "Scanner", "blurred", "scan"]

PHANTOM_CAUTION = "This image is a phantom: it was computed and shows no person."

FWHM_PER_SD = 2 * np.sqrt(2 * np.log(2))
"""Full width at half maximum of a Gaussian in standard deviations."""


@dataclass(frozen=True)
class Scanner:
    """How a phantom is imaged.

    Parameters
    ----------
    psf_mm : float
        Full width at half maximum of the Gaussian blur, the same in all directions, on top of
        the averaging over each voxel; 0 for none. Within the plane 0.7 to 1.0 mm is common for
        soft-tissue reconstructions (common practice).
    noise_hu : float
        Standard deviation of uncorrelated Gaussian noise in Hounsfield units; 0 for none.
    seed : int
        Seed of the noise: same seed, same voxels.
    """

    psf_mm: float = 0.8
    noise_hu: float = 15.0
    seed: int = 20


def blurred(values: NDArray[np.float32], grid: Grid, psf_mm: float) -> None:
    """Blur in place by a Gaussian of that full width at half maximum, in all directions."""
    if psf_mm <= 0:
        return
    for axis, spacing in enumerate(grid.spacing_mm):
        sd = psf_mm / FWHM_PER_SD / spacing
        gaussian_filter1d(values, sd, axis=axis, output=values, mode="nearest", truncate=4.0)


def scan(values: NDArray[np.float32], grid: Grid, scanner: Scanner) -> ImageVolume:
    """Blur, add noise and round to whole Hounsfield units; `values` is used up.

    Returns
    -------
    ImageVolume
        int16, CT, marked as a phantom and carrying `PHANTOM_CAUTION`.
    """
    blurred(values, grid, scanner.psf_mm)
    rng = np.random.default_rng(scanner.seed)
    out = np.empty(values.shape, dtype=np.int16)
    for plane, clean in enumerate(values):
        noisy = clean
        if scanner.noise_hu > 0:
            noise = rng.standard_normal(clean.shape, dtype=np.float32)
            noisy = clean + np.float32(scanner.noise_hu) * noise
        out[plane] = np.rint(noisy).clip(-1024, 3071)
    return ImageVolume(
        values=out, to_lps=grid.to_lps, modality="CT", phantom=True, cautions=(PHANTOM_CAUTION,)
    )
