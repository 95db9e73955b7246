"""Resampling an image along a course: straightened, curved, and brightest-value views.

Every picture says where the course lies in it (`pixels`), so that one station can be found in all
of them. Pixels are indexed (row, column); a pixel's value stands for its centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from thalweg.measure.spline import transported_frames

if TYPE_CHECKING:
    from thalweg.record.image import ImageVolume

__all__ = [
    "BACK",
    "FROM_LEFT",
    "FRONT",
    "LEFT",
    "UP",
    "Brightest",
    "Reformation",
    "View",
    "curved",
    "greatest_in_slab",
    "straightened",
    "stretched",
]

Floats = NDArray[np.float64]
Values = NDArray[np.float32]

LEFT, BACK, UP = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
"""Directions in the person, LPS."""

PIXEL_MM = 0.5
"""Columns of reformations are this far apart."""

SLAB_MM = 2.0
LAYERS = 3
"""Thickness that reformations average over, and in how many layers."""

VIEW_PIXEL_MM = 1.0
HALF_SLAB_MM = 10.0
"""A view reaches this far before and behind the course: a wide ureter, but not the spine's
bodies behind it where they lie deeper."""


@dataclass(frozen=True, eq=False)
class Reformation:
    """An image resampled along a course.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
        In the volume's own values; NaN outside the image.
    row_mm : ndarray, shape (rows,)
        Of each row: its station, or for `stretched` the run along the unrolled surface.
    across_mm : ndarray, shape (columns,)
        Of each column: for `straightened` the offset from the course, else the coordinate along
        the direction of the rows.
    pixels : ndarray, shape (n, 2)
        Row and column, as fractions, at which each station of the course lies.
    across : ndarray, shape (rows, 3)
        The unit direction in the person, LPS, in which columns count up, row by row.
    """

    values: Values
    row_mm: Floats
    across_mm: Floats
    pixels: Floats
    across: Floats


@dataclass(frozen=True, slots=True)
class View:
    """A direction of looking, by what counts up to the right, upward, and away from the viewer."""

    right: tuple[float, float, float]
    up: tuple[float, float, float]
    away: tuple[float, float, float]


FRONT = View(LEFT, UP, BACK)
"""From the front: the person's left is on the right."""

FROM_LEFT = View(BACK, UP, (-1.0, 0.0, 0.0))
"""From the person's left: the back is on the right."""


def sampled(volume: ImageVolume, places_mm: Floats) -> Values:
    """Return values at LPS points, shape (..., 3), trilinear; NaN where no voxel holds them."""
    index = np.moveaxis(volume.index_of(places_mm), -1, 0)
    values = ndimage.map_coordinates(
        volume.values, index, order=1, output=np.float32, mode="nearest"
    )
    upper = np.asarray(volume.shape).reshape((3,) + (1,) * (index.ndim - 1)) - 0.5
    values[((index < -0.5) | (index > upper)).any(axis=0)] = np.nan
    return np.asarray(values)


def level_frames(
    points_mm: Floats, left: ArrayLike = LEFT, back: ArrayLike = BACK
) -> tuple[Floats, Floats]:
    """Return two unit normals, shape (n, 3) each, that do not spin about the course.

    The frame is carried along with the least turning; what remains free, one turn about the
    course for all of it, is chosen so that over the whole course the first normal points as
    nearly to `left`, and the second to `back`, as one such turn allows: it maximises
    ``sum(one . left + two . back)``, whose best angle is an arctangent.
    """
    first, second = transported_frames(points_mm)
    best, least = (first, second), -np.inf
    for hand in (1.0, -1.0):
        along = float((first @ np.asarray(left)).sum() + hand * (second @ np.asarray(back)).sum())
        aside = float((second @ np.asarray(left)).sum() - hand * (first @ np.asarray(back)).sum())
        reached = np.hypot(along, aside)
        if reached > least:
            c, s = along / max(reached, 1e-12), aside / max(reached, 1e-12)
            best = (c * first + s * second, hand * (c * second - s * first))
            least = reached
    return best


def straightened(
    volume: ImageVolume,
    points_mm: Floats,
    station_mm: Floats,
    *,
    half_width_mm: float = 12.0,
    left: ArrayLike = LEFT,
    back: ArrayLike = BACK,
) -> tuple[Reformation, Reformation]:
    """Return the image straightened along a course, at two angles a quarter turn apart.

    Parameters
    ----------
    volume : ImageVolume
    points_mm, station_mm : ndarray, shape (n, 3) and (n,)
        The course.
    half_width_mm : float
        How far to either side of the course the picture reaches.
    left, back : array_like, shape (3,)
        The directions that the columns of the first and of the second picture follow as nearly as
        frames without twist allow.

    Returns
    -------
    tuple of two Reformation
        Row i is station i. In the first, the pixel at offset u holds the mean of the image over
        ``p_i + u a_i + t b_i`` for t within `SLAB_MM`, where a and b are the two normals of
        `level_frames`; in the second, a and b change places. The course is the column of offset 0.
    """
    one, two = level_frames(points_mm, left, back)
    half = round(half_width_mm / PIXEL_MM)
    offset = np.arange(-half, half + 1, dtype=np.float64) * PIXEL_MM
    pixels = np.stack([np.arange(len(points_mm)), np.full(len(points_mm), half)], axis=1)
    made = []
    for across, through in ((one, two), (two, one)):
        lines = points_mm[:, None] + offset[:, None] * across[:, None]
        values = _averaged(volume, lines, through[:, None])
        made.append(Reformation(values, station_mm, offset, pixels.astype(np.float64), across))
    return made[0], made[1]


def curved(
    volume: ImageVolume,
    points_mm: Floats,
    station_mm: Floats,
    *,
    along: ArrayLike = LEFT,
    margin_mm: float = 15.0,
) -> Reformation:
    """Return the image on the surface swept by one direction along a course, row by station.

    Row i is station i: the pixel at coordinate u along the unit direction d holds the mean of the
    image over ``p_i + (u - p_i . d) d + t n_i`` for t within `SLAB_MM`, where n is square to d and
    to the course. The course lies at ``u = p_i . d`` and is not straightened; columns are true
    millimetres in the person.

    Parameters
    ----------
    volume : ImageVolume
    points_mm, station_mm : ndarray, shape (n, 3) and (n,)
    along : array_like, shape (3,)
        Direction of the rows, such as `LEFT` or `BACK`.
    margin_mm : float
        How far beyond the course the picture reaches to either side.
    """
    way = np.asarray(along, dtype=np.float64)
    way = way / np.linalg.norm(way)
    return _swept(volume, points_mm, station_mm, way, margin_mm)


def stretched(
    volume: ImageVolume,
    points_mm: Floats,
    *,
    along: ArrayLike = LEFT,
    margin_mm: float = 15.0,
    row_mm: float = 1.0,
) -> Reformation:
    """Return the same surface as `curved`, unrolled flat without stretching it.

    The surface that parallel lines sweep along a curve can be laid flat: rows are even steps of
    arc length of the course *as seen along those lines*, columns are millimetres along them.
    Lengths on the surface are kept, so that the course drawn through `pixels` has its true length,
    but a row is no station where the course runs along the lines.

    Parameters
    ----------
    volume : ImageVolume
    points_mm : ndarray, shape (n, 3)
    along : array_like, shape (3,)
    margin_mm : float
    row_mm : float
        Distance between rows.
    """
    way = np.asarray(along, dtype=np.float64)
    way = way / np.linalg.norm(way)
    square = points_mm - (points_mm @ way)[:, None] * way
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(square, axis=0), axis=1))])
    onward = np.concatenate([[True], np.diff(run) > 1e-9])  # runs of no advance give one row
    rows = np.arange(0.0, run[-1] + row_mm / 2, row_mm)
    base = np.stack([np.interp(rows, run[onward], axis[onward]) for axis in square.T], axis=1)
    seen = _swept(volume, base, rows, way, margin_mm, reach=points_mm @ way)
    first, step = seen.across_mm[0], PIXEL_MM
    pixels = np.stack([run / row_mm, (points_mm @ way - first) / step], axis=1)
    return Reformation(seen.values, seen.row_mm, seen.across_mm, pixels, seen.across)


def _swept(
    volume: ImageVolume,
    points_mm: Floats,
    row_mm: Floats,
    way: Floats,
    margin_mm: float,
    reach: Floats | None = None,
) -> Reformation:
    """Sample lines along `way` through each point, as wide as `reach` and a margin."""
    place = points_mm @ way
    wide = place if reach is None else reach
    first = np.floor((wide.min() - margin_mm) / PIXEL_MM)
    last = np.ceil((wide.max() + margin_mm) / PIXEL_MM)
    u = np.arange(first, last + 1) * PIXEL_MM
    lines = points_mm[:, None] + (u - place[:, None])[..., None] * way
    tangent = np.gradient(points_mm, axis=0)
    normal = np.cross(tangent, way)
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    # Where the course runs along the lines no normal is defined: there one layer must do.
    normal = np.where(size > 0.05 * np.linalg.norm(tangent, axis=1, keepdims=True), normal, 0.0)
    normal /= np.maximum(size, 1e-12)
    values = _averaged(volume, lines, normal[:, None])
    pixels = np.stack([np.arange(len(place)), (place - u[0]) / PIXEL_MM], axis=1)
    return Reformation(values, row_mm, u, pixels, np.broadcast_to(way, points_mm.shape))


def _averaged(volume: ImageVolume, places_mm: Floats, through: Floats) -> Values:
    """Return the mean over layers across a slab, one layer in memory at a time."""
    total = np.zeros(places_mm.shape[:-1], dtype=np.float32)
    for depth in (np.arange(LAYERS) - (LAYERS - 1) / 2) * SLAB_MM / LAYERS:
        total += sampled(volume, places_mm + depth * through)
    return np.asarray(total / np.float32(LAYERS))


@dataclass(frozen=True, eq=False)
class Brightest:
    """The brightest value along each line of sight.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
        The first row is uppermost; NaN where no line of sight meets the image.
    right_mm, up_mm : ndarray, shape (columns,) and (rows,)
        Coordinates of the pixels' centres along the view's right and up.
    pixels : ndarray, shape (n, 2)
        Row and column, as fractions, of the given points.
    """

    values: Values
    right_mm: Floats
    up_mm: Floats
    pixels: Floats


def greatest_in_slab(
    volume: ImageVolume,
    points_mm: Floats,
    view: View = FRONT,
    *,
    frame: tuple[float, float, float, float] | None = None,
    half_slab_mm: float = HALF_SLAB_MM,
) -> Brightest:
    """Return the brightest value in a slab that goes along with a course.

    At each height the slab reaches from `half_slab_mm` before the foremost to as much behind the
    hindmost point of the course at that height; above and below the course it goes on as at its
    ends. So it holds the whole course, also where it runs up again, and as little bone before and
    behind it as a slab can.

    Parameters
    ----------
    volume : ImageVolume
    points_mm : ndarray, shape (n, 3)
        The course, steps of a millimetre or so.
    view : View
    frame : tuple of float, optional
        Least and greatest coordinate to the right, least and greatest upward, mm. Omitted: the
        course and 25 mm about it.
    half_slab_mm : float
    """
    right, up, away = (np.asarray(axis) for axis in (view.right, view.up, view.away))
    u, v, w = points_mm @ right, points_mm @ up, points_mm @ away
    if frame is None:
        frame = (u.min() - 25.0, u.max() + 25.0, v.min() - 25.0, v.max() + 25.0)
    step = VIEW_PIXEL_MM
    columns = np.arange(frame[0] + step / 2, frame[1], step)
    rows = np.arange(frame[3] - step / 2, frame[2], -step)
    near, far = _depths(v, w, rows)
    near, far = near - half_slab_mm, far + half_slab_mm
    layers = int(np.ceil((far - near).max() / step)) + 1
    base = columns[None, :, None] * right + rows[:, None, None] * up
    best = np.full(base.shape[:2], -np.inf, dtype=np.float32)
    for share in np.linspace(0.0, 1.0, layers):
        depth = near + share * (far - near)
        np.fmax(best, sampled(volume, base + depth[:, None, None] * away), out=best)
    best[np.isneginf(best)] = np.nan
    pixels = np.stack([(rows[0] - v) / step, (u - columns[0]) / step], axis=1)
    return Brightest(best, columns, rows, pixels)


def _depths(height: Floats, depth: Floats, rows: Floats) -> tuple[Floats, Floats]:
    """Return the least and greatest depth of a course at each height, beyond it as at its ends."""
    low = np.minimum(height[:-1], height[1:])
    high = np.maximum(height[:-1], height[1:])
    asked = np.clip(rows, height.min(), height.max())
    reach = VIEW_PIXEL_MM / 2
    crosses = (asked[:, None] >= low - reach) & (asked[:, None] <= high + reach)
    nearer = np.where(crosses, np.minimum(depth[:-1], depth[1:]), np.inf).min(axis=1)
    farther = np.where(crosses, np.maximum(depth[:-1], depth[1:]), -np.inf).max(axis=1)
    return nearer, farther
