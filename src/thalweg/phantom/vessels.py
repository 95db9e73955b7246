"""Great vessels of the abdomen as tubes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.phantom.curves import Spline
from thalweg.phantom.tube import Tube

if TYPE_CHECKING:
    from thalweg.phantom.spec import AnatomySpec

__all__ = ["arteries", "veins"]

Course = tuple[tuple[float, float, float], ...]

# Adult LPS mm of the left side where a vessel is paired; diameters are usual ones (from memory).
AORTA: Course = ((10, -4, 200), (10, -4, 110), (9, -5, 50), (5, -6, -4))
COMMON_ILIAC: Course = ((4, -6, -2), (13, -5, -22), (24, -1, -40), (32, 5, -57))
EXTERNAL_ILIAC: Course = ((32, 5, -57), (46, -2, -76), (60, -20, -110), (68, -46, -150),
                          (73, -62, -200))  # fmt: skip
INTERNAL_ILIAC: Course = ((32, 5, -57), (37, 20, -72), (42, 36, -92), (45, 44, -118))
RENAL_ARTERY: Course = ((10, -4, 92), (26, 6, 90), (42, 19, 92), (54, 24, 95))

CAVA: Course = ((-22, -2, 200), (-22, 0, 110), (-20, 1, 40), (-15, 3, -20))
EXTERNAL_ILIAC_VEIN: Course = ((37, 17, -66), (48, 8, -84), (57, -10, -114), (63, -36, -152),
                               (67, -55, -200))  # fmt: skip
LEFT_COMMON_ILIAC_VEIN: Course = ((-14, 3, -20), (4, 6, -38), (22, 13, -54), (37, 17, -66))
RIGHT_COMMON_ILIAC_VEIN: Course = ((-16, 3, -18), (-23, 9, -42), (-37, 17, -66))
LEFT_RENAL_VEIN: Course = ((-14, -4, 88), (6, -19, 90), (22, -12, 92), (40, 12, 94), (54, 22, 98))
RIGHT_RENAL_VEIN: Course = ((-22, 0, 84), (-38, 10, 86), (-54, 20, 90))


def arteries(spec: AnatomySpec) -> dict[str, Tube]:
    """Return the aorta and the iliac and renal arteries by name."""
    found = {"aorta": _vessel(spec, AORTA, ((0, 20.0), (100, 18.0), (210, 16.0)))}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        found[f"common iliac artery, {side}"] = _vessel(spec, COMMON_ILIAC, 10.5, sign)
        found[f"external iliac artery, {side}"] = _vessel(spec, EXTERNAL_ILIAC, 8.5, sign)
        found[f"internal iliac artery, {side}"] = _vessel(spec, INTERNAL_ILIAC, 6.0, sign)
        found[f"renal artery, {side}"] = _vessel(spec, RENAL_ARTERY, 5.5, sign)
    return found


def veins(spec: AnatomySpec) -> dict[str, Tube]:
    """Return the inferior vena cava and the iliac and renal veins by name."""
    return {
        "inferior vena cava": _vessel(spec, CAVA, 21.0),
        "common iliac vein, left": _vessel(spec, LEFT_COMMON_ILIAC_VEIN, 12.0),
        "common iliac vein, right": _vessel(spec, RIGHT_COMMON_ILIAC_VEIN, 12.0),
        "external iliac vein, left": _vessel(spec, EXTERNAL_ILIAC_VEIN, 10.0),
        "external iliac vein, right": _vessel(spec, EXTERNAL_ILIAC_VEIN, 10.0, -1.0),
        "renal vein, left": _vessel(spec, LEFT_RENAL_VEIN, 9.0),
        "renal vein, right": _vessel(spec, RIGHT_RENAL_VEIN, 9.0),
    }


def _vessel(
    spec: AnatomySpec,
    course: Course,
    diameter: float | tuple[tuple[float, float], ...],
    sign: float = 1.0,
) -> Tube:
    """Return a vessel at this person's size, mirrored for a sign of -1."""
    curve = Spline(tuple(spec.point(sign * x, y, z) for x, y, z in course))
    if isinstance(diameter, tuple):
        return Tube(curve, tuple((spec.scale * s, spec.scale * d) for s, d in diameter))
    return Tube(curve, spec.scale * diameter)
