"""A radiograph with the course placed on it, its stations and a scale at the ureter's depth."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

import numpy as np

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import as_svg, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thalweg.measure.radiograph import Shadow
    from thalweg.record.radiograph import Radiograph

__all__ = ["radiograph_picture"]

HEIGHT_MM = 150.0
WIDEST_MM = 170.0
MOST_ROWS = 1200
TICK_MM = 50.0
BAR_MM = 50.0
COURSE, LETTERS = "#ffb000", "#ffdf9e"
EDGE = {"facecolor": "black", "edgecolor": "none", "alpha": 0.55, "pad": 1.5}


def radiograph_picture(
    radiograph: Radiograph, shadow: Shadow, side: str = "", *, kind: str = "svg"
) -> Picture:
    """Return the radiograph with the course drawn beside the shadow's middle.

    Parameters
    ----------
    radiograph : Radiograph
    shadow : Shadow
    side : str
        ``"left"``, ``"right"`` or empty.
    kind : str
        ``"svg"`` or ``"png"``.
    """
    rows, columns = radiograph.shape
    tall = radiograph.shape_ratio if math.isfinite(radiograph.shape_ratio) else 1.0
    width = min(HEIGHT_MM * columns / (rows * tall), WIDEST_MM)
    with figure(width, width * rows * tall / columns + 8) as sheet:
        axes = sheet.subplots()
        _shown(axes, radiograph, tall)
        _course(axes, shadow)
        _bar(axes, radiograph, shadow)
        axes.set_title(_headline(shadow), loc="left")
        data = as_svg(sheet) if kind == "svg" else _as_png(sheet)
    name = f"{side} ureter".strip().capitalize()
    artificial = " Artificial image (phantom)." if radiograph.phantom else ""
    when = radiograph.acquired[:10] or "date not known"
    return Picture(
        data,
        kind,
        f"{name} on a radiograph ({when}): the placed course in yellow, stations in mm at the "
        f"ureter's depth. {_headline(shadow)}.{artificial}",
        f"{name}: {len(shadow.placed_px)} points placed on a radiograph. {_headline(shadow)}.",
        share=0.6,
    )


def _headline(shadow: Shadow) -> str:
    if shadow.length_mm is None:
        return "Length not known: its scale at the ureter's depth is not known"
    least = "" if shadow.at_least_mm is None else f", not shorter than {shadow.at_least_mm:.0f} mm"
    return f"Shadow {shadow.length_mm:.0f} mm: a lower bound{least}"


def _shown(axes: Axes, radiograph: Radiograph, tall: float) -> None:
    rows, columns = radiograph.shape
    step = max(1, -(-max(rows, columns) // MOST_ROWS))
    values = radiograph.values[::step, ::step]
    low, high = np.percentile(values, [0.5, 99.8])
    axes.imshow(
        values,
        cmap="gray",
        vmin=low,
        vmax=max(high, low + 1e-6),
        extent=(-0.5, columns - 0.5, rows - 0.5, -0.5),
        aspect=tall,
        interpolation="bilinear",
    )
    axes.set_xlabel("column, pixels")
    axes.set_ylabel("row, pixels")


def _course(axes: Axes, shadow: Shadow) -> None:
    points = shadow.points_px
    # Thin, so that the reader can see beside it what was placed.
    axes.plot(points[:, 0], points[:, 1], color=COURSE, lw=0.8)
    axes.plot(shadow.placed_px[:, 0], shadow.placed_px[:, 1], "+", color=COURSE, ms=5, mew=0.8)
    if shadow.length_mm is None:
        return
    for station in np.arange(0.0, shadow.length_mm, TICK_MM):
        nearest = int(np.argmin(np.abs(shadow.station_mm - station)))
        axes.annotate(
            f"{station:.0f}",
            (points[nearest, 0], points[nearest, 1]),
            xytext=(12, 0),
            textcoords="offset points",
            color=LETTERS,
            va="center",
            bbox=EDGE,
            arrowprops={"arrowstyle": "-", "color": LETTERS, "lw": 0.6},
        )


def _bar(axes: Axes, radiograph: Radiograph, shadow: Shadow) -> None:
    spacing = shadow.calibration.ureter_spacing_mm
    if spacing is None:
        return
    rows, columns = radiograph.shape
    long = BAR_MM / spacing[1]
    left, low = 0.05 * columns, 0.96 * rows
    axes.plot([left, left + long], [low, low], color="white", lw=2.2, solid_capstyle="butt")
    axes.annotate(
        f"{BAR_MM:.0f} mm at the ureter",
        (left, low),
        xytext=(0, 5),
        textcoords="offset points",
        color="white",
        bbox=EDGE,
    )


def _as_png(sheet: Figure) -> bytes:
    made = io.BytesIO()
    sheet.savefig(made, format="png", metadata={"Software": None}, dpi=200)
    return made.getvalue()
