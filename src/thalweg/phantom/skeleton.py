"""Spine, pelvis, hips and lower ribs, as solids of cortical bone with a spongy inside."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from thalweg.phantom.solids import Barrel, Ellipsoid, Plate, Rod, Solid

if TYPE_CHECKING:
    from thalweg.phantom.solids import Axes
    from thalweg.phantom.spec import AnatomySpec

__all__ = [
    "Vertebra",
    "bones",
    "iliac_spine",
    "iliac_wing",
    "soft_spine",
    "spinal_canal",
    "vertebrae",
]

CORTEX_MM = 1.6
"""Thickness of the cortical shell in an adult."""

# Name, height of the body's middle, y of the body's middle, its half width, half depth, half height
# and lean (degrees, head end forwards), adult mm (sizes from memory).
LUMBAR = (
    ("T11", 172.0, 30.0, 19.0, 15.0, 11.5, 0.0),
    ("T12", 142.0, 29.0, 20.0, 15.5, 12.0, 0.0),
    ("L1", 110.0, 27.0, 21.0, 16.0, 13.0, 0.0),
    ("L2", 75.0, 25.5, 22.0, 16.5, 13.5, 0.0),
    ("L3", 39.0, 24.5, 23.0, 17.0, 13.5, 0.0),
    ("L4", 3.0, 25.0, 24.0, 17.5, 13.5, 0.0),
    ("L5", -33.0, 28.0, 25.0, 17.5, 13.0, 12.0),
)
SACRAL = (
    ("S1", -66.0, 40.0, 26.0, 15.0, 13.0, 32.0),
    ("S2", -90.0, 55.0, 21.0, 11.0, 11.0, 36.0),
    ("S3", -112.0, 67.0, 17.0, 9.0, 10.0, 22.0),
    ("S4", -132.0, 72.0, 13.0, 7.0, 9.0, 5.0),
    ("S5", -150.0, 71.0, 10.0, 6.0, 8.0, -12.0),
)


SPINE_MM = (124.0, -31.0, -60.0)
SPINE_RADIUS_MM = 6.0
"""The knob of the left anterior superior iliac spine in an adult."""


@dataclass(frozen=True)
class Vertebra:
    """One vertebra's body, and where its arch goes."""

    name: str
    body: Barrel
    lumbar: bool


def vertebrae(spec: AnatomySpec) -> tuple[Vertebra, ...]:
    """Return vertebral bodies from head to foot at this person's size."""
    found = []
    for name, z, y, width, depth, height, lean in (*LUMBAR, *SACRAL):
        body = Barrel(
            spec.point(0, y, z),
            (spec.scale * width, spec.scale * depth),
            spec.scale * height,
            _leant(lean),
        )
        found.append(Vertebra(name, body, lumbar=not name.startswith("S")))
    return tuple(found)


def soft_spine(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the discs' column, which the vertebral bodies are later drawn over."""
    stack = [v.body for v in vertebrae(spec) if v.lumbar] + [vertebrae(spec)[len(LUMBAR)].body]
    return tuple(
        Rod(above.centre_mm, below.centre_mm, 0.92 * above.radii_mm[1], 0.92 * below.radii_mm[1])
        for above, below in pairwise(stack)
    ) + tuple(
        Ellipsoid(
            _middle(above, below),
            (0.95 * above.radii_mm[0], 0.97 * above.radii_mm[1], spec.scale * 9.0),
        )
        for above, below in pairwise(stack)
    )


def bones(spec: AnatomySpec) -> tuple[tuple[Solid, ...], tuple[Solid, ...]]:
    """Return cortical solids, then the spongy solids inside them."""
    shells: list[Solid] = []
    for vertebra in vertebrae(spec):
        shells.append(vertebra.body)
        shells.extend(_arch(spec, vertebra) if vertebra.lumbar else _ala(spec, vertebra))
    shells.extend(_ribs(spec))
    for sign in (1.0, -1.0):
        shells.extend(_hip(spec, sign))
    cores = [core for core in (_core(shell, spec.scale * CORTEX_MM) for shell in shells) if core]
    return tuple(shells), tuple(cores)


def spinal_canal(spec: AnatomySpec) -> tuple[Solid, ...]:
    """Return the canal behind the vertebral bodies, down to the sacrum."""
    backs = [
        (0.0, v.body.centre_mm[1] + v.body.radii_mm[1] + 7.5 * spec.scale, v.body.centre_mm[2])
        for v in vertebrae(spec)[: len(LUMBAR) + 1]
    ]
    return tuple(Rod(above, below, 6.5 * spec.scale) for above, below in pairwise(backs))


def iliac_wing(spec: AnatomySpec, sign: float) -> Plate:
    """Return the wing of the ilium, leaning outwards to its crest; sign +1 is the left."""
    breadth = np.array([sign * 0.80, -0.60, 0.0])
    height = np.array([sign * 0.14, 0.10, 1.0])
    height -= breadth * (breadth @ height)
    height /= np.linalg.norm(height)
    normal = np.cross(breadth, height) * sign
    axes = tuple(tuple(float(v) for v in row) for row in (normal, breadth, height))
    return Plate(
        centre_mm=spec.point(sign * 90.0, 14.0, -54.0),
        half_breadth_mm=spec.scale * 58.0,
        half_height_mm=spec.scale * 50.0,
        thickness_mm=spec.scale * 9.0,
        bow_mm=spec.scale * 4.0,
        axes=axes,  # type: ignore[arg-type]
    )


def iliac_spine(spec: AnatomySpec, sign: float) -> tuple[float, float, float]:
    """Return the anterior superior iliac spine: the foremost point of the crest's rod."""
    x, y, z = spec.point(sign * SPINE_MM[0], SPINE_MM[1], SPINE_MM[2])
    return x, y - SPINE_RADIUS_MM * spec.scale, z


def _leant(degrees: float) -> Axes:
    c, s = float(np.cos(np.radians(degrees))), float(np.sin(np.radians(degrees)))
    return ((1.0, 0.0, 0.0), (0.0, c, s), (0.0, -s, c))


def _middle(above: Barrel, below: Barrel) -> tuple[float, float, float]:
    x, y, z = (np.asarray(above.centre_mm) + np.asarray(below.centre_mm)) / 2
    return float(x), float(y), float(z)


def _arch(spec: AnatomySpec, vertebra: Vertebra) -> list[Solid]:
    """Return pedicles, laminae, transverse, articular and spinous processes."""
    _, y, z = (value / spec.scale for value in vertebra.body.centre_mm)
    depth = vertebra.body.radii_mm[1] / spec.scale
    canal = y + depth + 8.0
    thin = spec.scale
    parts: list[Solid] = [
        Rod(spec.point(0, canal + 13, z - 4), spec.point(0, canal + 31, z - 9), 3.6 * thin)
    ]
    for sign in (1.0, -1.0):
        parts += [
            Rod(spec.point(sign * 14, y + depth - 4, z + 4),
                spec.point(sign * 15, canal + 3, z + 4), 4.6 * thin),
            Rod(spec.point(sign * 15, canal + 4, z), spec.point(sign * 2, canal + 14, z - 6),
                3.8 * thin),
            Rod(spec.point(sign * 17, canal + 3, z + 3), spec.point(sign * 39, canal + 2, z + 2),
                3.6 * thin, 2.8 * thin),
            Rod(spec.point(sign * 16, canal + 5, z + 10), spec.point(sign * 16, canal + 7, z - 16),
                5.0 * thin),
        ]  # fmt: skip
    return parts


def _ala(spec: AnatomySpec, vertebra: Vertebra) -> list[Solid]:
    """Return the wings of the sacrum towards the sacro-iliac joints, and its back."""
    _, y, z = (value / spec.scale for value in vertebra.body.centre_mm)
    width = vertebra.body.radii_mm[0] / spec.scale
    reach = {"S1": 47.0, "S2": 42.0, "S3": 34.0}.get(vertebra.name, width + 2.0)
    radius = vertebra.body.radii_mm[1] * 0.85
    parts: list[Solid] = [
        Rod(spec.point(sign * width * 0.6, y + 2, z), spec.point(sign * reach, y + 6, z), radius)
        for sign in (1.0, -1.0)
    ]
    if vertebra.name in {"S1", "S2", "S3"}:
        back = y + vertebra.body.radii_mm[1] / spec.scale + 12
        parts.append(
            Rod(spec.point(-20, back, z - 4), spec.point(20, back, z - 4), 4.0 * spec.scale)
        )
    return parts


def _hip(spec: AnatomySpec, sign: float) -> list[Solid]:
    """Return one side's ilium, acetabulum, pubis, ischium and upper femur."""
    size = spec.scale

    def rod(a: tuple[float, float, float], b: tuple[float, float, float], ra: float, rb: float
            ) -> Rod:  # fmt: skip
        start, end = spec.point(sign * a[0], *a[1:]), spec.point(sign * b[0], *b[1:])
        return Rod(start, end, ra * size, rb * size)

    return [
        iliac_wing(spec, sign),
        rod((52, 47, -62), (57, 53, -86), 9.0, 8.0),
        rod((57, 52, -84), (84, 14, -126), 9.0, 14.0),
        rod(SPINE_MM, (98, -24, -112), SPINE_RADIUS_MM, 11.0),
        rod(SPINE_MM, (128, -14, -42), SPINE_RADIUS_MM, 5.0),
        rod((110, -27, -88), (98, -2, -82), 8.0, 6.0),
        rod((80, 22, -138), (62, 42, -200), 15.0, 13.0),
        rod((80, -20, -138), (14, -64, -172), 11.0, 8.5),
        rod((11, -64, -164), (11, -60, -198), 8.5, 7.0),
        Ellipsoid(spec.point(sign * 93, -4, -150), (24 * size, 24 * size, 24 * size)),
        rod((96, -4, -152), (138, 4, -182), 15.0, 15.0),
        rod((142, 8, -172), (144, 6, -215), 17.0, 17.0),
    ]


def _ribs(spec: AnatomySpec) -> list[Solid]:
    """Return the lower ribs as chains of rods inside the muscle of the flank."""
    muscle, cavity = spec.wall().muscle, spec.wall().cavity
    parts: list[Solid] = []
    for start_z, fall, sweep in ((165.0, 28.0, 58.0), (192.0, 62.0, 128.0), (214.0, 84.0, 150.0)):
        for sign in (1.0, -1.0):
            points = []
            for angle in np.radians(np.linspace(72.0, 72.0 - sweep, 12)):
                z = spec.scale * (start_z - fall * (1 - (np.degrees(angle) - 72 + sweep) / sweep))
                outer, inner = muscle.sizes_at(z), cavity.sizes_at(z)
                width = float(outer[0] + inner[0]) / 2
                half = 2 if angle > 0 else 1
                depth = float(outer[half] + inner[half]) / 2
                x, y = sign * width * np.cos(angle), depth * np.sin(angle)
                points.append((float(x), float(y), float(z)))
            parts += [Rod(a, b, 4.2 * spec.scale) for a, b in pairwise(points)]
    return parts


def _core(shell: Solid, cortex: float) -> Solid | None:
    """Return the spongy inside of a bone, or None where it is all cortex."""
    if isinstance(shell, Barrel):
        a, b = shell.radii_mm
        return Barrel(
            shell.centre_mm, (a - cortex, b - cortex), shell.half_height_mm - cortex, shell.axes
        )
    if isinstance(shell, Plate):
        return Plate(
            shell.centre_mm,
            shell.half_breadth_mm - cortex,
            shell.half_height_mm - cortex,
            shell.thickness_mm - 2 * cortex,
            shell.bow_mm,
            shell.axes,
        )
    if isinstance(shell, Ellipsoid):
        a, b, c = (radius - cortex for radius in shell.radii_mm)
        return Ellipsoid(shell.centre_mm, (a, b, c), shell.axes)
    if isinstance(shell, Rod) and min(shell.radius_mm, shell.end_radius_mm or 1e9) > 1.5 * cortex:
        end = None if shell.end_radius_mm is None else shell.end_radius_mm - cortex
        return Rod(shell.start_mm, shell.end_mm, shell.radius_mm - cortex, end)
    return None
