"""Drawing an artificial abdomen as an MR urogram: its own tissues, coil shading, Rician noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom.render import Phantom, abdomen_grid, painted
from thalweg.phantom.scanner import PHANTOM_CAUTION, blurred
from thalweg.phantom.spec import Tissues
from thalweg.phantom.truth import truth_of
from thalweg.progress import silent
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.phantom.grid import Grid
    from thalweg.phantom.spec import AnatomySpec
    from thalweg.progress import Progress

__all__ = ["EXCRETORY_T1", "STATIC_FLUID", "MagneticScanner", "render_magnetic"]

EXCRETORY_T1 = Tissues(
    air=0.0,
    bowel_gas=0.0,
    fat=62.0,
    visceral_fat=66.0,
    skin=170.0,
    muscle=200.0,
    liver=330.0,
    spleen=310.0,
    pancreas=290.0,
    kidney=480.0,
    artery=350.0,
    vein=340.0,
    bowel_wall=300.0,
    bowel_content=90.0,
    stool=150.0,
    disc=120.0,
    cortical_bone=20.0,
    spongy_bone=110.0,
    canal=90.0,
    ureter_wall=220.0,
    bladder_wall=210.0,
    urine_with_contrast=1250.0,
    urine_plain=70.0,
)
"""Signal some ten minutes after gadolinium on a fat-suppressed T1-weighted spoiled gradient echo.

Arbitrary units; the ratios are rough ones, from memory.
"""

STATIC_FLUID = Tissues(
    air=0.0,
    bowel_gas=0.0,
    fat=60.0,
    visceral_fat=64.0,
    skin=70.0,
    muscle=110.0,
    liver=130.0,
    spleen=230.0,
    pancreas=190.0,
    kidney=290.0,
    artery=60.0,
    vein=120.0,
    bowel_wall=150.0,
    bowel_content=700.0,
    stool=200.0,
    disc=120.0,
    cortical_bone=15.0,
    spongy_bone=70.0,
    canal=1300.0,
    ureter_wall=125.0,
    bladder_wall=120.0,
    urine_with_contrast=1500.0,
    urine_plain=1500.0,
)
"""Signal on a fat-suppressed, strongly T2-weighted spin echo: all fluid is bright (from memory)."""


@dataclass(frozen=True)
class MagneticScanner:
    """How a phantom is imaged by MR.

    Parameters
    ----------
    psf_mm : float
        Full width at half maximum of the blur on top of the averaging over each voxel.
    noise : float
        Standard deviation of the noise in either channel, in signal units; the magnitude is
        Rician, and Rayleigh in air.
    depth_mm : float
        Distance at which a coil element's sensitivity has halved; 0: no shading.
    gain : float
        What all signal is multiplied with: MR units are arbitrary.
    seed : int
    """

    psf_mm: float = 1.2
    noise: float = 12.0
    depth_mm: float = 110.0
    gain: float = 1.0
    seed: int = 20


def coil_shading(
    grid: Grid, depth_mm: float, size: float
) -> list[tuple[NDArray[np.float32], float]]:
    """Return the sensitivity of each coil element over the grid, plane axis first, and its weight.

    Three elements in front and two behind lie on the trunk; each falls off as
    ``1 / (1 + (d / depth)^2)``, which no polynomial is.
    """
    middle_z = float(grid.points((np.asarray(grid.shape) - 1) / 2)[2])
    places = [(-70, -150, 40), (70, -150, 40), (0, -150, -90), (-60, 140, 0), (60, 140, 0)]
    planes, rows, columns = grid.shape
    x, y, z = grid.coordinates((slice(0, planes), slice(0, rows), slice(0, columns)))
    found = []
    for number, (dx, dy, dz) in enumerate(places):
        away = (x - size * dx) ** 2 + (y - size * dy) ** 2
        away = away + (z - size * dz - np.float32(middle_z)) ** 2
        found.append((1 / (1 + away / np.float32((size * depth_mm) ** 2)), 1.0 - 0.08 * number))
    return found


def scan_magnetic(
    values: NDArray[np.float32], grid: Grid, scanner: MagneticScanner, size: float = 1.0
) -> ImageVolume:
    """Shade, blur and add Rician noise; `values` is used up.

    Returns
    -------
    ImageVolume
        int16, MR, marked as a phantom and carrying `PHANTOM_CAUTION`.
    """
    if scanner.depth_mm > 0:
        elements = coil_shading(grid, scanner.depth_mm, size)
        field = sum(np.float32(weight) * share for share, weight in elements)
        values *= field / np.float32(np.asarray(field).mean())
    blurred(values, grid, scanner.psf_mm)
    rng = np.random.default_rng(scanner.seed)
    out = np.empty(values.shape, dtype=np.int16)
    for plane, clean in enumerate(values):
        real, imaginary = rng.standard_normal((2, *clean.shape), dtype=np.float32)
        noise = np.float32(scanner.noise)
        magnitude = np.hypot(clean + noise * real, noise * imaginary)
        out[plane] = np.rint(magnitude * scanner.gain).clip(0, 32_767)
    return ImageVolume(
        values=out, to_lps=grid.to_lps, modality="MR", phantom=True, cautions=(PHANTOM_CAUTION,)
    )


def render_magnetic(
    spec: AnatomySpec,
    *,
    tissues: Tissues = EXCRETORY_T1,
    spacing_mm: tuple[float, float, float] = (1.5, 1.2, 1.2),
    low_mm: tuple[float, float, float] | None = None,
    high_mm: tuple[float, float, float] | None = None,
    oblique_deg: tuple[float, float, float] | None = None,
    scanner: MagneticScanner | None = None,
    progress: Progress = silent,
) -> Phantom:
    """Draw an anatomy as an MR urogram.

    Parameters
    ----------
    spec : AnatomySpec
        Its own tissues, which are Hounsfield units, are not used.
    tissues : Tissues
        Signal of each tissue in arbitrary units, in place of Hounsfield units.
    spacing_mm, low_mm, high_mm, oblique_deg
        As in `thalweg.phantom.render.render`; 90 degrees about x for coronal planes.
    scanner : MagneticScanner, optional
    progress : Progress

    Returns
    -------
    Phantom
        int16 signal, marked as a phantom; same arguments, same voxels.
    """
    spec = replace(spec, tissues=tissues)
    grid = abdomen_grid(spec, spacing_mm, low_mm=low_mm, high_mm=high_mm, oblique_deg=oblique_deg)
    values = painted(spec, grid, progress)
    volume = scan_magnetic(values, grid, scanner or MagneticScanner(), spec.scale)
    return Phantom(volume, truth_of(spec))
