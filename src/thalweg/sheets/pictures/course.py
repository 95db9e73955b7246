"""One traced ureter: seen from the front, from the side, straightened, and its calibre.

All panels but the front view share one station axis, row for row; fine lines lead from the front
view to the same stations on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thalweg.measure.reformat import BACK, FRONT, curved, greatest_in_slab, straightened
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, CARE, INK, SOFT, drawn, sheet_of
from thalweg.sheets.pictures.stretches import spread, stretches_of
from thalweg.sheets.pictures.window import Window, window_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thalweg.measure.course import Course
    from thalweg.measure.reformat import Reformation
    from thalweg.record.image import ImageVolume
    from thalweg.sheets.pictures.stretches import Stretch

__all__ = ["course_picture"]

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 178.0, 134.0
"""Of the sheet, mm: as wide as the text of a page of A4."""

TOP, FOOT = 17.0, 15.5
"""Left free above and below the panels, mm."""

FRONT_BOX = (12.0, 44.5)
SIDE_BOX = (68.5, 25.0)
STRIP_BOXES = ((95.0, 12.5), (109.0, 12.5))
CALIBRE_BOX = (124.0, 23.5)
LABELS_AT = 150.0
"""Left edge and width of each panel, mm; they are equally high."""

LINE_MM = 6.6
"""Height of one label of two lines."""

USUAL_UPPER_MM = 7.0
Z95 = 1.959963984540054
COURSE, CASING = "#ffb000", "#000000"


@dataclass(frozen=True, eq=False)
class _Sheet:
    """What all panels share."""

    sheet: Figure
    volume: ImageVolume
    course: Course
    stretches: tuple[Stretch, ...]
    ticks: Floats
    smooth: str
    """How pixels are joined: by the drawing library, or left to who shows the file."""

    def panel(self, left: float, width: float, **how: Any) -> Axes:
        height = HEIGHT - TOP - FOOT
        box = (left / WIDTH, FOOT / HEIGHT, width / WIDTH, height / HEIGHT)
        return self.sheet.add_axes(box, **how)

    @property
    def tall(self) -> float:
        return HEIGHT - TOP - FOOT


def course_picture(
    volume: ImageVolume,
    course: Course,
    side: str = "",
    *,
    pivot_mm: float | None = None,
    division_mm: float | None = None,
    kind: str = "svg",
) -> Picture:
    """Return a picture of one ureter on its image.

    Parameters
    ----------
    volume : ImageVolume
    course : Course
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    pivot_mm, division_mm : float, optional
        Stations above which it stays held, and at which it is cut.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    stretches = stretches_of(course, pivot_mm, division_mm)
    with sheet_of(WIDTH, HEIGHT) as sheet:
        smooth = "bilinear" if kind == "png" else "none"
        shared = _Sheet(sheet, volume, course, stretches, _ticks(course.length_mm), smooth)
        window = _draw(shared)
        _words(shared, side, window)
        data = drawn(sheet, kind)
    return Picture(data, kind, _caption(side, volume, window), _alternative(side, course))


def _ticks(length_mm: float) -> Floats:
    step = next((size for size in (10.0, 20.0, 50.0) if length_mm / size <= 7), 100.0)
    return np.arange(0.0, length_mm, step)


def _draw(shared: _Sheet) -> Window:
    course, volume = shared.course, shared.volume
    points, station = course.points_mm, course.station_mm
    side = curved(volume, points, station, along=BACK, margin_mm=12.0)
    widest = float(np.nanmax(np.append(course.calibre_mm, 0.0)))
    half = float(np.clip(max(course.length_mm / 22.0, 0.9 * widest), 6.0, 20.0))
    strips = straightened(volume, points, station, half_width_mm=half)
    frame = _frame(points, shared.tall / FRONT_BOX[1])
    view = greatest_in_slab(volume, points, FRONT, frame=frame)
    window = window_of(volume, view.values)
    front = shared.panel(*FRONT_BOX)
    look: dict[str, Any] = {"cmap": "gray", "vmin": window.low, "vmax": window.high}
    front.imshow(view.values, extent=frame, interpolation=shared.smooth, aspect="auto", **look)
    _front(front, shared, frame)
    _leaders(shared, frame)
    panel = shared.panel(*SIDE_BOX)
    _reformation(panel, side, shared, look)
    seen = _outside_gaps(course)
    panel.plot(np.where(seen, points[:, 1], np.nan), station, color=COURSE, lw=0.6, alpha=0.8)
    panel.plot(np.where(seen, np.nan, points[:, 1]), station, color=COURSE, lw=0.9, ls=":")
    _bar(panel, side.across_mm)
    _title(panel, "From the left", "front ← → back")
    for box, strip, name in zip(
        STRIP_BOXES, strips, ("right ← → left", "front ← → back"), strict=True
    ):
        panel = shared.panel(*box)
        _reformation(panel, strip, shared, look)
        _bar(panel, strip.across_mm)
        _title(panel, "Straight", name.replace(" ← → ", "↔"))
    _calibre(shared.panel(*CALIBRE_BOX), shared)
    return window


def _frame(points: Floats, shape: float) -> tuple[float, float, float, float]:
    """Return a frame of the panel's shape round the course: least and greatest x and z."""
    low, high = points.min(axis=0), points.max(axis=0)
    wide, tall = high[0] - low[0] + 36.0, high[2] - low[2] + 16.0
    wide = max(wide, tall / shape)
    tall = max(tall, wide * shape)
    x, _, z = (low + high) / 2
    return x - wide / 2, x + wide / 2, z - tall / 2, z + tall / 2


def _outside_gaps(course: Course) -> NDArray[np.bool_]:
    """Say which stations lie in no gap."""
    seen = np.ones(len(course.station_mm), dtype=np.bool_)
    for gap in course.gaps:
        seen &= (course.station_mm < gap.from_mm) | (course.station_mm > gap.to_mm)
    return seen


def _at(course: Course, station: float) -> Floats:
    return np.array([np.interp(station, course.station_mm, axis) for axis in course.points_mm.T])


def _front(axes: Axes, shared: _Sheet, frame: tuple[float, float, float, float]) -> None:
    course = shared.course
    x, z, station = course.points_mm[:, 0], course.points_mm[:, 2], course.station_mm
    axes.plot(x, z, color=CASING, lw=1.6, alpha=0.55)
    axes.plot(x, z, color=COURSE, lw=0.7)
    for one in shared.stretches:
        within = (station >= one.from_mm) & (station <= one.to_mm)
        at = _at(course, one.middle_mm)
        if one.kind == "gap":
            axes.plot(x[within], z[within], color=CASING, lw=3.4)
            axes.plot(x[within], z[within], color=one.on_image, lw=2.6, ls=(0, (0.8, 0.8)))
        elif one.from_mm < one.to_mm:
            axes.plot(x[within], z[within], color=one.on_image, lw=2.2, alpha=0.8)
        else:
            sign = "o" if one.kind == "held" else "X"
            axes.plot(at[0], at[2], sign, color=one.on_image, mec=CASING, mew=0.6, ms=4.5)
    _letters(axes, shared, frame)
    for tick in shared.ticks:
        at = _at(course, tick)
        axes.plot(at[0], at[2], "o", color=COURSE, mec=CASING, mew=0.4, ms=2.4)
        axes.plot([at[0], frame[1]], [at[2], at[2]], color="#ffdf9e", lw=0.35, ls=(0, (3, 3)))
    axes.set_xlim(frame[0], frame[1])
    axes.set_ylim(frame[2], frame[3])
    axes.set_xticks([])
    axes.tick_params(axis="y", labelsize=6.5, pad=1.5, length=2)
    _bar(axes, np.asarray(frame[:2]))
    for place, word in ((0.02, "R"), (0.98, "L")):
        axes.text(place, 0.985, word, transform=axes.transAxes, color="white", va="top",
                  ha="left" if place < 0.5 else "right", fontsize=8, weight="bold",
                  path_effects=_outline())  # fmt: skip
    _title(axes, "From the front", "person's right ← → person's left")
    axes.set_ylabel("height z, mm (head ↑)", fontsize=6.8, labelpad=1)


def _letters(axes: Axes, shared: _Sheet, frame: tuple[float, float, float, float]) -> None:
    """Set each stretch's letter to the left of the course, with a line to it."""
    places = [(_at(shared.course, one.middle_mm), one) for one in shared.stretches]
    places.sort(key=lambda item: item[0][2])
    tall = frame[3] - frame[2]
    wanted = np.array([at[2] for at, _ in places])
    heights = spread(wanted, 0.036 * tall, frame[2] + 0.07 * tall, frame[3] - 0.07 * tall)
    reach = 0.16 * (frame[1] - frame[0])
    for (at, one), height in zip(places, heights, strict=True):
        left = max(at[0] - reach, frame[0] + 0.05 * (frame[1] - frame[0]))
        axes.plot([left, at[0]], [height, at[2]], color=one.on_image, lw=0.5)
        axes.text(left, height, one.letter, fontsize=6.8, weight="bold", ha="center",
                  va="center", color="black", bbox={"boxstyle": "round,pad=0.18", "lw": 0.0,
                  "facecolor": one.on_image})  # fmt: skip


def _leaders(shared: _Sheet, frame: tuple[float, float, float, float]) -> None:
    """Lead from the heights of stations in the front view to the station axis."""
    left = FRONT_BOX[0] + FRONT_BOX[1]
    width = SIDE_BOX[0] - left
    axes = shared.panel(left, width)
    axes.set_axis_off()
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, 1.0)
    length = shared.course.length_mm
    for tick in shared.ticks:
        here = (_at(shared.course, tick)[2] - frame[2]) / (frame[3] - frame[2])
        there = 1.0 - tick / length
        axes.plot([0.0, width - 6.2], [here, there], color=SOFT, lw=0.5, ls=(0, (3, 2)))
        axes.plot([width - 1.0, width], [there, there], color=INK, lw=0.6)
        axes.text(width - 1.4, there, f"{tick:.0f}", ha="right", va="center", fontsize=7)
    axes.text(width / 2, 1.022, "station,\nmm", ha="center", va="bottom", fontsize=6.8, color=INK)


def _reformation(axes: Axes, made: Reformation, shared: _Sheet, look: dict[str, Any]) -> None:
    u, length = made.across_mm, shared.course.length_mm
    step_u, step_s = (u[-1] - u[0]) / (len(u) - 1) / 2, length / (len(made.row_mm) - 1) / 2
    extent = (u[0] - step_u, u[-1] + step_u, length + step_s, -step_s)
    axes.imshow(made.values, extent=extent, interpolation=shared.smooth, aspect="auto", **look)
    _bands(axes, shared, (made.pixels[:, 1] + 0.5) / len(u))
    axes.set_xlim(extent[0], extent[1])
    _stations(axes, shared)
    axes.set_xticks([])


def _stations(axes: Axes, shared: _Sheet) -> None:
    axes.set_ylim(shared.course.length_mm, 0.0)
    axes.set_yticks(shared.ticks, labels=[])
    axes.tick_params(axis="y", length=3, width=0.7, color=INK, right=True)


def _bands(axes: Axes, shared: _Sheet, course_at: Floats | None = None) -> None:
    """Draw every stretch across a panel whose rows are stations.

    `course_at` is where in an image, as a share of its width, each station of the course lies.
    """
    dark = course_at is not None
    for one in shared.stretches:
        colour = one.on_image if dark else one.on_paper
        if one.kind == "gap":
            for left, right in _hatched(one, shared.course, course_at):
                axes.axhspan(one.from_mm, one.to_mm, left, right, facecolor="none", lw=0.0,
                             edgecolor=colour, hatch="/////")  # fmt: skip
            for edge in (one.from_mm, one.to_mm):
                axes.axhline(edge, color=colour, lw=0.9)
        elif one.from_mm < one.to_mm:
            style = "-" if one.kind == "narrow" else (0, (4, 1.5))
            for edge in (one.from_mm, one.to_mm):
                axes.axhline(edge, color=colour, lw=0.9, ls=style)
            if not dark:
                axes.axhspan(one.from_mm, one.to_mm, facecolor=colour, alpha=0.16, lw=0)
        else:
            style = "-." if one.kind == "held" else (0, (1, 1))
            axes.axhline(one.from_mm, color=colour, lw=1.3, ls=style)


def _hatched(
    one: Stretch, course: Course, course_at: Floats | None
) -> tuple[tuple[float, float], ...]:
    """Return which parts of a panel's width to hatch.

    On an image the course itself stays open: whoever doubts a gap must be able to look at it.
    """
    if course_at is None:
        return ((0.0, 1.0),)
    within = (course.station_mm >= one.from_mm) & (course.station_mm <= one.to_mm)
    if not within.any():
        return ((0.0, 1.0),)
    low, high = float(course_at[within].min()) - 0.2, float(course_at[within].max()) + 0.2
    return tuple(part for part in ((0.0, low), (high, 1.0)) if part[1] > part[0])


def _calibre(axes: Axes, shared: _Sheet) -> None:
    course = shared.course
    _bands(axes, shared)
    highest = float(np.nanmax(np.append(course.calibre_mm, USUAL_UPPER_MM)))
    axes.set_xlim(0.0, max(10.0, 1.15 * highest))
    if np.isfinite(course.calibre_mm).any():
        axes.plot(course.calibre_mm, course.station_mm, color=ACCENT, lw=1.4)
        axes.plot(course.calibre_upper_mm, course.station_mm, color=CARE, lw=1.4, ls=":")
    else:
        axes.text(0.5, 0.5, "not measured", transform=axes.transAxes, ha="center", rotation=90)
    axes.axvline(USUAL_UPPER_MM, color=SOFT, lw=0.8, ls="--")
    axes.set_xticks([0, 5, 7, 10] if highest < 14 else [0, 7, *range(15, int(highest) + 1, 10)])
    axes.tick_params(axis="x", labelsize=6.8, pad=1.5, length=2)
    axes.set_xlabel("mm; 7: adults' limit", fontsize=6.8, labelpad=1)
    _stations(axes, shared)
    axes.grid(visible=True, lw=0.3)
    _title(axes, "Calibre", "of the contrast")
    length = course.length_mm
    gap = LINE_MM / shared.tall * length
    places = spread(np.array([s.middle_mm for s in shared.stretches]), gap, gap / 3, length)
    edge = axes.get_xlim()[1]
    for one, place in zip(shared.stretches, places, strict=True):
        where = f"{one.from_mm:.0f}"
        where += f" to {one.to_mm:.0f}" if one.from_mm < one.to_mm else ""
        axes.annotate(
            f"{one.letter}  {one.words}\n    {where} mm",
            xy=(edge, one.middle_mm),
            xytext=(edge + (LABELS_AT - sum(CALIBRE_BOX)) / CALIBRE_BOX[1] * edge, place),
            fontsize=6.8, color=one.on_paper, va="center", annotation_clip=False,
            weight="bold" if one.kind in ("gap", "narrow") else "normal",
            arrowprops={"arrowstyle": "-", "color": one.on_paper, "lw": 0.6, "shrinkA": 0,
                        "shrinkB": 0, "relpos": (0.0, 0.5)},
        )  # fmt: skip


def _title(axes: Axes, name: str, below: str) -> None:
    axes.set_title(f"{name}\n{below}", fontsize=6.8, pad=3, linespacing=1.25)


def _bar(axes: Axes, reach: Floats) -> None:
    """Draw a bar of so many millimetres below a panel."""
    wide = float(reach[-1] - reach[0])
    size = next(mm for mm in (50.0, 20.0, 10.0, 5.0, 2.0) if mm <= 0.6 * wide)
    left = 0.5 - size / wide / 2
    axes.plot([left, left + size / wide], [-0.014, -0.014], transform=axes.transAxes, color=INK,
              lw=1.6, solid_capstyle="butt", clip_on=False)  # fmt: skip
    axes.text(0.5, -0.022, f"{size:.0f} mm", transform=axes.transAxes, color=INK, ha="center",
              va="top", fontsize=6.8)  # fmt: skip


def _outline() -> list[Any]:
    from matplotlib.patheffects import withStroke  # noqa: PLC0415 - only when drawn

    return [withStroke(linewidth=2.6, foreground="black")]


def _words(shared: _Sheet, side: str, window: Window) -> None:
    """Say above and below what the picture shows, so that it may stand alone."""
    course, volume = shared.course, shared.volume
    half = Z95 * course.length_sd_mm
    named = f"{side} ureter" if side else "ureter"
    day = f", {volume.modality} of {volume.acquired[:10]}" if volume.acquired else ""
    head = (
        f"{named.capitalize()}: {course.length_mm:.0f} mm along its course "
        f"(95 %: {course.length_mm - half:.0f} to {course.length_mm + half:.0f} mm){day}"
    )
    sheet = shared.sheet
    sheet.text(2 / WIDTH, 1 - 2 / HEIGHT, head, va="top", fontsize=9, weight="bold", color=INK)
    if volume.phantom:
        sheet.text(1 - 2 / WIDTH, 1 - 2 / HEIGHT, "PHANTOM", va="top", ha="right",
                   fontsize=9, weight="bold", color=CARE)  # fmt: skip
    count = len(course.cautions)
    beside = f" {count} caution{'s' if count > 1 else ''} to read beside it." if count else ""
    sheet.text(
        2 / WIDTH,
        2 / HEIGHT,
        f"{window.words} Front: brightest within 10 mm before and behind the course. Hatched: not "
        f"seen, bridged.\nOne row of the other panels is one station, mm from the renal pelvis. "
        f"To be checked by a licensed reader.{beside}",
        va="bottom", fontsize=6.6, color=SOFT, linespacing=1.3,
    )  # fmt: skip


def _caption(side: str, volume: ImageVolume, window: Window) -> str:
    artificial = " Artificial image (phantom)." if volume.phantom else ""
    named = f"{side} ureter" if side else "ureter"
    return (
        f"{named.capitalize()}: from the front (brightest values in a slab along it), from the "
        "person's left with one row per station, straightened at two angles, and calibre (dotted "
        "amber: less than). Letters name the same stretch everywhere; hatched, where no contrast "
        f"was seen. {window.words}{artificial}"
    )


def _alternative(side: str, course: Course) -> str:
    gaps = "; ".join(f"{g.from_mm:.0f} to {g.to_mm:.0f} mm" for g in course.gaps) or "none"
    narrow = "; ".join(
        f"{n.from_mm:.0f} to {n.to_mm:.0f} mm, least {n.least_calibre_mm:.1f} mm"
        for n in course.narrowings
    )
    named = f"{side} ureter" if side else "ureter"
    return (
        f"{named.capitalize()} traced over {course.length_mm:.0f} mm from renal pelvis to "
        f"bladder; stretches not seen: {gaps}; narrowings: {narrow or 'none'}."
    )
