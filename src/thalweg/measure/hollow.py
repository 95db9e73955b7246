"""Lumens that are dark within on MR, as very concentrated gadolinium makes them (T2* decay)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.measure.levels import TISSUE, URINE
from thalweg.measure.section import RING_MM
from thalweg.measure.stretches import closed_holes, without_specks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.measure.section import Sections

__all__ = ["dark_cores"]

RIM_MM = 5.0
"""A bright rim is looked for within this of the centre: a lumen up to 10 mm wide."""

ROUND_SHARE = 0.8
"""Share of directions in which the rim must be brighter; a vessel or bowel beside fills fewer."""

DARKER = 0.25 * (URINE - TISSUE)
"""How much the rim must outshine the core: a quarter of urine's own height above soft tissue."""


def dark_cores(sections: Sections, step_mm: float) -> NDArray[np.bool_]:
    """Say at which stations the core is darker than a rim all round it, shape (n,).

    Stretches shorter than what counts as a speck of contrast are left out.
    """
    rings = round(RIM_MM / RING_MM)
    rim = sections.smooth[:, :, :rings].max(axis=2)
    lower = np.quantile(rim, 1 - ROUND_SHARE, axis=1)
    hollow = lower - sections.core_hu > DARKER
    return without_specks(closed_holes(np.asarray(hollow), step_mm), step_mm)[0]
