"""Telling bone from contrast at the places that someone pointed to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from thalweg.errors import InputError
from thalweg.measure.fault import Fault, fault_of, point_names

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.measure.corridor import Grid

__all__ = ["checked_not_in_bone"]

ROUND_MM = 12.0
"""The object is looked at this far round the point."""

UNEVEN_SHARE = 0.15
"""Spread over neighbouring blocks, as a share of the brightness: cortex beside marrow is uneven,
contrast is even or layered (own judgement)."""

LEAST_MM3 = 1500.0
"""Of less than this, its rim left out, the evenness says nothing: a ureter
or a usual renal pelvis."""


WIRE_HU = 1000.0
"""Thin things denser than this, such as a stent curled up in contrast, do not make bone of it."""


def checked_not_in_bone(
    grid: Grid,
    mean: NDArray[np.float32],
    nodes: NDArray[np.int64],
    placed_mm: NDArray[np.float64],
    *,
    bone_is_bright: bool = True,
) -> tuple[str, ...]:
    """Refuse points placed in bone, and return cautions where one may be.

    Parameters
    ----------
    grid : Grid
    mean : ndarray of float32, shape (a, b, c)
        Mean brightness of each block.
    nodes : ndarray of int, shape (k, 3)
        Blocks of start, via points and end.
    placed_mm : ndarray, shape (k, 3)
        The points themselves.
    bone_is_bright : bool
        False on MR, where bone is dark: nothing is refused there.

    Raises
    ------
    InputError
        A point lies in a large bright object that is as uneven as bone.
    """
    said = []
    for number, (name, node) in enumerate(zip(point_names(len(nodes)), nodes, strict=True)):
        if bone_is_bright and _uneven(grid, mean, node):
            if grid.obstacle[tuple(node)]:
                raise InputError(
                    "the point lies in bone",
                    where=name,
                    mend="move it on to the ureter",
                    detail=fault_of(Fault.BONE, placed_mm, number),
                )
            said.append(
                f"The {name} lies in something bright and uneven: bone, or a stone or stent in"
                " contrast; if it is bone, move the point on to the ureter."
            )
        elif name == "start" and grid.obstacle[tuple(node)]:
            said.append(
                "The start lies in a bright object larger than a usual renal pelvis: if it is"
                f" {'an artery' if bone_is_bright else 'a vessel, kidney or bowel'}, move the point"
                " on to the ureter."
            )
    return tuple(said)


def _uneven(grid: Grid, mean: NDArray[np.float32], node: NDArray[np.int64]) -> bool:
    """Say whether the object round a block varies from one block to the next as bone does."""
    if not grid.bright[tuple(node)]:
        return False
    reach = np.ceil(ROUND_MM / grid.sampling).astype(int)
    low = np.maximum(node - reach, 0)
    part = tuple(slice(a, b) for a, b in zip(low, node + reach + 1, strict=True))
    labels, _ = ndimage.label(grid.bright[part])
    own = labels == labels[tuple(node - low)]
    wire = mean[part] > WIRE_HU
    wire &= ~ndimage.binary_opening(wire, np.ones((3, 3, 3)))
    own &= ~ndimage.binary_dilation(wire)
    inside = ndimage.binary_erosion(own)  # a rim is uneven in any object
    if inside.sum() * np.prod(grid.sampling) < LEAST_MM3:
        return False
    values = mean[part].astype(np.float64)
    middle = ndimage.uniform_filter(values, 3)
    spread = np.sqrt(np.maximum(ndimage.uniform_filter(values**2, 3) - middle**2, 0.0))
    share = spread[inside] / np.maximum(middle[inside], 1.0)
    return bool(np.percentile(share, 75) > UNEVEN_SHARE)
