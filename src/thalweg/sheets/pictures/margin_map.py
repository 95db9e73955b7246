"""Where on the front of the abdomen each ureter can come out, and both to one stoma."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.plan.reach.odds import HARDLY, STATES, SURELY
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import INK, SOFT, as_svg, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from thalweg.plan.reach.front import FrontMap, SiteMask
    from thalweg.plan.reach.odds import SiteOdds

    Floats = NDArray[np.float64]

__all__ = ["Landmarks", "margin_figure", "margin_file", "margin_picture"]

NOTE = (
    "Seen from the front: the person's left is on the right. Margin alone does not make a site: "
    "folds, belt line, scars and sight\ncome with it. Past the dotted midline the mesentery is not "
    "in the model. Supports and does not replace licensed judgement."
)
NOTE_MM = 9.0
LEVELS = (-60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0)
COLOURS = (
    "#7f3b08", "#b8690f", "#e8a95b", "#fbe3c0", "#d3ecf0", "#8cc7d6", "#3f93b0", "#0b5a78",
)  # fmt: skip
"""Brown is short, blue reaches, and both darken away from nought: told apart by every kind of
colour vision, and by darkness with the textures where there is no colour at all."""
BANDS = ("−60 to −40", "−40 to −20", "−20 to 0", "0 to +20", "+20 to +40", "+40 to +60")
DASHES: tuple[Any, ...] = ("-.", ":", (0, (5, 1)))
UNKNOWN, NO_ROUTE, BONE, AGAINST = "#ececec", "#9a9a9a", "#a8a39a", "#7a1fa2"
SMALL, TINY = 7.0, 6.5
EDGE_MM = 12.0
WIDTH_MM, WIDEST_MM, LEGEND_MM = 178.0, 95.0, 36.0
"""Of the picture; of one panel at most; height that title and legend take."""
SCALE_MM = 50.0
LEAST_ISLAND = 5
"""A patch of fewer unknown places gets its texture, but no question mark of its own."""
TITLES = {"right": "Right ureter", "left": "Left ureter", "both": "Both ureters, one stoma"}


@dataclass(frozen=True, eq=False)
class Landmarks:
    """What helps to find one's way on the map; all in LPS mm.

    Parameters
    ----------
    sites : tuple of (str, x, z)
        Marked candidate sites.
    umbilicus : tuple of (x, z), or None
    outline : ndarray, shape (m, 3)
        z, and least and greatest x of the body there.
    bone : tuple of (x, z, flags), or None
        An even raster (nx,), (nz,) and where bone lies close behind the skin (nx, nz).
    """

    sites: tuple[tuple[str, float, float], ...] = ()
    umbilicus: tuple[float, float] | None = None
    outline: Floats | None = None
    bone: tuple[Floats, Floats, NDArray[np.bool_]] | None = None


def _whole(front: FrontMap, values: Floats) -> Any:
    """Return values of the sites on the raster, carried on to the edge of the outermost cells."""
    from scipy import ndimage  # noqa: PLC0415 - only when drawn

    laid = front.over(values)
    known = np.isfinite(laid)
    away, nearest = ndimage.distance_transform_edt(~known, return_indices=True)
    return np.ma.masked_where(away > 1.5, laid[tuple(nearest)]).T


def _known_cells(axes: Axes, front: FrontMap, view: SiteOdds) -> Any:
    """Return the cells whose margin is known, as what contours are clipped to."""
    from matplotlib.patches import PathPatch  # noqa: PLC0415 - only when drawn
    from matplotlib.path import Path  # noqa: PLC0415 - only when drawn

    cells = _squares(front, np.isfinite(front.over(view.margin_mm)))
    patch = PathPatch(
        Path.make_compound_path(*(Path(cell, closed=False) for cell in cells)), fc="none", lw=0
    )
    axes.add_patch(patch)
    return patch


def _margins(axes: Axes, front: FrontMap, view: SiteOdds) -> None:
    x, z = front.x_mm, front.z_mm
    if not np.isfinite(view.margin_mm).any():
        return
    margin, odds = _whole(front, view.margin_mm), _whole(front, view.probability)
    drawn: list[Any] = [axes.contourf(x, z, margin, (-1e4, *LEVELS, 1e4), colors=COLOURS)]
    lines: Any = axes.contour(x, z, margin, LEVELS, colors=INK, linewidths=0.35, linestyles="-")
    # Texture says the same as colour: dots where it is short, stripes where it may go either way.
    textures = ("....", "////", None)
    drawn.append(
        axes.contourf(x, z, odds, (-1.0, HARDLY, SURELY, 2.0), colors="none", hatches=textures)
    )
    if odds.min() < SURELY and odds.max() > HARDLY:
        drawn.append(
            axes.contour(x, z, odds, (HARDLY, SURELY), colors=INK, linewidths=0.8, linestyles="--")
        )
    labels = [label for level in (lines,) for label in _labelled(axes, level)]
    if margin.min() < 0 < margin.max():
        zero: Any = axes.contour(x, z, margin, (0.0,), colors="black", linewidths=2.0)
        drawn.append(zero)
        labels += axes.clabel(zero, fmt="0 mm", fontsize=SMALL, inline_spacing=2)
    for label in labels:
        label.set_path_effects(_halo())
    cells = _known_cells(axes, front, view)
    for part in (*drawn, lines):
        part.set_clip_path(cells)


def _halo() -> list[Any]:
    """Return a white rim for text, so that it is read on any colour and hides little."""
    from matplotlib import patheffects  # noqa: PLC0415 - only when drawn

    return [patheffects.withStroke(linewidth=1.8, foreground="white")]


def _labelled(axes: Axes, lines: Any) -> list[Any]:
    told = [level for level in LEVELS if level]
    return list(axes.clabel(lines, told, fmt="%+.0f", fontsize=TINY, inline=False))


def _squares(front: FrontMap, where: NDArray[np.bool_]) -> list[Floats]:
    half = (front.x_mm[1] - front.x_mm[0]) / 2
    corners = np.array([(-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)])
    return [corners + np.array([front.x_mm[i], front.z_mm[j]]) for i, j in np.argwhere(where)]


def _cells(axes: Axes, front: FrontMap, where: NDArray[np.bool_], hatch: str, fill: str) -> None:
    """Fill whole cells of the raster, so that a single place is seen too."""
    from matplotlib.collections import PolyCollection  # noqa: PLC0415 - only when drawn

    squares = _squares(front, where)
    if squares:
        axes.add_collection(PolyCollection(squares, fc=fill, ec=fill, hatch=hatch, lw=0.2))


def _unknown(axes: Axes, front: FrontMap, view: SiteOdds) -> None:
    from scipy import ndimage  # noqa: PLC0415 - only when drawn

    _cells(axes, front, front.unknown, "", UNKNOWN)
    labels, count = ndimage.label(front.unknown)
    for number in range(1, count + 1):
        patch = np.argwhere(labels == number)
        if len(patch) >= LEAST_ISLAND:
            middle = patch[np.argmin(np.linalg.norm(patch - patch.mean(axis=0), axis=1))]
            place = front.x_mm[middle[0]], front.z_mm[middle[1]]
            axes.annotate("?", place, ha="center", va="center", fontsize=8, weight="bold")
    lost = np.zeros(front.row.shape, dtype=bool)
    there = front.row >= 0
    lost[there] = (view.state == STATES.index("no route found"))[front.row[there]]
    _cells(axes, front, lost, "xxxxx", NO_ROUTE)


def _masks(axes: Axes, front: FrontMap, masks: tuple[SiteMask, ...]) -> None:
    for number, mask in enumerate(masks):
        # Where a mask lies and nothing was measured, it alone speaks.
        _cells(axes, front, mask.where & (front.row < 0) & ~front.unknown, "", BONE)
        if mask.where.any():
            axes.contour(
                front.x_mm,
                front.z_mm,
                mask.where.T.astype(float),
                (0.5,),
                colors=AGAINST,
                linewidths=1.1,
                linestyles=[DASHES[number % len(DASHES)]],
            )


def _landmarks(axes: Axes, marks: Landmarks) -> None:
    if marks.bone is not None and marks.bone[2].any():
        x, z, bone = marks.bone
        axes.contourf(x, z, bone.T.astype(float), (0.5, 1.5), colors=[BONE], alpha=0.6)
    if marks.outline is not None and len(marks.outline):
        height, low, high = marks.outline.T
        axes.plot(low, height, color=SOFT, lw=1.0)
        axes.plot(high, height, color=SOFT, lw=1.0)
    if marks.umbilicus is not None:
        axes.axvline(marks.umbilicus[0], color=INK, lw=0.6, ls=(0, (1, 3)))
        axes.plot(*marks.umbilicus, "o", ms=5, mfc="none", mec=INK, mew=1.1)
    for name, across, up in marks.sites:
        axes.plot(across, up, "s", ms=4, mfc="white", mec=INK, mew=1.1)
        axes.annotate(
            name, (across, up), (0, 5), textcoords="offset points", ha="center", fontsize=TINY,
            path_effects=_halo(),
        )  # fmt: skip


def _extent(front: FrontMap, marks: Landmarks) -> tuple[float, float, float, float]:
    """Return the panel's least and greatest x, and least and greatest z, mm."""
    left, right = float(front.x_mm[0]), float(front.x_mm[-1])
    if marks.outline is not None and len(marks.outline):
        left, right = float(marks.outline[:, 1].min()), float(marks.outline[:, 2].max())
    foot, head = float(front.z_mm[0]) - 2.2 * EDGE_MM, float(front.z_mm[-1]) + EDGE_MM
    return left - EDGE_MM, right + EDGE_MM, foot, head


def _frame(axes: Axes, front: FrontMap, marks: Landmarks) -> None:
    left, right, low, high = _extent(front, marks)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    foot = float(front.z_mm[0]) - 1.2 * EDGE_MM
    middle = (left + right) / 2
    axes.plot([middle - SCALE_MM / 2, middle + SCALE_MM / 2], [foot, foot], color=INK, lw=2)
    axes.annotate(
        f"{SCALE_MM:.0f} mm", (middle, foot), (0, -7), textcoords="offset points", ha="center",
        fontsize=TINY,
    )  # fmt: skip
    axes.annotate("person's\nright", (0.01, 0.01), xycoords="axes fraction", fontsize=TINY)
    axes.annotate(
        "person's\nleft", (0.99, 0.01), xycoords="axes fraction", ha="right", fontsize=TINY
    )


def _legend(sheet: Figure, masks: tuple[SiteMask, ...]) -> None:
    from matplotlib.lines import Line2D  # noqa: PLC0415 - only when drawn
    from matplotlib.patches import Patch  # noqa: PLC0415 - only when drawn

    names = [
        "short by > 60 mm",
        *BANDS,
        "> +60 mm to spare",
    ]
    bands = [
        Patch(facecolor=colour, edgecolor=INK, lw=0.3, label=name)
        for colour, name in zip(COLOURS, names, strict=True)
    ]
    others: list[Any] = [
        Line2D([], [], color="black", lw=1.8, label="margin 0 mm"),
        Patch(facecolor=COLOURS[2], edgecolor=INK, hatch="....", lw=0.3, label="does not reach"),
        Patch(facecolor=COLOURS[4], edgecolor=INK, hatch="////", lw=0.3, label="doubtful"),
        Patch(facecolor=COLOURS[5], edgecolor=INK, lw=0.3, label="no texture: reaches"),
        Patch(facecolor=UNKNOWN, edgecolor=INK, lw=0.3, label="? not known: wall not seen"),
        Patch(facecolor=BONE, edgecolor=INK, lw=0.3, label="bone close to the skin"),
        Patch(facecolor=NO_ROUTE, edgecolor=INK, hatch="xxxxx", lw=0.3, label="no route found"),
        *(
            Line2D([], [], color=AGAINST, lw=1.1, label=mask.name, linestyle=dash)
            for mask, dash in zip(masks, DASHES * len(masks), strict=False)
        ),
        Line2D([], [], marker="o", mfc="none", mec=INK, lw=0, ms=5, label="umbilicus"),
        Line2D([], [], marker="s", mfc="white", mec=INK, lw=0, ms=4, label="marked site"),
    ]
    sheet.legend(
        handles=[*bands, *others],
        loc="outside lower center",
        ncols=4,
        fontsize=TINY,
        frameon=False,
        columnspacing=1.2,
        handlelength=2.0,
        title="Margin, mm: free length less required length",
        title_fontsize=SMALL,
    )


def margin_figure(
    sheet: Figure, front: FrontMap, marks: Landmarks, masks: tuple[SiteMask, ...] = ()
) -> None:
    """Draw the map on a sheet, a panel for each view; the person's right side comes first.

    Parameters
    ----------
    sheet : Figure
    front : FrontMap
    marks : Landmarks
    masks : tuple of SiteMask
        What else speaks against places, drawn over the map beside its own masks: a fold, the belt
        line, a scar. On the map's raster.
    """
    order = {whose: number for number, whose in enumerate(TITLES)}
    views = sorted(front.views, key=lambda view: order[view.whose])
    every = (*front.masks, *masks)
    panels = np.atleast_1d(sheet.subplots(1, len(views)))
    for axes, view in zip(panels, views, strict=True):
        _margins(axes, front, view)
        _unknown(axes, front, view)
        _masks(axes, front, every)
        _landmarks(axes, marks)
        _frame(axes, front, marks)
        axes.set_title(TITLES[view.whose])
    _legend(sheet, every)


def _size(front: FrontMap, marks: Landmarks) -> tuple[float, float]:
    """Return width and height of the picture, mm."""
    left, right, foot, head = _extent(front, marks)
    panel = min(WIDTH_MM / len(front.views), WIDEST_MM)
    return WIDTH_MM, panel * (head - foot) / (right - left) + LEGEND_MM


def margin_file(
    front: FrontMap,
    marks: Landmarks,
    kind: str,
    masks: tuple[SiteMask, ...] = (),
    *,
    phantom: bool = False,
) -> bytes:
    """Return the map as a file of its own, which carries its cautions with it.

    Parameters
    ----------
    front, marks, masks
        As for `margin_figure`.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    phantom : bool
        Whether it was made on an artificial image, which is then said on it.
    """
    width, height = _size(front, marks)
    with figure(width, height + NOTE_MM) as sheet:
        margin_figure(sheet, front, marks, masks)
        artificial = "Artificial image (phantom). " if phantom else ""
        sheet.suptitle(f"{artificial}{NOTE}", fontsize=TINY, x=0.01, ha="left")
        if kind == "svg":
            return as_svg(sheet)
        made = io.BytesIO()
        bare = {"CreationDate": None, "Producer": None} if kind == "pdf" else {"Software": None}
        sheet.savefig(made, format=kind, dpi=200, metadata=bare)
        return made.getvalue()


def margin_picture(
    front: FrontMap, marks: Landmarks, masks: tuple[SiteMask, ...] = (), *, phantom: bool = False
) -> Picture:
    """Return the map as a picture for documents; as `margin_figure`."""
    with figure(*_size(front, marks)) as sheet:
        margin_figure(sheet, front, marks, masks)
        data = as_svg(sheet)
    artificial = " Artificial image (phantom)." if phantom else ""
    return Picture(
        data,
        "svg",
        "Where each ureter could come out, seen from the front: the person's left is on the right. "
        "Blue reaches, brown is short; the thick line is a margin of 0 mm, dashed lines bound the "
        "striped strip where reaching is doubtful (95 %). Where a shortage was not worked out to "
        "the end, the least it can be is drawn. Margin alone does not make a site: folds, belt "
        "line, scars and sight come with it. Past the dotted midline the mesentery is not in the "
        f"model.{artificial}",
        f"Map of margins. {' '.join(_said(front, view) for view in front.views)}",
    )


def _said(front: FrontMap, view: SiteOdds) -> str:
    counts = front.counts(view)
    total = sum(counts.values())
    told = ", ".join(f"{state} at {count}" for state, count in counts.items() if count)
    best = front.best(view)
    where = ""
    if best is not None:
        x, _, z = front.sites.point[best]
        where = f"; most to spare, {view.margin_mm[best]:.0f} mm, at x {x:.0f}, z {z:.0f} mm"
    return f"{TITLES[view.whose]}, of {total} places: {told}{where}."
