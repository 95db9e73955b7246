"""Slow changes of brightness across an MR image that come from its coils, not from the person.

Most neighbouring places of a body hold the same tissue, so that the logarithms of their signals
differ by the coils' fall-off alone; where a tissue ends they differ by much more. A smooth field
whose differences agree with most of the observed ones is therefore the coils'. Asking for the
least sum of absolute differences lets the few large ones go (Hui 2010 builds the field from
gradients, Zheng 2009 gives the sparse-gradient argument); a polynomial of low order keeps it slow.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = ["Blocks", "Shading", "blocks_of", "fitted_shading"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BLOCK_MM = 6.0
"""Blocks are as many whole voxels as come nearest to this edge."""

DEGREE = 3
"""Greatest total degree of the polynomial in x, y and z: 19 terms beside the constant."""

EXPONENTS = np.array([e for e in product(range(DEGREE + 1), repeat=3) if 0 < sum(e) <= DEGREE])

ROUNDS = 15
PAIRS = 20_000
"""About so many pairs of neighbours are enough for `EXPONENTS`; every so-many-eth is taken."""

SMALLEST = 0.02
"""Differences of logarithms below this weigh alike: 2 %, about the noise of a block."""

RIDGE = 1e-3
"""Pull of every coefficient towards none, as a share of the mean diagonal: what the body does not
tell stays flat."""

PLANES_AT_ONCE = 16


@dataclass(frozen=True, eq=False)
class Blocks:
    """Mean signal in blocks of whole voxels over a whole image.

    Parameters
    ----------
    mean : ndarray of float64, shape (a, b, c)
    factor : ndarray of int, shape (3,)
        Voxels per block edge.
    sampling_mm : ndarray, shape (3,)
    """

    mean: Floats
    factor: NDArray[np.int64]
    sampling_mm: Floats

    def voxel_index(self, blocks: Floats | NDArray[np.int64]) -> Floats:
        """Return the fractional voxel index of block indices, shape (..., 3)."""
        return np.asarray(blocks * self.factor + (self.factor - 1) / 2)


def blocks_of(volume: ImageVolume) -> Blocks:
    """Return the whole image in blocks of about `BLOCK_MM`."""
    factor = np.clip(np.rint(BLOCK_MM / volume.spacing_mm), 1, volume.shape).astype(np.int64)
    count = np.asarray(volume.shape) // factor
    mean = np.empty(tuple(count))
    (planes, rows, columns), (_, row_end, column_end) = factor.tolist(), (count * factor).tolist()
    step = max(PLANES_AT_ONCE // planes, 1)
    for first in range(0, int(count[0]), step):
        stop = min(first + step, int(count[0]))
        part = volume.values[first * planes : stop * planes, :row_end, :column_end]
        shape = (stop - first, planes, count[1], rows, count[2], columns)
        mean[first:stop] = part.reshape(shape).mean(axis=(1, 3, 5), dtype=np.float64)
    return Blocks(mean, factor, volume.spacing_mm * factor)


@dataclass(frozen=True, eq=False)
class Shading:
    """A smooth field of relative sensitivity: the exponential of a polynomial in voxel indices.

    Parameters
    ----------
    coefficients : ndarray, shape (len(EXPONENTS),)
    middle, half : ndarray, shape (3,)
        Voxel index of the body's middle and half its extent, over which the polynomial holds.
    reference : float
        Value of the polynomial where the field is 1.
    """

    coefficients: Floats
    middle: Floats
    half: Floats
    reference: float = 0.0

    def log_at(self, index: Floats) -> Floats:
        """Return the field's logarithm at voxel indices, shape (..., 3); the rim's goes on."""
        terms = _terms(np.clip((index - self.middle) / self.half, -1.0, 1.0))
        return np.asarray(terms @ self.coefficients - self.reference)

    def on_plane(self, plane: float, rows: Floats, columns: Floats) -> Floats:
        """Return the field on one plane of a lattice, shape (len(rows), len(columns))."""
        p, r, c = (
            np.clip((np.asarray(at) - self.middle[axis]) / self.half[axis], -1.0, 1.0)
            for axis, at in enumerate((plane, rows, columns))
        )
        table = np.zeros((DEGREE + 1, DEGREE + 1))
        for (i, j, k), value in zip(EXPONENTS, self.coefficients, strict=True):
            table[j, k] += value * float(p) ** i
        powers = np.arange(DEGREE + 1)
        field = (r[:, None] ** powers) @ table @ (c[:, None] ** powers).T
        return np.asarray(np.exp(field - self.reference))

    def at_reference(self, index: Floats) -> Shading:
        """Return the same field, 1 on average (of logarithms) at some voxel indices."""
        shift = float(self.log_at(index).mean())
        return Shading(self.coefficients, self.middle, self.half, self.reference + shift)


def fitted_shading(blocks: Blocks, body: Flags) -> Shading:
    """Return the field that most differences between neighbouring blocks of the body agree with.

    Parameters
    ----------
    blocks : Blocks
    body : ndarray of bool, shape of the blocks
        Blocks with signal; at least two.

    Notes
    -----
    Least absolute differences by iteratively reweighted least squares: convex, so that it ends
    at the same field from any start.
    """
    inside = np.argwhere(body)
    low = blocks.voxel_index(inside.min(axis=0)) - blocks.factor / 2
    high = blocks.voxel_index(inside.max(axis=0)) + blocks.factor / 2
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, 1.0)
    log_mean = np.log(np.where(body, blocks.mean, 1.0))
    rows, differences = [], []
    for axis in range(3):
        first = tuple(slice(None, -1) if a == axis else slice(None) for a in range(3))
        second = tuple(slice(1, None) if a == axis else slice(None) for a in range(3))
        pairs = np.argwhere(body[first] & body[second])
        pairs = pairs[:: max(3 * len(pairs) // PAIRS, 1)]
        ahead = pairs + np.eye(3, dtype=np.int64)[axis]
        here, there = ((blocks.voxel_index(at) - middle) / half for at in (pairs, ahead))
        rows.append(_terms(there) - _terms(here))
        differences.append(log_mean[tuple(ahead.T)] - log_mean[tuple(pairs.T)])
    return Shading(_least_absolute(np.concatenate(rows), np.concatenate(differences)), middle, half)


def _least_absolute(rows: Floats, differences: Floats) -> Floats:
    """Return the coefficients whose products with the rows leave the least absolute rest."""
    found: Floats = np.zeros(rows.shape[1])
    if not len(rows):
        return found
    for _ in range(ROUNDS):
        weight = 1 / np.maximum(np.abs(differences - rows @ found), SMALLEST)
        square = (rows * weight[:, None]).T @ rows
        square += RIDGE * np.trace(square) / len(square) * np.eye(len(square))
        found = np.asarray(np.linalg.solve(square, rows.T @ (weight * differences)), np.float64)
    return found


def _terms(scaled: Floats) -> Floats:
    """Return the polynomial's terms at places scaled to -1 … 1, shape (..., len(EXPONENTS))."""
    powers = scaled[..., None] ** np.arange(DEGREE + 1)
    i, j, k = EXPONENTS.T
    return np.asarray(powers[..., 0, i] * powers[..., 1, j] * powers[..., 2, k])
