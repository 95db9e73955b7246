"""One traced ureter: the course drawn on the image, and the calibre along the same stations."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, BAD, CARE, INK, SOFT, as_svg, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from thalweg.measure.course import Course
    from thalweg.record.image import ImageVolume

__all__ = ["course_picture", "curved_projection"]

Floats = NDArray[np.float64]

GRID_MM = 1.0
SIDE_MM = 55.0
"""How far to either side of the course the picture reaches."""
ABOVE_MM = 25.0
HALF_SLAB_MM = 12.0
"""Half the depth that is projected, so that spine and pelvis do not hide the ureter."""
TICK_MM = 50.0
WINDOW_HU = (-120.0, 480.0)
USUAL_UPPER_MM = 7.0


def curved_projection(
    volume: ImageVolume, course: Course
) -> tuple[Floats, tuple[float, float, float, float]]:
    """Return the brightest value in a slab that follows the course's depth, seen from the front.

    Parameters
    ----------
    volume : ImageVolume
    course : Course

    Returns
    -------
    picture : ndarray, shape (heights, widths)
        Hounsfield units; first row at the head. NaN outside the image.
    extent : tuple of float
        (left x, right x, lowest z, highest z) of the picture's edges in LPS millimetres.
    """
    from scipy.ndimage import map_coordinates  # noqa: PLC0415 - only when a picture is drawn

    points = course.points_mm
    x = np.arange(points[:, 0].min() - SIDE_MM, points[:, 0].max() + SIDE_MM, GRID_MM)
    z = np.arange(points[:, 2].max() + ABOVE_MM, points[:, 2].min() - ABOVE_MM, -GRID_MM)
    order = np.argsort(points[:, 2], kind="stable")
    depth = np.interp(z, points[order, 2], points[order, 1])
    layers = np.arange(-HALF_SLAB_MM, HALF_SLAB_MM + GRID_MM / 2, GRID_MM)
    best = np.full((z.size, x.size), -np.inf)
    for layer in layers:
        where = np.stack(
            np.broadcast_arrays(x[None, :], (depth + layer)[:, None], z[:, None]), axis=-1
        )
        index = np.moveaxis(volume.index_of(where), -1, 0)
        values = map_coordinates(
            volume.values, index, order=1, output=np.float32, cval=-2000.0, mode="constant"
        )
        np.maximum(best, values, out=best)
    best[best < -1500.0] = np.nan
    half = GRID_MM / 2
    return best, (x[0] - half, x[-1] + half, z[-1] - half, z[0] + half)


def _stretches(axes: Axes, course: Course) -> None:
    for one in course.gaps:
        axes.axhspan(one.from_mm, one.to_mm, color=SOFT, alpha=0.22, lw=0)
        axes.annotate(
            "not seen",
            (0.98, (one.from_mm + one.to_mm) / 2),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="center",
            color=INK,
        )
    for narrow in course.narrowings:
        axes.axhspan(narrow.from_mm, narrow.to_mm, color=BAD, alpha=0.18, lw=0)
        sign = "<" if narrow.less_than else ""
        axes.annotate(
            f"narrow, {sign}{narrow.least_calibre_mm:.1f} mm",
            (0.98, (narrow.from_mm + narrow.to_mm) / 2),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="center",
            color=BAD,
            weight="bold",
        )


def _calibre(axes: Axes, course: Course) -> None:
    _stretches(axes, course)
    axes.plot(course.calibre_mm, course.station_mm, color=ACCENT, lw=1.4)
    axes.plot(
        course.calibre_upper_mm, course.station_mm, color=CARE, lw=1.4, ls=":", label="less than"
    )
    axes.axvline(USUAL_UPPER_MM, color=SOFT, lw=0.8, ls="--")
    axes.annotate(
        "7 mm: upper limit\nin adults",
        (USUAL_UPPER_MM, 0.005),
        xycoords=("data", "axes fraction"),
        xytext=(2, 0),
        textcoords="offset points",
        color=SOFT,
        fontsize=6.5,
    )
    highest = np.nanmax(np.append(course.calibre_mm, USUAL_UPPER_MM))
    axes.set_xlim(0, max(10.0, 1.3 * float(highest)))
    axes.set_ylim(course.length_mm, 0)
    axes.set_xlabel("calibre, mm")
    axes.set_ylabel("station, mm from the renal pelvis")
    axes.set_title("Calibre of the contrast")
    axes.grid(visible=True, lw=0.3)


def _on_image(axes: Axes, volume: ImageVolume, course: Course) -> None:
    picture, extent = curved_projection(volume, course)
    low, high = WINDOW_HU
    axes.imshow(picture, cmap="gray", extent=extent, vmin=low, vmax=high, interpolation="bilinear")
    x, z = course.points_mm[:, 0], course.points_mm[:, 2]
    unseen = np.zeros(len(x), dtype=bool)
    for gap in course.gaps:
        unseen |= (course.station_mm >= gap.from_mm) & (course.station_mm <= gap.to_mm)
    # Beside the ureter, not on it: the reader must be able to see what was traced.
    axes.plot(x, z, color="#ffb000", lw=0.9, alpha=0.95)
    axes.plot(np.where(unseen, x, np.nan), z, color="#ff5b6b", lw=1.6, ls=(0, (1.5, 1.5)))
    for station in np.arange(0.0, course.length_mm, TICK_MM):
        nearest = int(np.argmin(np.abs(course.station_mm - station)))
        axes.annotate(
            f"{station:.0f}",
            (x[nearest], z[nearest]),
            xytext=(9, 0),
            textcoords="offset points",
            color="#ffdf9e",
            va="center",
            arrowprops={"arrowstyle": "-", "color": "#ffdf9e", "lw": 0.5},
        )
    # Seen from the front: the person's left (+x) is on the right-hand side of the picture.
    axes.set_xlim(extent[0], extent[1])
    axes.set_xlabel("person's right ←   x, mm   → person's left")
    axes.set_ylabel("z, mm (towards the head ↑)")
    axes.set_title("Seen from the front; slab of 24 mm along the ureter")


def course_picture(volume: ImageVolume, course: Course, side: str) -> Picture:
    """Return a picture of one ureter: its course on the image, its calibre by station."""
    with figure(178, 118) as sheet:
        left, right = sheet.subplots(1, 2, width_ratios=(1.25, 1.0))
        _on_image(left, volume, course)
        _calibre(right, course)
        data = as_svg(sheet)
    gaps = "; ".join(f"{g.from_mm:.0f} to {g.to_mm:.0f} mm" for g in course.gaps) or "none"
    narrow = (
        "; ".join(
            f"{n.from_mm:.0f} to {n.to_mm:.0f} mm, least {n.least_calibre_mm:.1f} mm"
            for n in course.narrowings
        )
        or "none"
    )
    artificial = " Artificial image (phantom)." if volume.phantom else ""
    return Picture(
        data,
        "svg",
        f"{side.capitalize()} ureter: the traced course in yellow, dotted red where no contrast "
        f"was seen; calibre at the same stations.{artificial}",
        f"{side.capitalize()} ureter traced over {course.length_mm:.0f} mm from renal pelvis to "
        f"bladder; stretches not seen: {gaps}; narrowings: {narrow}.",
    )
