"""A renogram's pictures summed over the uptake, with the regions as they were counted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, CARE, INK, SOFT, drawn, figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from thalweg.record.renogram import DynamicImage

    Flags = NDArray[np.bool_]

__all__ = ["outline", "uptake_picture"]

WIDEST_MM: Final = 95.0
HEADS_MM: Final = 9.0
"""Height that the words above and below take."""
BRIGHTEST: Final = 99.8
"""Per cent of pixels that are not drawn as the darkest: one hot pixel must not hide the kidneys."""
DASHES: Final[Mapping[str, Any]] = {"left": "-", "right": (0, (5, 1.6))}
COLOURS: Final = {"left": ACCENT, "right": CARE}
MINUTE_S: Final = 60.0


def uptake_picture(
    image: DynamicImage,
    regions: Mapping[str, Flags],
    window_s: tuple[float, float] | None,
    *,
    given_s: float = 0.0,
    kind: str = "svg",
) -> Picture:
    """Return the counts summed over the uptake, with each region's outline.

    Parameters
    ----------
    image : DynamicImage
    regions : mapping of str to ndarray of bool, shape (rows, columns)
        By role; may be empty.
    window_s : (from, to), or None
        In seconds after the tracer; None sums every frame.
    given_s : float
        When the tracer was given, in seconds after the first frame began.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    summed, said = _summed(image, window_s, given_s)
    rows, columns = summed.shape
    tall = 1.0 if image.pixel_mm is None else image.pixel_mm[0] / image.pixel_mm[1]
    width = min(WIDEST_MM, WIDEST_MM * columns / (rows * tall))
    with figure(width, width * rows * tall / columns + HEADS_MM) as sheet:
        axes = sheet.subplots()
        axes.imshow(
            summed,
            cmap="gray_r",
            vmin=0.0,
            vmax=max(float(np.percentile(summed, BRIGHTEST)), 1e-9),
            aspect=tall,
            interpolation="nearest",
        )
        for role, mask in regions.items():
            _outlined(axes, role, mask)
        _sides(axes, image, columns)
        # Regions are drawn by column and row: whoever draws them reads them off here.
        axes.set_xlabel("column, pixels")
        axes.set_ylabel("row, pixels")
        axes.tick_params(labelsize=6.5)
        data = drawn(sheet, kind)
    artificial = " Artificial image (phantom)." if image.phantom else ""
    when = image.acquired[:10] or "date not known"
    view = f"{image.view} view" if image.view else "view not stated"
    named = ", ".join(role.replace("-", " ") for role in regions) or "none drawn"
    return Picture(
        data,
        kind,
        f"Counts {said}, {when}, {view}; outlines follow the pixels that were counted. "
        f"{_where(image)}.{artificial}",
        f"Picture of a renogram, counts {said}. Regions: {named}. {_where(image)}.",
        share=0.5,
    )


def _summed(
    image: DynamicImage, window_s: tuple[float, float] | None, given_s: float
) -> tuple[NDArray[np.float64], str]:
    starts = image.starts_s - given_s
    ends = starts + image.durations_s
    if window_s is not None:
        inside = (starts >= window_s[0] - 1e-6) & (ends <= window_s[1] + 1e-6)
        if inside.any():
            first, last = (float(edge[inside][place]) for edge, place in ((starts, 0), (ends, -1)))
            said = f"from {first / MINUTE_S:.1f} to {last / MINUTE_S:.1f} min after the tracer"
            return image.counts[inside].sum(axis=0, dtype=np.float64), said
    return image.counts.sum(axis=0, dtype=np.float64), "of the whole study"


def outline(mask: Flags) -> NDArray[np.float64]:
    """Return the edges between pixels inside and outside a region.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)

    Returns
    -------
    ndarray, shape (edges, 2, 2)
        Two ends of each edge, as column and row counted from 0 at the centre of the first pixel.
    """
    framed = np.pad(mask, 1)
    across = np.argwhere(framed[:, 1:] != framed[:, :-1])
    down = np.argwhere(framed[1:, :] != framed[:-1, :])
    # An edge after framed column c lies at c - 0.5 of the unframed picture.
    upright = [[(c - 0.5, r - 1.5), (c - 0.5, r - 0.5)] for r, c in across]
    level = [[(c - 1.5, r - 0.5), (c - 0.5, r - 0.5)] for r, c in down]
    return np.array([*upright, *level], dtype=np.float64).reshape(-1, 2, 2)


def _outlined(axes: Axes, role: str, mask: Flags) -> None:
    from matplotlib.collections import LineCollection  # noqa: PLC0415 - only when drawn

    side, _, beside = role.partition("-")
    lines = LineCollection(
        list(outline(mask)),
        colors=COLOURS.get(side, INK),
        linewidths=0.6 if beside else 1.3,
        linestyles=":" if beside or side not in DASHES else DASHES[side],
        gid=f"region-{role}",
    )
    axes.add_collection(lines)
    if beside:
        return
    inside = np.argwhere(mask)
    column, top = float(inside[:, 1].mean()), int(inside[:, 0].min())
    axes.annotate(
        f"{role} kidney" if role in DASHES else role,
        (column, top - 0.5),
        xytext=(0, 2),
        textcoords="offset points",
        ha="center",
        color=COLOURS.get(role, INK),
        fontsize=7.0,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.8},
    )


def _sides(axes: Axes, image: DynamicImage, columns: int) -> None:
    """Write the person's left on the side of the picture where it lies, or that nobody says."""
    if not image.left_at:
        axes.set_title("The person's left: not stated", color=INK, fontsize=8.0)
        return
    other = "right" if image.left_at == "left" else "left"
    axes.set_title("person's left", loc=image.left_at, color=INK, fontsize=8.0)  # type: ignore[arg-type]
    axes.set_title("person's right", loc=other, color=SOFT, fontsize=8.0)  # type: ignore[arg-type]
    axes.set_xlim(-0.5, columns - 0.5)


def _where(image: DynamicImage) -> str:
    if not image.left_at:
        return "Where the person's left lies is not stated: no side may be named from this picture"
    return f"The person's left is on the picture's {image.left_at}"
