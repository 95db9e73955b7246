"""Kidneys with their collecting system, bladder, liver, spleen and muscles beside the spine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.phantom.courses import side_sign
from thalweg.phantom.curves import Spline
from thalweg.phantom.solids import Barrel, Ellipsoid, Layered, Rod, Solid, turned
from thalweg.phantom.tube import Tube

if TYPE_CHECKING:
    from thalweg.phantom.courses import Side
    from thalweg.phantom.spec import AnatomySpec

__all__ = [
    "bladder", "bladder_layer", "bladder_wall", "collecting_system", "kidney", "liver",
    "muscles", "pancreas", "pelvic_floor", "perirenal_fat", "psoas", "renal_sinus",
    "spleen", "stomach",
]  # fmt: skip

BLADDER_WALL_MM = 3.0


def kidney(spec: AnatomySpec, side: Side) -> Ellipsoid:
    """Return one kidney; its lower pole stands away from the spine, and it follows its ureter."""
    sign = side_sign(side)
    return Ellipsoid(
        centre_mm=_by_junction(spec, side, 23.0, 15.0, 26.0),
        radii_mm=spec.point(27.0, 24.0, 54.0),
        axes=turned(-12.0 * sign, 28.0 * sign),
    )


def perirenal_fat(spec: AnatomySpec, side: Side) -> Ellipsoid:
    """Return the fat that keeps a kidney from its neighbours."""
    inside = kidney(spec, side)
    a, b, c = (radius + 6.0 * spec.scale for radius in inside.radii_mm)
    return Ellipsoid(inside.centre_mm, (a, b, c), inside.axes)


def renal_sinus(spec: AnatomySpec, side: Side) -> Ellipsoid:
    """Return the fat of the hilum, which opens forwards and to the spine."""
    sign = side_sign(side)
    return Ellipsoid(
        _by_junction(spec, side, 11.0, 10.0, 26.0),
        spec.point(17.0, 11.0, 24.0),
        turned(-12.0 * sign, 28.0 * sign),
    )


def collecting_system(spec: AnatomySpec, side: Side) -> tuple[Tube, ...]:
    """Return the calyces and the renal pelvis that narrows to the ureter's first calibre."""
    ureter = spec.left if side == "left" else spec.right
    first = float(ureter.calibre_at(0.0))
    size = spec.scale

    def at(x: float, y: float, z: float) -> tuple[float, float, float]:
        return _by_junction(spec, side, x, y, z)

    pelvis = Spline((at(17, 13, 27), at(9, 9, 18), at(2, 3, 8), at(0, 0, 0)))
    wide = max(15.0 * size, 1.5 * first)
    funnel = Tube(pelvis, ((0.0, 0.7 * wide), (12.0 * size, wide), (31.0 * size, first)))
    ends = (at(16, 12, 56), at(24, 19, 48), at(29, 18, 28), at(28, 20, 8), at(24, 16, -2))
    starts = (at(13, 12, 32), at(14, 13, 31), at(13, 12, 27), at(12, 12, 23), at(11, 12, 21))
    calyces = tuple(
        Tube(Spline((a, _between(a, b), b)), ((0.0, 4.5 * size), (20.0 * size, 8.0 * size)))
        for a, b in zip(starts, ends, strict=True)
    )
    return (*calyces, funnel)


def bladder(spec: AnatomySpec) -> Ellipsoid:
    """Return the bladder's inside; both ureters end on its surface at the back."""
    return Ellipsoid(spec.point(0.0, -20.0, -140.0), spec.point(44.0, 32.6, 27.0))


def bladder_layer(spec: AnatomySpec) -> Layered:
    """Return the contrast that has sunk to the back of the bladder of a person lying down."""
    return Layered(bladder(spec), spec.scale * -26.0)


def bladder_wall(spec: AnatomySpec) -> Ellipsoid:
    """Return the bladder's outside."""
    inside = bladder(spec)
    a, b, c = (radius + BLADDER_WALL_MM * spec.scale for radius in inside.radii_mm)
    return Ellipsoid(inside.centre_mm, (a, b, c))


def liver(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the liver's right lobe down to its lower edge, and part of its left lobe."""
    return (
        Ellipsoid(spec.point(-74, -12, 150), spec.point(50, 68, 78), turned(8.0, -8.0)),
        Ellipsoid(spec.point(-30, -48, 168), spec.point(62, 30, 52)),
    )


def spleen(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the lower part of the spleen."""
    return (Ellipsoid(spec.point(92, 28, 165), spec.point(22, 38, 48), turned(8.0, 30.0)),)


def stomach(spec: AnatomySpec) -> tuple[Ellipsoid, Ellipsoid, Ellipsoid]:
    """Return the stomach's outside, its inside, and the gas at its front."""
    centre, lean = spec.point(48, -44, 158), turned(14.0)
    return (
        Ellipsoid(centre, spec.point(36, 27, 46), lean),
        Ellipsoid(centre, spec.point(32, 23, 42), lean),
        Ellipsoid(spec.point(48, -57, 160), spec.point(21, 8, 28), lean),
    )


def pancreas(spec: AnatomySpec) -> Tube:
    """Return the pancreas, across the spine in front of the great vessels."""
    course = ((-38, -22, 88), (-12, -36, 98), (24, -34, 108), (60, -10, 120))
    return Tube(Spline(tuple(spec.point(*point) for point in course)), spec.scale * 20.0)


def pelvic_floor(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the soft tissue below the bladder and inside the ischium."""
    parts: list[Solid] = [
        Ellipsoid(spec.point(0, -6, -178), spec.point(23, 19, 17)),
        Ellipsoid(spec.point(0, 22, -212), spec.point(46, 60, 22)),
    ]
    for sign in (1.0, -1.0):
        start, end = spec.point(sign * 62, -18, -132), spec.point(sign * 50, 20, -205)
        parts.append(Rod(start, end, 10.0 * spec.scale, 13.0 * spec.scale))
    return tuple(parts)


def muscles(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the muscles beside the spine and on the inside of the ilium."""
    parts: list[Solid] = [Barrel(spec.point(0, 62, 60), (spec.scale * 62, spec.scale * 26), 400.0)]
    for sign in (1.0, -1.0):
        parts += [
            Rod(spec.point(sign * 64, 44, 150), spec.point(sign * 72, 40, -5), 9.0 * spec.scale,
                14.0 * spec.scale),
            Rod(spec.point(sign * 78, 10, -20), spec.point(sign * 86, -22, -110),
                15.0 * spec.scale, 22.0 * spec.scale),
        ]  # fmt: skip
    return tuple(parts)


def psoas(spec: AnatomySpec, sign: float) -> Tube:
    """Return one psoas, from beside L1 down to the hip."""
    course = ((27, 34, 125), (35, 33, 70), (45, 29, 10), (58, 16, -50), (72, -10, -105),
              (86, -36, -165), (90, -40, -215))  # fmt: skip
    stations = ((0.0, 14.0), (60.0, 27.0), (120.0, 35.0), (190.0, 36.0), (260.0, 30.0))
    curve = Spline(tuple(spec.point(sign * x, y, z) for x, y, z in course))
    return Tube(curve, tuple((spec.scale * s, spec.scale * d) for s, d in stations))


def _by_junction(
    spec: AnatomySpec, side: Side, x: float, y: float, z: float
) -> tuple[float, float, float]:
    """Return a point by its adult offset from the pelvi-ureteric junction; +x is lateral."""
    ureter = spec.left if side == "left" else spec.right
    home = ureter.centreline.points_mm[0]
    dx, dy, dz = spec.point(side_sign(side) * x, y, z)
    return float(home[0]) + dx, float(home[1]) + dy, float(home[2]) + dz


def _between(
    a: tuple[float, float, float], b: tuple[float, float, float]
) -> tuple[float, float, float]:
    """Return the middle of two points."""
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2
