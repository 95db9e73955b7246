"""Curves of a life course: who is alive, whose kidneys have failed, and the filtration rate."""

from __future__ import annotations

from itertools import cycle
from typing import TYPE_CHECKING

import numpy as np

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, BAD, CARE, GOOD, INK, SOFT, drawn, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from thalweg.plan.lifecourse.report import LifeReport

__all__ = ["lives_picture"]

WIDTH_MM, HEIGHT_MM = 172.0, 88.0
LINE_MM = 4.6
PANELS = (
    ("survival", "alive, of 100", 100.0),
    ("kidney-failure", "kidneys failed, of 100", 100.0),
    ("gfr", "filtration rate of those alive,\nmL/min/1.73 m², median", 1.0),
)
LONGEST_OF_TWO = 44
"""Letters of a name with which two still fit side by side below the picture."""
LEAST_TOP = {"kidney-failure": 10.0, "gfr": 60.0}
"""So that a flat curve does not look steep, and an empty panel keeps its scale."""
# Dashes and marks differ besides colours, so that a print in grey can be read.
DASHES = ("-", "--", "-.", ":", (0, (6, 1.5, 1, 1.5, 1, 1.5)))
MARKS = ("o", "s", "^", "D", "v", "P", "X")
COLOURS = (ACCENT, BAD, INK, GOOD, CARE, SOFT)


def lives_picture(report: LifeReport, *, kind: str = "svg") -> Picture:
    """Return the curves of every option over the report's horizons.

    Parameters
    ----------
    report : LifeReport
        With enough horizons to draw a curve through.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    names = [report.course.option(key).name for key in report.course.tallies]
    years = np.array([year for year in report.course.years if np.isfinite(year)])
    columns = 2 if max(map(len, names)) <= LONGEST_OF_TWO else 1
    rows = -(-len(names) // columns)
    with figure(WIDTH_MM, HEIGHT_MM + LINE_MM * rows) as sheet:
        panels = sheet.subplots(1, len(PANELS))
        shown = [
            _panel(axes, report, key, years, title, scale)
            for axes, (key, title, scale) in zip(panels, PANELS, strict=True)
        ]
        lines, labels = panels[0].get_legend_handles_labels()
        sheet.legend(lines, labels, loc="outside lower left", frameon=False, ncols=columns)
        data = drawn(sheet, kind)
    last = f"{years[-1]:g}"
    caption = (
        f"Means of simulated lives over {last} years. Intervals stand in the tables; curves that "
        "lie on each other are drawn on each other. What is not known has no curve."
    )
    return Picture(data, kind, caption, "; ".join(text for text in shown if text))


def _panel(
    axes: Axes, report: LifeReport, key: str, years: np.ndarray, title: str, scale: float
) -> str:
    """Draw one figure of every option; return it in words."""
    said, unknown = [], 0
    styles = zip(cycle(DASHES), cycle(MARKS), cycle(COLOURS))
    for number, (option, (dash, mark, colour)) in enumerate(
        zip(report.course.tallies, styles, strict=False)
    ):
        found = [report.estimate(option, key, n) for n in range(years.size)]
        name = report.course.option(option).name
        values = np.array([np.nan if one is None else one.mean * scale for one in found])
        unknown += bool(np.isnan(values).all())
        axes.plot(
            years,
            values,
            ls=dash,
            color=colour,
            lw=1.2,
            marker=mark,
            ms=3.6,
            markerfacecolor="white",
            # Marks of curves that lie on each other take turns.
            markevery=(number % 5, 5),
            label=name,
        )
        if np.isfinite(values[-1]):
            said.append(f"{name} {values[-1]:.0f}")
    axes.set_title(title)
    axes.set_xlabel("years after the operation")
    axes.set_xlim(0, years[-1])
    axes.set_ylim(0, 100 if key == "survival" else max(axes.get_ylim()[1], LEAST_TOP[key]))
    axes.grid(color=SOFT, alpha=0.25, lw=0.5)
    if unknown:
        axes.text(
            0.5,
            0.02 if key == "gfr" else 0.96,
            f"not known for {unknown} of {len(report.course.tallies)}",
            transform=axes.transAxes,
            ha="center",
            va="bottom" if key == "gfr" else "top",
            color=SOFT,
        )
    return f"{title.partition(',')[0]} after {years[-1]:g} years: {', '.join(said) or 'not known'}"
