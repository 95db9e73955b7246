"""A renogram's curves: what was measured, what was fitted, and nothing drawn that was not found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.record.truth import Truth
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, CARE, INK, SOFT, drawn, figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thalweg.assess.renogram.result import Estimate, KidneyResult, Patlak, RenogramResult

__all__ = ["renogram_figure", "renogram_picture"]

WIDTH_MM, HEIGHT_MM, LINE_MM = 172.0, 88.0, 5.0
MINUTE_S: Final = 60.0
Z95 = 1.959963984540054
SMALL, TINY = 7.0, 6.6
SHORT: Final = {"end of furosemide": "end", "after emptying": "emptied"}
"""Shorter names of moments, for the line below the curves."""
WINDOW = "#dfe3e6"
MARKS = 14
"""About so many marks on a curve: enough to tell it from the other, few enough to see it."""


@dataclass(frozen=True, slots=True)
class _Hand:
    """How one kidney is drawn: told apart by dash and mark, so that grey print serves as well."""

    colour: str
    dash: Any
    mark: str
    fill: str


HANDS: Final = {
    "left": _Hand(ACCENT, "-", "o", ACCENT),
    "right": _Hand(CARE, (0, (5, 1.6)), "s", "white"),
}


def renogram_picture(
    result: RenogramResult, *, acquired: str = "", phantom: bool = False, kind: str = "svg"
) -> Picture:
    """Return the curves of both kidneys, their Patlak plots, and what was fitted to either.

    Parameters
    ----------
    result : RenogramResult
    acquired : str
        ISO 8601 date or date and time; empty where not known.
    phantom : bool
        True for artificial counts.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    height = HEIGHT_MM + LINE_MM * (1 + len(result.kidneys))
    with figure(WIDTH_MM, height) as sheet:
        renogram_figure(sheet, result)
        data = drawn(sheet, kind)
    when = acquired[:10] or "date not known"
    artificial = " Artificial counts (phantom)." if phantom else ""
    return Picture(
        data,
        kind,
        f"Renogram of {when}: counts a second over each kidney, background taken off as said "
        f"below, with 95 % bands of counting and background.{_drawn_words(result)}{artificial}",
        f"Renogram of {when}. "
        + " ".join(_said_of(one) for one in result.kidneys.values())
        + f" {_share(result)}.",
    )


def renogram_figure(sheet: Figure, result: RenogramResult) -> None:
    """Draw on a figure; every part carries a name, such as ``curve-left``.

    Parameters
    ----------
    sheet : Figure
        Empty.
    result : RenogramResult
    """
    lines = 1 + len(result.kidneys)
    grid = sheet.add_gridspec(
        2, 2, width_ratios=(2.15, 1), height_ratios=(HEIGHT_MM, LINE_MM * lines)
    )
    curves = sheet.add_subplot(grid[0, 0])
    plot = sheet.add_subplot(grid[0, 1])
    strip = sheet.add_subplot(grid[1, :])
    _curves(curves, result)
    _patlak_plots(plot, result)
    _strip(strip, result)


def _curves(axes: Axes, result: RenogramResult) -> None:
    if result.uptake_window_s is not None:
        first, last = (edge / MINUTE_S for edge in result.uptake_window_s)
        axes.axvspan(first, last, color=WINDOW, lw=0, zorder=0, gid="uptake-window")
        axes.annotate(
            "uptake",
            ((first + last) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="center",
            color=SOFT,
            fontsize=SMALL,
        )
    for one in result.kidneys.values():
        _one_curve(axes, one)
    top = max(float(np.nanmax(one.curve.rate)) for one in result.kidneys.values())
    low = min(float(np.nanmin(one.curve.rate)) for one in result.kidneys.values())
    axes.set_ylim(min(0.0, 1.1 * low), 1.22 * max(top, 1e-9))
    last = max(float(_ends(one)[-1]) for one in result.kidneys.values())
    axes.set_xlim(min(0.0, float(_first(result))), last)
    axes.axhline(0.0, color=SOFT, lw=0.5)
    _furosemide(axes, result)
    axes.set_xlabel("minutes after the tracer")
    axes.set_ylabel("counts per second")
    for edge in ("top", "right"):
        axes.spines[edge].set_visible(False)


def _first(result: RenogramResult) -> float:
    return min(float(one.curve.middles_s[0]) for one in result.kidneys.values()) / MINUTE_S


def _ends(one: KidneyResult) -> np.ndarray:
    return (one.curve.middles_s + 0.5 * one.curve.durations_s) / MINUTE_S


def _one_curve(axes: Axes, one: KidneyResult) -> None:
    hand, curve, side = HANDS[one.side], one.curve, one.side
    minutes = curve.middles_s / MINUTE_S
    axes.fill_between(
        minutes,
        curve.rate - Z95 * curve.sd,
        curve.rate + Z95 * curve.sd,
        color=hand.colour,
        alpha=0.16,
        lw=0,
        gid=f"band-{side}",
    )
    axes.plot(minutes, curve.rate, color=hand.colour, ls=hand.dash, lw=1.2, gid=f"curve-{side}")
    axes.plot(
        minutes,
        curve.rate,
        hand.mark,
        ms=3.6,
        color=hand.colour,
        markerfacecolor=hand.fill,
        markevery=max(1, len(minutes) // MARKS),
        gid=f"marks-{side}",
    )
    if one.no_output is not None:
        # Only while it stays on the picture: it goes on rising where the kidney empties.
        shown = np.where(one.no_output <= 1.2 * np.nanmax(curve.rate), one.no_output, np.nan)
        axes.plot(minutes, shown, color=hand.colour, ls=":", lw=0.8, gid=f"no-output-{side}")
    _peak(axes, one)
    _washout(axes, one)


def _peak(axes: Axes, one: KidneyResult) -> None:
    time, rate = one.peak.time_s, one.peak.rate
    if time is None or rate is None:
        return
    hand = HANDS[one.side]
    at = time.value / MINUTE_S
    reach = np.abs(np.array(time.interval) - time.value).reshape(2, 1) / MINUTE_S
    bar = axes.errorbar(
        [at], [rate], xerr=reach, fmt="none", ecolor=INK, elinewidth=1.0, capsize=2.5, zorder=4
    )
    bar.lines[2][0].set_gid(f"peak-interval-{one.side}")
    axes.plot(
        [at],
        [rate],
        hand.mark,
        ms=5.5,
        color=INK,
        markerfacecolor=INK if hand.fill != "white" else "white",
        zorder=5,
        gid=f"peak-{one.side}",
    )


def _washout(axes: Axes, one: KidneyResult) -> None:
    half = one.half_time
    if half.window_s is None or half.start_rate is None or half.fall_per_s is None:
        return
    seconds = np.linspace(*half.window_s, 60)
    fitted = half.start_rate * np.exp(-half.fall_per_s.value * (seconds - half.window_s[0]))
    axes.plot(
        seconds / MINUTE_S,
        fitted,
        color=INK,
        lw=2.4,
        alpha=0.55,
        solid_capstyle="butt",
        zorder=3,
        gid=f"washout-{one.side}",
    )


def _furosemide(axes: Axes, result: RenogramResult) -> None:
    if result.furosemide_s is None:
        return
    at = result.furosemide_s / MINUTE_S
    low, high = axes.get_xlim()
    if low <= at <= high:
        axes.axvline(at, color=INK, lw=0.9, ls=(0, (1, 1.5)), gid="furosemide")
        words, place, side = "furosemide", at, "left" if at < 0.75 * high else "right"
    else:
        # Before the first frame or after the last there is no place for it on the axis.
        words = f"furosemide at {at:+.0f} min"
        place, side = (low, "left") if at < low else (high, "right")
    axes.annotate(
        words,
        (place, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(3 if side == "left" else -3, -2),
        textcoords="offset points",
        ha=side,
        va="top",
        color=INK,
        fontsize=SMALL,
        gid="furosemide-words",
    )


def _patlak_plots(axes: Axes, result: RenogramResult) -> None:
    plots = [(one, one.patlak) for one in result.kidneys.values() if one.patlak is not None]
    if not plots:
        axes.set_axis_off()
        axes.text(
            0.5,
            0.5,
            "No Patlak plot:\nit needs a blood region\nand frames in the uptake.",
            ha="center",
            va="center",
            color=SOFT,
            transform=axes.transAxes,
            gid="no-patlak",
        )
        return
    for one, plot in plots:
        _one_plot(axes, one, plot)
    # Beyond the points used the plot bends as the kidney empties: a little of it shows the bend.
    farthest = max(float(plot.x_s[plot.used].max()) for _, plot in plots)
    axes.set_xlim(0.0, 1.35 * farthest / MINUTE_S)
    inside = [
        plot.y[(plot.x_s > 0) & (plot.x_s <= 1.35 * farthest) & np.isfinite(plot.y)]
        for _, plot in plots
    ]
    axes.set_ylim(0.0, 1.12 * max(float(each.max()) for each in inside if each.size))
    axes.set_title("Rutland–Patlak plot", loc="left", color=INK)
    axes.set_xlabel("∫ blood / blood, minutes")
    axes.set_ylabel("kidney / blood")
    for edge in ("top", "right"):
        axes.spines[edge].set_visible(False)


def _one_plot(axes: Axes, one: KidneyResult, plot: Patlak) -> None:
    hand, side = HANDS[one.side], one.side
    minutes = plot.x_s / MINUTE_S
    for name, which, alpha in (("used", plot.used, 1.0), ("left-out", ~plot.used, 0.4)):
        if which.any():
            axes.plot(
                minutes[which],
                plot.y[which],
                hand.mark,
                ms=3.2,
                color=hand.colour,
                markerfacecolor=hand.fill if name == "used" else "none",
                alpha=alpha,
                gid=f"patlak-{name}-{side}",
            )
    ends = np.array([0.0, 1.1 * float(plot.x_s[plot.used].max())])
    axes.plot(
        ends / MINUTE_S,
        plot.intercept + plot.slope * ends,
        color=hand.colour,
        ls=hand.dash,
        lw=1.3,
        gid=f"patlak-line-{side}",
    )


def _strip(axes: Axes, result: RenogramResult) -> None:
    """Write one line for each kidney, headed by how it is drawn."""
    axes.set_axis_off()
    kidneys = list(result.kidneys.values())
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1 + len(kidneys))
    rows = [dict(_figures(one)) for one in kidneys]
    names = list(dict.fromkeys(name for row in rows for name in row))
    places = 0.115 + (1 - 0.115) * np.arange(len(names)) / max(len(names), 1)

    def put(x: float, level: float, words: str, colour: str, name: str = "") -> None:
        text = axes.text(x, level, words, va="center", color=colour, fontsize=TINY)
        text.set_in_layout(False)
        text.set_gid(name)

    for place, name in zip(places, names, strict=True):
        put(float(place), len(kidneys) + 0.5, name, SOFT)
    for row, (one, figures) in enumerate(zip(reversed(kidneys), reversed(rows), strict=True)):
        hand, level = HANDS[one.side], row + 0.5
        axes.plot([0.0, 0.05], [level, level], color=hand.colour, ls=hand.dash, lw=1.6)
        axes.plot([0.025], [level], hand.mark, ms=4.0, color=hand.colour, markerfacecolor=hand.fill)
        put(0.06, level, one.side, INK, f"name-{one.side}")
        for place, name in zip(places, names, strict=True):
            put(float(place), level, figures.get(name, "—"), INK)


def _figures(one: KidneyResult) -> list[tuple[str, str]]:
    """Return the figures below the curves, each under its name."""
    peak, half = one.peak.time_s, one.half_time
    reached = half.state == "reached" and half.time_s is not None
    words = [
        ("peak, min", "none" if peak is None else _minutes(peak)),
        ("half-time, min", _minutes(half.time_s) if reached and half.time_s else half.state),
    ]
    words += [
        (f"residual {SHORT.get(r.moment, r.moment)}", f"{r.ratio.value:.2f}") for r in one.residuals
    ]
    words += [
        (f"output {each.at_s / MINUTE_S:.0f} min", f"{each.percent.value:.0f} %")
        for each in one.efficiencies
    ]
    return words


def _minutes(estimate: Estimate) -> str:
    low, high = (edge / MINUTE_S for edge in estimate.interval)
    return f"{estimate.value / MINUTE_S:.1f} ({low:.1f} to {high:.1f})"


def _share(result: RenogramResult) -> str:
    if result.share_left is None:
        return "No share of function"
    low, high = result.share_left.interval
    agree = {
        Truth.MET: "the two methods agree",
        Truth.NOT_MET: "the two methods disagree",
        Truth.NOT_KNOWN: "not checked by a second method",
    }[result.methods_agree]
    return (
        f"Left kidney's share {result.share_left.value:.0f} % ({low:.0f} to {high:.0f}) "
        f"by {result.share_method}; {agree}"
    )


def _drawn_words(result: RenogramResult) -> str:
    kidneys = result.kidneys.values()
    words = []
    if any(one.peak.time_s is not None for one in kidneys):
        words.append("dark mark: peak with its interval")
    if any(one.half_time.fall_per_s is not None for one in kidneys):
        words.append("thick grey: the fall that was fitted")
    if any(one.no_output is not None for one in kidneys):
        words.append("dotted: were nothing to leave the kidney")
    return f" {'; '.join(words).capitalize()}." if words else ""


def _said_of(one: KidneyResult) -> str:
    words = ", ".join(f"{name} {value}" for name, value in _figures(one))
    return f"{one.side.capitalize()} kidney: {one.pattern}; {words}."
