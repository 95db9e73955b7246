"""How far the length of a traced course may be off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from thalweg.measure.capture import OtherWay
    from thalweg.measure.course import Gap

__all__ = ["length_sd"]

Floats = NDArray[np.float64]

END_SD_MM = 1.3
"""A placed end lies along the course within this of where it was meant (our own judgement)."""

CURVE_SHARE = 0.001
"""Share of the length by which smoothing and leftover noise may be off (benchmarked)."""

STRAY_RADIUS_MM = 120.0
"""In a gap a ureter may bow away from its smoothest bridge by an arc of about this radius."""

LEFT_SHARE, KEPT_SHARE = 0.3, 0.5
"""Standard deviation of a choice between two ways as a share of their difference: where the way
left out was a vessel nine times in ten, sqrt(0.1 x 0.9); where either is as likely, 1/2."""


def length_sd(
    length_mm: float,
    gaps: tuple[Gap, ...],
    centring_sd_mm: float,
    mean_bend_per_mm: float,
    others: tuple[OtherWay, ...] = (),
) -> float:
    """Return the standard deviation of a course's length in mm.

    The parts are taken as independent and added as squares:

    * each end, `END_SD_MM` (twice);
    * the curve itself, `CURVE_SHARE` of the length, and the centres' scatter s, which slopes a
      course smoothed over about 7 mm by s / 7 and so lengthens it by ``L (s / 7)^2 / 2``;
    * each gap of length g, where the course may stray from its bridge by ``d = g^2 / (8 R)``, R
      being `STRAY_RADIUS_MM`. A half sine of height d is longer than its chord by
      ``pi^2 d^2 / (4 g)``; on a bridge of curvature k, ``2 k d g / 3`` comes to it to first order;
    * each other way past a gap, `LEFT_SHARE` of what it would change where it was left out as a
      vessel, `KEPT_SHARE` where the way taken may be one.

    Parameters
    ----------
    length_mm : float
    gaps : tuple of Gap
        Stretches that were bridged and not seen.
    centring_sd_mm : float
        Root mean square distance between the centres found and the curve through them.
    mean_bend_per_mm : float
        Mean curvature of the course where it was seen.
    others : tuple of OtherWay
        Ways that could be taken instead.
    """
    parts = [END_SD_MM, END_SD_MM, CURVE_SHARE * length_mm]
    parts.append(length_mm * (centring_sd_mm / 7.0) ** 2 / 2)
    for gap in gaps:
        stray = gap.length_mm**2 / (8 * STRAY_RADIUS_MM)
        parts.append(np.pi**2 * stray**2 / (4 * gap.length_mm))
        parts.append(2 / 3 * mean_bend_per_mm * stray * gap.length_mm)
    parts += [(LEFT_SHARE if o.through_tube else KEPT_SHARE) * o.longer_mm for o in others]
    return float(np.sqrt(np.sum(np.square(parts))))
