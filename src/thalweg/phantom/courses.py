"""Courses of the ureter through the abdomen, as points that a spline is drawn through.

From the pelvi-ureteric junction at L2 the ureter runs down in front of psoas, crosses the iliac
vessels at the pelvic brim, follows the side wall of the pelvis backwards and outwards, and turns
forwards and inwards to the bladder (descriptive anatomy, from memory).
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from thalweg.phantom.curves import Spline

__all__ = ["Side", "side_sign", "tortuous_course", "usual_course", "vessel_hugging_course"]

Side = Literal["left", "right"]
Course = tuple[tuple[float, float, float], ...]

PELVIC: Course = (
    (30.0, -3.0, -64.5),
    (33.0, 8.0, -78.0),
    (41.0, 18.0, -95.0),
    (47.0, 25.0, -112.0),
    (44.0, 27.0, -128.0),
    (36.0, 24.0, -138.0),
    (26.0, 17.0, -143.0),
    (16.0, 9.5, -146.0),
)
"""From below the brim, in the fork of the iliac vessels, to the bladder."""

USUAL: Course = (
    (42.0, 15.0, 70.0),
    (38.0, 11.0, 48.0),
    (36.5, 6.0, 20.0),
    (37.5, 1.0, -10.0),
    (35.0, -4.5, -35.0),
    (31.5, -8.0, -52.0),
    *PELVIC,
)
"""An adult's left ureter; about 240 mm long."""

TORTUOUS: Course = (
    (42.0, 15.0, 70.0),
    (35.5, 9.0, 50.0),
    (42.0, 4.0, 29.0),
    (37.0, -3.0, 9.0),
    (42.5, -4.0, -12.0),
    (35.0, -9.0, -34.0),
    (31.0, -10.5, -51.0),
    (29.0, -5.0, -64.5),
    (32.0, 7.0, -78.0),
    *PELVIC[2:],
)
"""A ureter that winds above the brim, as a dilated one does."""

HUGGING: Course = (
    (42.0, 15.0, 70.0),
    (39.0, 10.0, 48.0),
    (36.0, 2.0, 22.0),
    (28.0, -9.0, 0.0),
    (22.5, -13.0, -16.0),
    (26.0, -11.5, -28.0),
    (30.3, -9.6, -38.0),
    (32.5, -7.0, -53.0),
    *PELVIC,
)
"""A ureter that keeps about 6 mm from the common iliac artery's wall before it crosses it."""


def side_sign(side: Side) -> float:
    """Return +1 for the left, which is +x, and -1 for the right."""
    return 1.0 if side == "left" else -1.0


AHEAD: Course = ((-140.0, 0.0, 0.0), (-112.0, 0.3, 0.55), (-95.0, 1.0, 0.55), (-62.0, 1.0, 0.55),
                 (-45.0, 1.0, 0.0))  # fmt: skip
"""By height, the shares of a stand-off that go forwards and to the midline: a ureter lies in front
of psoas above the brim and on the inner side of the iliac vessels below it."""


def usual_course(
    side: Side, scale: float = 1.0, *, lower_kidney_mm: float = 0.0, stand_off_mm: float = 0.0
) -> Spline:
    """Return the usual course.

    Parameters
    ----------
    side : {"left", "right"}
    scale : float
        Size against an adult's.
    lower_kidney_mm : float
        How much nearer the feet the pelvi-ureteric junction lies, at adult size; the right one
        is commonly lower by about 8 mm (from memory).
    stand_off_mm : float
        How much further the course keeps from psoas and the iliac vessels than scaling alone
        leaves, in the person's own millimetres: a small person's ureter is not thinner in step.
    """
    return _course(USUAL, side, scale, lower_kidney_mm, stand_off_mm)


def tortuous_course(
    side: Side, scale: float = 1.0, *, lower_kidney_mm: float = 0.0, stand_off_mm: float = 0.0
) -> Spline:
    """Return a winding course; arguments as in `usual_course`."""
    return _course(TORTUOUS, side, scale, lower_kidney_mm, stand_off_mm)


def vessel_hugging_course(
    side: Side, scale: float = 1.0, *, lower_kidney_mm: float = 0.0
) -> Spline:
    """Return a course close beside the common iliac artery; arguments as in `usual_course`."""
    return _course(HUGGING, side, scale, lower_kidney_mm, 0.0)


def _course(
    course: Course, side: Side, scale: float, lower_mm: float, stand_off_mm: float
) -> Spline:
    sign = side_sign(side)
    top = course[0][2]
    height, ahead, inward = np.asarray(AHEAD).T
    points = []
    for x, y, z in course:
        forwards = stand_off_mm * float(np.interp(z, height, ahead))
        medial = stand_off_mm * float(np.interp(z, height, inward))
        # Only the part above the brim moves with the kidney.
        lower = z - lower_mm * max(z, 0.0) / top
        points.append((sign * (scale * x - medial), scale * y - forwards, scale * lower))
    return Spline(tuple(points))
