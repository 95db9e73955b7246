"""What was wrong with placed points, shown on the whole image: never with a length."""

from __future__ import annotations

import itertools
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thalweg.measure.fault import Fault, PlacedFault
from thalweg.measure.overview import PIXEL_MM, greatest_through, outside_mm
from thalweg.measure.reformat import FROM_LEFT, FRONT
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import BAD, CARE, INK, SOFT, drawn, sheet_of
from thalweg.sheets.pictures.window import window_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from thalweg.errors import InputError
    from thalweg.measure.reformat import Brightest, View
    from thalweg.record.image import ImageVolume

__all__ = ["refused_picture"]

Floats = NDArray[np.float64]
Frame = tuple[float, float, float, float]

WIDTH, HEIGHT = 178.0, 128.0
TOP, FOOT = 23.0, 15.0
EDGE, BETWEEN = 12.0, 12.0
"""Left of the first view, and between the two, mm; both views have one scale."""

WINDOW_HU = (-150.0, 900.0)
"""Wider than for a single ureter: seen through, a whole body is bright."""

MOST_NAMES = 12
"""Of more points than this only the first, the last and those at fault are named."""

GOOD_POINT, BAD_POINT = "#ffd54a", "#ff5b6b"


def refused_picture(
    volume: ImageVolume, refused: InputError, side: str = "", *, kind: str = "svg"
) -> Picture | None:
    """Return a picture of why points were refused; None where it was not for the points.

    Parameters
    ----------
    volume : ImageVolume
        The image they were placed on.
    refused : InputError
        Its `detail` is a `thalweg.measure.fault.PlacedFault`.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    fault = refused.detail
    if not isinstance(fault, PlacedFault):
        return None
    named = f"{side} ureter" if side else "ureter"
    head = f"{named.capitalize()}: not traced, no length"
    with sheet_of(WIDTH, HEIGHT) as sheet:
        sheet.text(2 / WIDTH, 1 - 2 / HEIGHT, head, va="top", fontsize=9, weight="bold", color=BAD)
        if volume.phantom:
            sheet.text(1 - 2 / WIDTH, 1 - 2 / HEIGHT, "PHANTOM", va="top", ha="right",
                       fontsize=9, weight="bold", color=CARE)  # fmt: skip
        told = textwrap.fill(str(refused), 118, max_lines=3, placeholder=" …")
        sheet.text(2 / WIDTH, 1 - 7 / HEIGHT, told, va="top", fontsize=7.6, color=INK)
        seen = [greatest_through(volume, view, fault.points_mm) for view in (FRONT, FROM_LEFT)]
        window = window_of(volume, np.concatenate([one.values.ravel() for one in seen]), WINDOW_HU)
        frames = [_frame_of(one) for one in seen]
        wide = [frame[1] - frame[0] for frame in frames]
        tall = frames[0][3] - frames[0][2]
        scale = min(
            (WIDTH - EDGE - BETWEEN - 3.0) / sum(wide), (HEIGHT - TOP - FOOT) / tall
        )  # fmt: skip
        left = EDGE + (WIDTH - EDGE - BETWEEN - 3.0 - sum(wide) * scale) / 2
        for one, view, frame, width in zip(seen, (FRONT, FROM_LEFT), frames, wide, strict=True):
            foot = 1 - (TOP + tall * scale) / HEIGHT
            box = (left / WIDTH, foot, width * scale / WIDTH, tall * scale / HEIGHT)
            axes = sheet.add_axes(box)
            axes.imshow(one.values, cmap="gray", extent=frame, vmin=window.low, vmax=window.high,
                        interpolation="none", aspect="auto")  # fmt: skip
            _view(axes, volume, view, fault, frame)
            _points(axes, volume, view, fault, frame, 1 / scale)
            left += width * scale + BETWEEN
        sheet.text(2 / WIDTH, 2 / HEIGHT, f"{window.words} {_legend(fault)}", va="bottom",
                   fontsize=6.8, color=SOFT)  # fmt: skip
        data = drawn(sheet, kind)
    artificial = " Artificial image (phantom)." if volume.phantom else ""
    caption = f"{named.capitalize()}, not traced: the points as they were placed.{artificial}"
    return Picture(data, kind, caption, f"{named.capitalize()}: {refused} {_legend(fault)}")


def _legend(fault: PlacedFault) -> str:
    """Return what the signs mean, as far as they are used."""
    said = ["Red squares: the points at fault; yellow dots: the others."]
    if fault.midline_mm is not None:
        said.append("Dashed line: the body's midline.")
    if len(fault.way_mm):
        said.append("White: the way found; red crosses: in bone.")
    if fault.fault is Fault.OUTSIDE:
        said.append("Arrow: towards a point beyond the frame.")
    return " ".join(said)


def _frame_of(seen: Brightest) -> Frame:
    """Return the outer edges of a view: least and greatest to the right and upward."""
    half = PIXEL_MM / 2
    right, up = seen.right_mm, seen.up_mm
    return (
        float(right[0] - half),
        float(right[-1] + half),
        float(up[-1] - half),
        float(up[0] + half),
    )


def _view(axes: Axes, volume: ImageVolume, view: View, fault: PlacedFault, frame: Frame) -> None:
    """Draw the points, and what the fault rests on, over one view of the whole image."""
    axes.set_facecolor("black")
    right, up = np.asarray(view.right), np.asarray(view.up)
    if fault.midline_mm is not None and view is FRONT:
        axes.axvline(fault.midline_mm, color="#6fe3f7", lw=1.4, ls=(0, (6, 3)))
        axes.annotate("midline", (fault.midline_mm, 0.015), xycoords=("data", "axes fraction"),
                      xytext=(3, 0), textcoords="offset points", color="#6fe3f7", fontsize=7,
                      path_effects=_outline())  # fmt: skip
    if len(fault.way_mm):
        u, v = fault.way_mm @ right, fault.way_mm @ up
        axes.plot(u, v, color="black", lw=2.6)
        axes.plot(u, v, color="white", lw=1.2)
        axes.plot(u[fault.in_bone][::3], v[fault.in_bone][::3], "x", color=BAD_POINT, ms=4, mew=1.1)
    elif volume.contains(fault.points_mm).all():
        _in_order(axes, fault.points_mm @ right, fault.points_mm @ up)
    axes.set_xlim(frame[0], frame[1])
    axes.set_ylim(frame[2], frame[3])
    axes.tick_params(labelsize=6.8, pad=1.5, length=2)
    if view is FRONT:
        axes.set_title("Whole image from the front\nperson's right ← → person's left", fontsize=7)
        axes.set_ylabel("height z, mm (head ↑)", fontsize=6.8, labelpad=1)
    else:
        axes.set_title("From the person's left\nfront ← → back", fontsize=7)
    axes.set_xlabel("x, mm" if view is FRONT else "y, mm", fontsize=6.8, labelpad=1)


def _in_order(axes: Axes, u: Floats, v: Floats) -> None:
    """Join the points in the order they were given, with arrows: an order must be seen."""
    axes.plot(u, v, color="white", lw=0.9, ls=(0, (2, 2)))
    for (a, b), (c, d) in itertools.pairwise(zip(u, v, strict=True)):
        axes.annotate("", xy=(a + 0.56 * (c - a), b + 0.56 * (d - b)),
                      xytext=(a + 0.44 * (c - a), b + 0.44 * (d - b)),
                      arrowprops={"arrowstyle": "-|>", "color": "white", "lw": 1.2,
                                  "mutation_scale": 11})  # fmt: skip


def _points(
    axes: Axes,
    volume: ImageVolume,
    view: View,
    fault: PlacedFault,
    frame: Frame,
    paper_mm: float,
) -> None:
    """Draw and name the points, those beyond the frame at its edge.

    `paper_mm` is how much of the person one millimetre of the sheet shows.
    """
    across, height = frame[1] - frame[0], frame[3] - frame[2]
    taken: list[tuple[float, float]] = []
    for number, (name, point) in enumerate(zip(fault.names, fault.points_mm, strict=True)):
        if not np.isfinite(point).all():
            continue
        bad = number in fault.offending
        u, v = float(point @ np.asarray(view.right)), float(point @ np.asarray(view.up))
        colour = BAD_POINT if bad else GOOD_POINT
        out = outside_mm(volume, point)
        label = name.replace("via point", "via") + (f"\n{out:.0f} mm outside" if out else "")
        held = (
            min(max(u, frame[0] + 0.03 * across), frame[1] - 0.03 * across),
            min(max(v, frame[2] + 0.03 * height), frame[3] - 0.03 * height),
        )
        beyond = not (frame[0] <= u <= frame[1] and frame[2] <= v <= frame[3])
        if beyond:
            _arrow(axes, held, (u, v), colour, 0.08 * min(across, height))
        else:
            axes.plot(u, v, "s" if bad else "o", color=colour, ms=8 if bad else 4.5, mec="black",
                      mew=0.7, mfc="none" if out else colour)  # fmt: skip
            held = (u, v)
        if not (bad or len(fault.names) <= MOST_NAMES or number in (0, len(fault.names) - 1)):
            continue
        inward = 0.045 * height * np.sign((frame[2] + frame[3]) / 2 - held[1]) if beyond else 0.0
        place = _free((held[0], held[1] + inward), taken, height)
        taken.append(place)
        left = held[0] < (frame[0] + frame[1]) / 2
        aside = (5.5 if beyond else 3.0) * paper_mm * (1 if left else -1)
        axes.annotate(
            label, held, xytext=(held[0] + aside, place[1]), color=colour,
            fontsize=8 if bad else 7, weight="bold", ha="left" if left else "right", va="center",
            path_effects=_outline(),
        )  # fmt: skip


def _free(at: tuple[float, float], taken: list[tuple[float, float]], height: float) -> Any:
    """Return a place for a label, moved down until it covers no other."""
    u, v = at
    while any(abs(v - other) < 0.045 * height for _, other in taken):
        v -= 0.02 * height
    return u, v


def _arrow(
    axes: Axes, held: tuple[float, float], to: tuple[float, float], colour: str, size: float
) -> None:
    way = np.subtract(to, held)
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    axes.annotate("", xy=tuple(held + 0.2 * size * way), xytext=tuple(held - size * way),
                  arrowprops={"arrowstyle": "-|>", "color": colour, "lw": 2.2,
                              "mutation_scale": 13})  # fmt: skip


def _outline() -> list[Any]:
    from matplotlib.patheffects import withStroke  # noqa: PLC0415 - only when drawn

    return [withStroke(linewidth=2.4, foreground="black")]
