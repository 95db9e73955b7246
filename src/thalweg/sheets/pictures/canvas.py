"""One way to draw, so that every picture has the same hand and the same bytes every time."""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

__all__ = ["ACCENT", "BAD", "CARE", "GOOD", "INK", "SOFT", "as_svg", "drawn", "figure", "sheet_of"]

INK, SOFT, ACCENT = "#16212b", "#4d5c69", "#0b5a6b"
GOOD, CARE, BAD = "#14633a", "#b06000", "#a01c2c"

_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.titlesize": 8.5,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "svg.fonttype": "path",
    # Element ids in the file come from this word instead of from chance.
    "svg.hashsalt": "thalweg",
}


KINDS = ("svg", "png", "pdf")

_DOTS_PER_INCH = 220


@contextmanager
def figure(width_mm: float, height_mm: float) -> Iterator[Figure]:
    """Yield an empty figure of the given size in millimetres, which arranges its panels itself."""
    with sheet_of(width_mm, height_mm) as sheet:
        sheet.set_layout_engine("constrained")
        yield sheet


@contextmanager
def sheet_of(width_mm: float, height_mm: float) -> Iterator[Figure]:
    """Yield an empty figure of the given size in millimetres, to place panels on by hand."""
    # Imported here: the drawing library takes half a second, and `--help` draws nothing.
    import matplotlib as mpl  # noqa: PLC0415
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415

    with mpl.rc_context(_STYLE):
        yield Sheet(figsize=(width_mm / 25.4, height_mm / 25.4))


def as_svg(sheet: Figure) -> bytes:
    """Return the figure as SVG, with no date in it."""
    made = io.BytesIO()
    sheet.savefig(made, format="svg", metadata={"Date": None, "Creator": None}, dpi=160)
    return made.getvalue()


def drawn(sheet: Figure, kind: str) -> bytes:
    """Return the figure as ``"svg"``, ``"png"`` or ``"pdf"``, with no date in it."""
    if kind == "svg":
        return as_svg(sheet)
    nameless = {"Software": None} if kind == "png" else {"CreationDate": None, "Creator": None}
    made = io.BytesIO()
    sheet.savefig(made, format=kind, metadata=nameless, dpi=_DOTS_PER_INCH)
    return made.getvalue()
