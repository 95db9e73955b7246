"""Sliding windows over irregular series: which results lie in one, and the least of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["NONE", "first_in_window", "least_since"]

NONE = np.iinfo(np.int64).max
"""Stands for the least of no values."""


def first_in_window(
    minutes: NDArray[np.int64], person: NDArray[np.int64], width: int
) -> NDArray[np.int64]:
    """Return for each moment the index of the first of the same person at most `width` earlier.

    Parameters
    ----------
    minutes : ndarray of int64, shape (n,)
        Times; rising within each person.
    person : ndarray of int64, shape (n,)
        Rising person numbers, from 0.
    width : int
        Minutes; a moment exactly that much earlier is within.
    """
    if not minutes.size:
        return np.zeros(0, dtype=np.int64)
    early = minutes.min()
    stride = np.int64(minutes.max() - early + width + 1)
    line = person * stride + (minutes - early)
    own = np.searchsorted(person, person, side="left")
    return np.asarray(np.maximum(np.searchsorted(line, line - width, side="left"), own))


def least_since(values: NDArray[np.int64], first: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the least of ``values[first[i]:i]`` for each i, `NONE` where that is empty.

    Two overlapping runs of a power of two cover any window, so the cost is that of one pass for
    each doubling of the longest window (the range-minimum table of Bender and Farach-Colton).
    """
    here = np.arange(values.size)
    length = here - first
    least = np.full(values.size, NONE, dtype=np.int64)
    run, width = values, 1
    while width <= (length.max() if length.size else 0):
        fits = (length >= width) & (length < 2 * width)
        least[fits] = np.minimum(run[first[fits]], run[here[fits] - width])
        run = np.minimum(run[:-width], run[width:]) if run.size > width else run
        width *= 2
    return least
