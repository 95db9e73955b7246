"""Tubes of contrast with a known centre line, rendered into a small volume.

The rendering shares nothing with the tracer: the tube is filled with small volume elements in
its own coordinates (station, radius, angle), each of which gives its cubic millimetres to the
voxel that holds it. That is exact partial volume, to the size of the elements.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]
Along = Callable[[Array], Array]

SOFT_TISSUE_HU = 40.0


def constant(value: float) -> Along:
    """Return a function of station that is `value` everywhere."""
    return lambda s: np.full_like(s, value)


@dataclass(frozen=True)
class Tube:
    """A tube round `points_mm` (dense, in order), with radius and contrast along station."""

    points_mm: Array
    radius_mm: Along
    above_tissue_hu: Along

    @property
    def station_mm(self) -> Array:
        """Arc length at each point."""
        steps = np.linalg.norm(np.diff(self.points_mm, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])


def grid(
    points_mm: Array,
    spacing_mm: tuple[float, float, float],
    *,
    margin_mm: float = 16.0,
    axes: ArrayLike | None = None,
    shear: float = 0.0,
) -> tuple[tuple[int, int, int], Array]:
    """Return shape and index-to-LPS matrix of a volume that holds the points and a margin.

    `axes` are the unit LPS directions of plane, row and column index as columns; `shear` leans
    the plane axis over by that fraction along the rows, as a tilted gantry does.
    """
    turn = (
        np.array([[0.0, 0, 1], [0, 1, 0], [1, 0, 0]]) if axes is None else np.asarray(axes, float)
    )
    turn = turn.copy()
    turn[:, 0] = turn[:, 0] + shear * turn[:, 1]
    linear = turn * np.asarray(spacing_mm)
    index = points_mm @ np.linalg.inv(linear).T
    pad = margin_mm * np.linalg.norm(np.linalg.inv(linear), axis=1)
    low, high = index.min(axis=0) - pad, index.max(axis=0) + pad
    planes, rows, columns = np.ceil(high - low).astype(int) + 1
    to_lps = np.eye(4)
    to_lps[:3, :3] = linear
    to_lps[:3, 3] = linear @ low
    return (int(planes), int(rows), int(columns)), to_lps


def occupancy(tube: Tube, shape: tuple[int, int, int], to_lps: Array) -> tuple[Array, Array]:
    """Return the filled fraction of each voxel, and the same weighted by the tube's contrast."""
    widest = float(tube.radius_mm(tube.station_mm).max())
    ds, rings, angles = 0.2, max(9, round(2 * widest)), max(24, round(5 * widest))
    station = tube.station_mm
    s = np.arange(ds / 2, station[-1], ds)
    centre = np.stack([np.interp(s, station, axis) for axis in tube.points_mm.T], axis=1)
    tangent = np.gradient(centre, ds, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    bend = np.gradient(tangent, ds, axis=0)
    aside = np.eye(3)[np.argmin(np.abs(tangent), axis=1)]
    one = np.cross(tangent, aside)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    two = np.cross(tangent, one)
    rho = np.sqrt((np.arange(rings) + 0.5) / rings)  # rings of equal area
    theta = (np.arange(angles) + 0.5) * 2 * np.pi / angles
    radius = tube.radius_mm(s)
    filled = np.zeros(int(np.prod(shape)))
    bright = np.zeros_like(filled)
    contrast = tube.above_tissue_hu(s)
    inverse = np.linalg.inv(to_lps)
    voxel_mm3 = abs(np.linalg.det(to_lps[:3, :3]))
    golden = np.arange(len(s)) * 2.399963  # turns from station to station: no moiré on the grid
    angle = theta[:, None] + golden
    out = np.cos(angle)[..., None] * one + np.sin(angle)[..., None] * two
    for r in rho:
        away = out * (r * radius)[:, None]
        element = np.pi * radius**2 * ds / (rings * angles)
        mm3 = element * (1 - np.sum(bend * away, axis=-1))
        where = np.rint((centre + away) @ inverse[:3, :3].T + inverse[:3, 3]).astype(int)
        inside = ((where >= 0) & (where < shape)).all(axis=-1)
        flat = np.ravel_multi_index(tuple(where[inside].T), shape)
        part = mm3[inside] / voxel_mm3
        filled += np.bincount(flat, part, filled.size)
        bright += np.bincount(flat, (mm3 * contrast)[inside] / voxel_mm3, filled.size)
    return filled.reshape(shape), bright.reshape(shape)


def render(
    tubes: list[Tube],
    shape: tuple[int, int, int],
    to_lps: Array,
    *,
    noise_hu: float = 15.0,
    blur_mm: float = 0.35,
    seed: int = 0,
    tissue_hu: float | Array = SOFT_TISSUE_HU,
    modality: str = "CT",
) -> ImageVolume:
    """Render tubes into tissue, blur by a scanner's point spread, add noise, keep int16."""
    values = np.zeros(shape) + tissue_hu
    for tube in tubes:
        values += occupancy(tube, shape, to_lps)[1]
    spacing = np.linalg.norm(to_lps[:3, :3], axis=0)
    values = ndimage.gaussian_filter(values, [0.0, *(blur_mm / spacing[1:])])
    values += np.random.default_rng(seed).normal(0.0, noise_hu, shape)
    whole = np.clip(np.rint(values), -1024, 3071).astype(np.int16)
    return ImageVolume(values=whole, to_lps=to_lps, modality=modality, phantom=True)


def line(length_mm: float, direction: ArrayLike = (0.1, 0.2, -1.0)) -> Array:
    """Return a straight line from the origin."""
    unit: Array = np.asarray(direction, float) / np.linalg.norm(direction)
    return np.asarray(np.linspace(0.0, length_mm, 400)[:, None] * unit)


def arc(radius_mm: float, angle: float) -> Array:
    """Return a circular arc in the coronal plane; its length is radius times angle."""
    t = np.linspace(0.0, angle, 800)
    return np.stack([radius_mm * (1 - np.cos(t)), 0 * t, -radius_mm * np.sin(t)], axis=1)


def helix(radius_mm: float, pitch_mm: float, turns: float) -> Array:
    """Return a helix about z; its length is turns times hypot(2 pi radius, pitch)."""
    t = np.linspace(0.0, turns * 2 * np.pi, 1600)
    return np.stack(
        [radius_mm * np.cos(t), radius_mm * np.sin(t), -pitch_mm * t / (2 * np.pi)], axis=1
    )
