"""Drawing an artificial abdomen as a CT volume."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom.grid import Grid, grid_over
from thalweg.phantom.scanner import Scanner, scan
from thalweg.phantom.scene import scene_of
from thalweg.phantom.truth import PhantomTruth, truth_of
from thalweg.progress import silent

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.phantom.spec import AnatomySpec
    from thalweg.progress import Progress
    from thalweg.record.image import ImageVolume

__all__ = ["Phantom", "abdomen_grid", "painted", "render"]

BOX_LOW_MM = (-180.0, -140.0, -190.0)
BOX_HIGH_MM = (180.0, 140.0, 170.0)
"""What an adult's volume covers, in LPS mm: the whole trunk from above the kidneys to the hips."""


@dataclass(frozen=True, eq=False)
class Phantom:
    """An artificial abdomen: its image and the truth about it."""

    volume: ImageVolume
    truth: PhantomTruth


def abdomen_grid(
    spec: AnatomySpec,
    spacing_mm: tuple[float, float, float],
    *,
    low_mm: tuple[float, float, float] | None = None,
    high_mm: tuple[float, float, float] | None = None,
    oblique_deg: tuple[float, float, float] | None = None,
) -> Grid:
    """Return the lattice over an abdomen; arguments as in `render`."""
    low = np.asarray(low_mm or spec.point(*BOX_LOW_MM), dtype=np.float64)
    high = np.asarray(high_mm or spec.point(*BOX_HIGH_MM), dtype=np.float64)
    return grid_over(low, high, spacing_mm, oblique_deg)


def painted(spec: AnatomySpec, grid: Grid, progress: Progress = silent) -> NDArray[np.float32]:
    """Return an anatomy drawn into a grid, in its tissues' units, before any scanner."""
    values = np.full(grid.shape, spec.tissues.air, dtype=np.float32)
    items = scene_of(spec)
    for done, item in enumerate(items, start=1):
        item.paint(values, grid)
        progress("drawing the phantom", done, len(items))
    return values


def render(
    spec: AnatomySpec,
    *,
    spacing_mm: tuple[float, float, float] = (1.5, 0.8, 0.8),
    low_mm: tuple[float, float, float] | None = None,
    high_mm: tuple[float, float, float] | None = None,
    oblique_deg: tuple[float, float, float] | None = None,
    psf_mm: float = 0.8,
    noise_hu: float = 15.0,
    seed: int = 20,
    progress: Progress = silent,
) -> Phantom:
    """Draw an anatomy as CT.

    Parameters
    ----------
    spec : AnatomySpec
    spacing_mm : (plane, row, column)
        Distance between voxel centres in mm.
    low_mm, high_mm : (x, y, z), optional
        Corners in LPS mm of what is covered; by default the whole trunk, `BOX_LOW_MM` to
        `BOX_HIGH_MM` at the person's size.
    oblique_deg : (x, y, z), optional
        Turns of the grid about the LPS axes in degrees; the person stays where they are.
    psf_mm, noise_hu, seed
        As in `Scanner`.
    progress : Progress
        Called after every item drawn.

    Returns
    -------
    Phantom
        int16 Hounsfield units, marked as a phantom; same arguments, same voxels.
    """
    grid = abdomen_grid(spec, spacing_mm, low_mm=low_mm, high_mm=high_mm, oblique_deg=oblique_deg)
    values = painted(spec, grid, progress)
    volume = scan(values, grid, Scanner(psf_mm=psf_mm, noise_hu=noise_hu, seed=seed))
    return Phantom(volume, truth_of(spec))
