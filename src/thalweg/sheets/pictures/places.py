"""How often each option takes each place, as bars that print in grey."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import INK, SOFT, drawn, figure

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["PlaceBar", "places_picture"]

WIDTH_MM: Final = 165.0
ROW_MM: Final = 7.2
MARGIN_MM: Final = 22.0
LEAST_WRITTEN: Final = 0.055
"""Share of the bar from which its number fits in."""
NAME_LETTERS: Final = 34
DARKEST, LIGHTEST = 0.32, 0.97
HATCHES: Final = ("", "", "//", "", "..", "", "\\\\", "", "xx")


@dataclass(frozen=True, slots=True)
class PlaceBar:
    """One option as it is drawn.

    Parameters
    ----------
    name : str
    shares : tuple of float
        Of the draws in each place, 0 to 1, the first first.
    mean : float
        Mean place.
    span : tuple of int
        Places that hold 95 % of the draws.
    """

    name: str
    shares: tuple[float, ...]
    mean: float
    span: tuple[int, int]

    @property
    def place(self) -> str:
        """Mean place and its range, as written beside the bar."""
        low, high = self.span
        return f"{self.mean:.1f} ({low} to {high})"


def places_picture(bars: Sequence[PlaceBar], *, kind: str = "svg") -> Picture:
    """Return one bar for each option, cut by place: dark for the first, light for the last.

    Parameters
    ----------
    bars : sequence of PlaceBar
        At least one, each with as many shares as there are bars.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    count = len(bars)
    with figure(WIDTH_MM, MARGIN_MM + ROW_MM * count) as sheet:
        axes = sheet.subplots()
        for row, bar in enumerate(bars):
            left = 0.0
            for place, share in enumerate(bar.shares):
                grey = _grey(place, count)
                axes.barh(
                    row,
                    share,
                    0.74,
                    left=left,
                    color=str(grey),
                    edgecolor=SOFT,
                    linewidth=0.5,
                    hatch=HATCHES[place % len(HATCHES)],
                    label=_ordinal(place + 1) if row == 0 else None,
                )
                if share >= LEAST_WRITTEN:
                    axes.text(
                        left + share / 2,
                        row,
                        f"{100 * share:.0f}",
                        ha="center",
                        va="center",
                        fontsize=7.5,
                        color=INK if grey > 0.5 else "white",
                        bbox={"boxstyle": "round,pad=0.12", "fc": str(grey), "ec": "none"},
                    )
                left += share
        for row, bar in enumerate(bars):
            axes.text(1.015, row, bar.place, va="center", fontsize=7.5, color=INK)
        axes.text(1.015, -0.75, "mean (95 %)", va="center", fontsize=7.0, color=SOFT)
        axes.set_yticks(range(count), [_broken(bar.name) for bar in bars], color=INK)
        axes.invert_yaxis()
        axes.set_xlim(0, 1)
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "25", "50", "75", "100"])
        axes.set_xlabel("of 100 weightings that the answers allow")
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.tick_params(left=False)
        sheet.legend(loc="outside upper right", ncols=min(count, 8), frameon=False, title="place")
        data = drawn(sheet, kind)
    words = "; ".join(
        f"{bar.name}: mean place {bar.place}, "
        + ", ".join(
            f"{_ordinal(place)} in {100 * share:.0f}"
            for place, share in enumerate(bar.shares, 1)
            if share >= 0.005
        )
        for bar in bars
    )
    return Picture(
        data,
        kind,
        "Dark: first place; the lighter, the later. A bar that is dark throughout is a steady "
        "first place; a bar of many greys is open. Right: mean place, and the places of 95 of 100.",
        f"Of 100 weightings that fit the answers, places taken. {words}.",
    )


def _grey(place: int, count: int) -> float:
    return DARKEST + (LIGHTEST - DARKEST) * place / max(1, count - 1)


def _ordinal(place: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(place, "th")
    return f"{place}{ending}"


def _broken(name: str) -> str:
    """Return a name on as many lines as it needs."""
    from textwrap import fill  # noqa: PLC0415 - only where something is drawn

    return fill(name, NAME_LETTERS)
