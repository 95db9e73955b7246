"""Series side by side: each share with its exact interval, the pooled one, and a further place."""

from __future__ import annotations

from math import inf, sqrt
from textwrap import wrap
from typing import TYPE_CHECKING, Final, NamedTuple

from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import ACCENT, INK, SOFT, drawn, sheet_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from thalweg.evidence.pooling.published import SeriesPool
    from thalweg.evidence.pooling.rows import PoolRow

__all__ = ["forest_picture"]

WIDTH_MM: Final = 180.0
ROW_MM: Final = 5.6
LARGEST_SQUARE_PT: Final = 11.0
SMALLEST_SQUARE_PT: Final = 2.5
LABEL_LETTERS: Final = 36
WHY_LETTERS: Final = 132
SAID_LETTERS: Final = 132


LITTLE: Final = "! The series differ so much that the pooled figure (hollow) says little."


class _Columns(NamedTuple):
    """Where each column begins or ends, as a share of the width."""

    label: float = 0.01
    number: float = 0.395
    follow: float = 0.41
    plot: float = 0.56
    plot_end: float = 0.765
    share: float = 0.785
    weight: float = 0.99


AT: Final = _Columns()


def forest_picture(pool: SeriesPool, *, kind: str = "svg") -> Picture:
    """Return a pool as a forest plot.

    Parameters
    ----------
    pool : SeriesPool
        With at least one row, in the pool or beside it.
    kind : str
        ``"svg"``, ``"png"`` or ``"pdf"``.
    """
    head = wrap(f"{pool.title}: {pool.says}" if pool.says else pool.title, 88)
    about = [part for part in (pool.diversion, pool.population, _counted(pool)) if part]
    out = [line for row in pool.left_out for line in _why(row)]
    foot = _foot(pool)
    lines = len(head) + bool(about) + 1.6 + len(pool.rows) + (0.6 + len(pool.own)) * bool(pool.own)
    lines += 2.6 * _together(pool) + 2.0
    lines += (1.4 + len(out)) * bool(out) + len(foot) + _little(pool) + 0.5
    height = lines * ROW_MM
    with sheet_of(WIDTH_MM, height) as sheet:
        axes = sheet.add_axes((0, 0, 1, 1))
        axes.set_xlim(0, 1)
        axes.set_ylim(lines, 0)
        axes.axis("off")
        _Drawing(axes, pool, _top(pool)).draw(head, " · ".join(about), out, foot)
        data = drawn(sheet, kind)
    return Picture(data, kind, _caption(pool), _words(pool))


def _together(pool: SeriesPool) -> bool:
    """Whether there is a pooled figure beyond the one series itself."""
    return pool.pooled is not None and pool.pooled.k > 1


def _little(pool: SeriesPool) -> bool:
    return pool.pooled is not None and pool.pooled.means_little


def _counted(pool: SeriesPool) -> str:
    return f"counted by {pool.unit}" if pool.unit else ""


def _why(row: PoolRow) -> list[str]:
    count = f"{row.events} of {row.total}" if row.events is not None else f"n = {row.total}"
    return wrap(f"{row.label} ({count}): {row.why_out}", WHY_LETTERS, subsequent_indent="   ")


def _foot(pool: SeriesPool) -> list[str]:
    said = "Lines: exact 95 % interval (Clopper and Pearson)."
    if _together(pool):
        said += " Area of squares: part in the pool. Diamond: pooled, with its interval. "
        said += _scatter(pool)
    elif pool.rows:
        said += " One series: nothing to pool, and how much places differ is not known."
    if pool.own:
        said += " Hollow square: this unit, not pooled."
    said += " No figure here speaks of the person."
    return wrap(said, SAID_LETTERS)


def _top(pool: SeriesPool) -> float:
    """Return the end of the axis, percent: what holds every interval."""
    ends = [row.interval[1] for row in (*pool.rows, *pool.own) if row.interval]
    if pool.pooled is not None:
        ends += [pool.pooled.interval[1], *(pool.pooled.prediction or ())[1:]]
    most = 100.0 * max(ends, default=1.0)
    steps = (1.0, 2.0, 4.0, 8.0, 12.0, 20.0, 40.0, 60.0, 80.0)
    return next((step for step in steps if most <= step), 100.0)


class _Drawing:
    """Draws line by line downwards."""

    def __init__(self, axes: Axes, pool: SeriesPool, top: float) -> None:
        self._axes, self._pool, self._top = axes, pool, top
        self._y = 0.0

    def draw(self, head: list[str], about: str, out: list[str], foot: list[str]) -> None:
        pool = self._pool
        for line in head:
            self._step()
            self._write(AT.label, line, size=9.0, weight="bold")
        if about:
            self._step()
            self._write(AT.label, about, colour=SOFT)
        self._heads()
        first = self._y + 0.4
        weights = pool.pooled.weights if pool.pooled else ()
        for row, part in zip(pool.rows, weights, strict=True):
            self._row(row, part)
        if pool.own:
            self._step(0.6)
            self._axes.plot([AT.label, AT.weight], [self._y] * 2, color=SOFT, lw=0.5)
            for row in pool.own:
                self._row(row, None)
        if _together(pool):
            self._pooled(first)
        self._scale(first)
        if out:
            self._step(1.4)
            self._write(AT.label, "Not in the pool", colour=SOFT, weight="bold")
            for line in out:
                self._step()
                self._write(AT.label, line, colour=SOFT, size=7.0)
        self._y += 0.2
        if _little(pool):
            self._step()
            self._write(AT.label, LITTLE, weight="bold")
        for line in foot:
            self._step()
            self._write(AT.label, line, colour=SOFT, size=7.0)

    def _step(self, by: float = 1.0) -> None:
        self._y += by

    def _x(self, share: float) -> float:
        return AT.plot + (AT.plot_end - AT.plot) * 100.0 * share / self._top

    def _write(
        self,
        x: float,
        text: str,
        *,
        colour: str = INK,
        size: float = 7.6,
        weight: str = "normal",
        align: str = "left",
    ) -> None:
        self._axes.text(
            x,
            self._y - 0.2,
            text,
            color=colour,
            fontsize=size,
            fontweight=weight,
            ha=align,
            va="center",
        )

    def _heads(self) -> None:
        self._step(1.2)
        self._write(AT.label, "Series", weight="bold")
        self._write(AT.number, "events of n", weight="bold", align="right")
        self._write(AT.follow, "follow-up", weight="bold")
        self._write(AT.share, "% (95 %)", weight="bold")
        self._write(AT.weight, "part", weight="bold", align="right")
        self._axes.plot([AT.label, AT.weight], [self._y + 0.35] * 2, color=SOFT, lw=0.6)
        self._y += 0.4

    def _row(self, row: PoolRow, part: float | None) -> None:
        self._step()
        label = row.label
        if len(label) > LABEL_LETTERS:
            label = f"{label[: LABEL_LETTERS - 1]}…"
        self._write(AT.label, label, weight="bold" if row.own else "normal")
        self._write(AT.number, f"{row.events} of {row.total}", align="right")
        self._write(AT.follow, row.follow_up.replace(" months", " mo"))
        if row.events is None or row.interval is None:
            return
        low, high = row.interval
        share, y = row.events / row.total, self._y - 0.2
        self._axes.plot([self._x(low), self._x(high)], [y, y], color=INK, lw=0.9, zorder=2)
        size = LARGEST_SQUARE_PT * sqrt(part) if part is not None else 5.0
        self._axes.plot(
            self._x(share),
            y,
            "s",
            ms=max(SMALLEST_SQUARE_PT, size),
            color=ACCENT,
            markerfacecolor=ACCENT if part is not None else "white",
            markeredgecolor=INK if part is None else ACCENT,
            zorder=3,
        )
        self._write(AT.share, _percent(share, (low, high)))
        if part is not None:
            self._write(AT.weight, f"{100 * part:.0f} %", align="right")

    def _pooled(self, first: float) -> None:
        pooled = self._pool.pooled
        if pooled is None:
            return
        self._step(1.5)
        low, middle, high = (
            self._x(x) for x in (pooled.interval[0], pooled.mean, pooled.interval[1])
        )
        y = self._y - 0.2
        self._axes.fill(
            [low, middle, high, middle],
            [y, y - 0.34, y, y + 0.34],
            facecolor="white" if pooled.means_little else INK,
            edgecolor=INK,
            lw=0.8,
            zorder=4,
        )
        self._axes.plot([middle, middle], [first, y], color=SOFT, lw=0.7, ls=(0, (2, 2)), zorder=1)
        self._write(AT.label, f"Pooled{_how(pooled.method)}", weight="bold")
        self._write(AT.number, f"{pooled.events} of {pooled.total}", align="right", weight="bold")
        self._write(AT.share, _percent(pooled.mean, pooled.interval), weight="bold")
        self._step(1.1)
        if pooled.prediction is not None:
            ends = [self._x(end) for end in pooled.prediction]
            y = self._y - 0.2
            self._axes.plot(ends, [y, y], color=INK, lw=2.6, solid_capstyle="butt")
            for end in ends:
                self._axes.plot([end, end], [y - 0.25, y + 0.25], color=INK, lw=1.0)
            self._write(AT.label, "A further place of the same kind")
            low_end, high_end = (100 * end for end in pooled.prediction)
            self._write(AT.share, f"{low_end:.1f} to {high_end:.1f}")
        else:
            self._write(AT.label, "A further place: not known from so few series", colour=SOFT)

    def _scale(self, first: float) -> None:
        base = self._y + 0.45
        self._axes.plot([AT.plot, AT.plot_end], [base, base], color=SOFT, lw=0.8)
        for tick in range(5):
            x = AT.plot + (AT.plot_end - AT.plot) * tick / 4
            self._axes.plot([x, x], [base, base + 0.15], color=SOFT, lw=0.8)
            self._axes.plot([x, x], [first, base], color=SOFT, lw=0.25, alpha=0.5, zorder=0)
            self._axes.text(
                x,
                base + 0.5,
                f"{self._top * tick / 4:g}{' %' if tick == 4 else ''}",
                color=SOFT,
                fontsize=7.0,
                ha="center",
                va="center",
            )
        self._y += 1.0


def _how(method: str) -> str:
    names = {
        "reml": ", by logits",
        "pm": ", by logits",
        "dl": ", by logits",
        "exact": ", by counts",
    }
    return names.get(method, "")


def _percent(share: float, interval: tuple[float, float]) -> str:
    return f"{100 * share:.1f} ({100 * interval[0]:.1f} to {100 * interval[1]:.1f})"


def _scatter(pool: SeriesPool) -> str:
    pooled = pool.pooled
    if pooled is None or pooled.tau2 is None or pooled.tau2_interval is None:
        return "How much places differ is not known."
    low, high = pooled.tau2_interval
    upper = "no bound" if high == inf else f"{high:.2f}"
    return (
        f"Variance between places (logit²) {pooled.tau2:.2f} ({low:.2f} to {upper}); "
        f"{100 * (pooled.i2 or 0):.0f} % of the scatter is not chance."
    )


def _caption(pool: SeriesPool) -> str:
    text = f"{pool.title}: what was published. No figure here speaks of the person."
    if _little(pool):
        text += " The series differ so much that the pooled figure says little."
    return text


def _words(pool: SeriesPool) -> str:
    said = [f"{pool.title}. {len(pool.rows)} series pooled, {len(pool.left_out)} left out."]
    said += [
        f"{row.label}: {row.events} of {row.total}, "
        f"{_percent(row.events / row.total, row.interval)} %."
        for row in pool.rows
        if row.events is not None and row.interval is not None
    ]
    if pool.pooled is not None:
        said.append(f"Together {_percent(pool.pooled.mean, pool.pooled.interval)} %.")
        if pool.pooled.prediction is not None:
            low, high = pool.pooled.prediction
            said.append(f"A further place: {100 * low:.1f} to {100 * high:.1f} %.")
    said += [one.says for one in pool.compared]
    return " ".join(said)
