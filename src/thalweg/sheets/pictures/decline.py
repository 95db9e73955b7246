"""The filtration rate over the years: results, slope with its interval, limits, operation."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.decline.series import DAYS_A_YEAR
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, BAD, INK, SOFT, drawn, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from thalweg.assess.decline.report import Decline

__all__ = ["decline_picture"]

WIDTH_MM, HEIGHT_MM = 165.0, 80.0
AHEAD_YEARS = 5.0
"""Carried forward no further than this, however long the table's horizon."""
DAYS_AROUND = 60


def decline_picture(found: Decline, *, kind: str = "svg") -> Picture:
    """Return the course of the filtration rate with its limits.

    Parameters
    ----------
    found : Decline
        With a course.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    with figure(WIDTH_MM, HEIGHT_MM) as sheet:
        axes = sheet.subplots()
        last = _limits(axes, found)
        _course(axes, found, last)
        used = set(found.current.facts)
        for mark, fill, label in (
            ("o", ACCENT, "result followed"),
            ("o", "white", "result of before"),
        ):
            places = [
                n for n, fact in enumerate(found.whole.facts) if (fact in used) == (fill == ACCENT)
            ]
            if places:
                axes.plot(
                    [_number(found.whole.days[n]) for n in places],
                    found.whole.rates[places],
                    mark,
                    color=ACCENT,
                    markerfacecolor=fill,
                    ms=4.5,
                    label=label,
                )
        if found.operated is not None:
            axes.axvline(_number(found.operated), color=INK, lw=1.0, ls=":", label="operation")
        axes.set_ylabel("filtration rate, mL/min/1.73 m²")
        axes.set_ylim(bottom=0)
        _years(axes)
        axes.legend(loc="lower left", frameon=False, ncols=2)
        data = drawn(sheet, kind)
    return Picture(data, kind, _caption(found), _words(found))


def _number(day: date) -> int:
    return day.toordinal()


def _years(axes: Axes) -> None:
    """Mark the first of each year, or every few where there are many."""
    first, last = (date.fromordinal(max(1, int(edge))) for edge in axes.get_xlim())
    step = max(1, (last.year - first.year) // 10)
    marks = [date(year, 1, 1) for year in range(first.year + 1, last.year + 1, step)]
    axes.set_xticks([_number(day) for day in marks], [str(day.year) for day in marks])


def _limits(axes: Axes, found: Decline) -> date:
    """Draw the limits and set the days shown; return the last day to which the line is carried."""
    last = found.current.days[-1] + timedelta(days=AHEAD_YEARS * DAYS_A_YEAR)
    left = _number(found.whole.days[0]) - DAYS_AROUND
    axes.set_xlim(left, _number(last) + DAYS_AROUND)
    for limit in found.limits:
        axes.axhline(limit, color=SOFT, lw=0.6, ls=(0, (4, 3)))
        axes.annotate(
            f"{limit:g}",
            (1.0, limit),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            color=SOFT,
        )
    return last


def _course(axes: Axes, found: Decline, last: date) -> None:
    course = found.course
    if course is None:
        return
    days = np.array([_number(found.current.days[0]), _number(found.current.days[-1])])
    ahead = np.linspace(days[1], _number(last), 60)

    def line(where: np.ndarray, level: float, slope: float) -> np.ndarray:
        return np.asarray(level + slope * (where - days[1]) / DAYS_A_YEAR)

    axes.plot(days, line(days, course.level, course.slope), color=BAD, lw=1.6, label="course")
    axes.plot(
        ahead,
        line(ahead, course.level, course.slope),
        color=BAD,
        lw=1.2,
        ls="--",
        label="carried forward",
    )
    if course.slope_interval is not None and course.level_interval is not None:
        low, high = (
            line(ahead, course.level_interval[side], course.slope_interval[side]) for side in (0, 1)
        )
        axes.fill_between(
            ahead, np.maximum(low, 0), high, color=BAD, alpha=0.14, lw=0, label="95 % intervals"
        )


def _slope(found: Decline) -> str:
    course = found.course
    if course is None:
        return "no slope"
    text = f"{course.slope:+.1f}"
    if course.slope_interval is not None:
        text += f" ({course.slope_interval[0]:+.1f} to {course.slope_interval[1]:+.1f})"
    return f"{text} mL/min/1.73 m² a year"


def _caption(found: Decline) -> str:
    return (
        f"Filtration rate by {found.whole.marker.replace('-c', ' C')}, "
        f"{found.whole.days[0].isoformat()} to {found.whole.days[-1].isoformat()}: "
        f"{_slope(found)}. Dashed, if it went on so: a straight line carried forward for "
        f"{AHEAD_YEARS:g} years, not a forecast. Thin lines: limits."
    )


def _words(found: Decline) -> str:
    return (
        f"{len(found.whole.days)} filtration rates from {found.whole.rates[0]:.0f} to "
        f"{found.whole.rates[-1]:.0f} mL/min/1.73 m²; {_slope(found)}."
    )
