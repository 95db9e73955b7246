"""What was published after each diversion that is not closed, in one compact table each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.sheets.document import Block, Cautions, Cell, Items, Section, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.evidence.pooling.published import SeriesPool

__all__ = ["PlannedPublished", "published_section", "published_sources"]

OF_SERIES = (
    (
        "Series, not this person: who was operated on, what was counted and how long people were "
        "followed differ, surgeons publish what went well, and what is not here was not found."
    ),
    "Shares of different diversions must not be set against each other: different people had them.",
)


@dataclass(frozen=True, slots=True)
class PlannedPublished:
    """What was published after diversions that publications do not tell apart.

    Parameters
    ----------
    names : tuple of str
        Of the diversions.
    pools : tuple of SeriesPool
        Of the person's age group; may be empty.
    """

    names: tuple[str, ...]
    pools: tuple[SeriesPool, ...]


def published_section(found: Iterable[PlannedPublished]) -> tuple[Section, ...]:
    """Return the part of the plan on what was published, or nothing where no option is open.

    Parameters
    ----------
    found : iterable of PlannedPublished
    """
    blocks: list[Block] = []
    for one in found:
        told = [pool for pool in one.pools if pool.rows]
        names = "; ".join(one.names)
        if told:
            blocks.append(_table(names, told))
        else:
            blocks.append(
                Text(
                    f"{names}: nothing with a count was found for this age. That is no sign of "
                    "safety."
                )
            )
        own = tuple(f"{pool.title}. {said.says}" for pool in one.pools for said in pool.compared)
        blocks += [Items(own)] if own else []
    if not blocks:
        return ()
    methods = {pool.pooled.how for one in found for pool in one.pools if pool.pooled is not None}
    said = dict.fromkeys(
        caution for method in sorted(methods, key=lambda m: m.key) for caution in method.cautions
    )
    return (
        Section(
            "published",
            "What was published",
            (Cautions((*OF_SERIES, *said)), *blocks),
            new_page=True,
        ),
    )


def published_sources(found: Iterable[PlannedPublished]) -> list[str]:
    """Return the bibliography's keys that the part rests on."""
    keys: list[str] = []
    for one in found:
        for pool in one.pools:
            keys += [row.source for row in (*pool.rows, *pool.own)]
            keys += pool.pooled.how.sources if pool.pooled is not None else ()
    return keys


def _table(names: str, pools: Iterable[SeriesPool]) -> Table:
    return Table(
        ("Counted", "Share (95 %)", "A further place", "Rests on", "Beware"),
        tuple(_row(pool) for pool in pools),
        (3.4, 2.3, 1.5, 3.0, 2.4),
        caption=f"{names}. A further place: where the share of another place like these would lie.",
    )


def _row(pool: SeriesPool) -> tuple[Cell | str, ...]:
    pooled = pool.pooled
    counted = f"{pool.title}: {pool.says}"
    if pooled is None:
        return (counted, "not known", "not known", "", "")
    years = sorted({row.year for row in pool.rows})
    span = str(years[0]) if len(years) == 1 else f"{years[0]} to {years[-1]}"
    marks = source_marks(dict.fromkeys(row.source for row in pool.rows))
    rests = (
        f"{pooled.events} of {pooled.total} ({pool.unit}), {_series(pooled.k)}, {span}; "
        f"follow-up {_followed(pool)} {marks}"
    )
    beware = _beware(pool)
    if not pooled.speaks:
        return (counted, _each(pool), "not told", rests, Cell(beware, Tone.CARE))
    low, high = (100 * end for end in pooled.interval)
    share = f"{100 * pooled.mean:.1f} % ({low:.1f} to {high:.1f})"
    further: Cell | str = Cell("not known", Tone.UNKNOWN)
    if pooled.prediction is not None:
        further = "{:.1f} to {:.1f} %".format(*(100 * end for end in pooled.prediction))
    return (counted, share, further, rests, Cell(beware, Tone.CARE) if beware else "")


def _series(k: int) -> str:
    return "1 series" if k == 1 else f"{k} series"


def _each(pool: SeriesPool) -> str:
    shares = sorted(100 * row.events / row.total for row in pool.rows if row.events is not None)
    return f"not pooled: the series say {shares[0]:.1f} to {shares[-1]:.1f} %"


def _followed(pool: SeriesPool) -> str:
    times = sorted(row.follow_up_months for row in pool.rows if row.follow_up_months is not None)
    if not times:
        return "not known"
    span = f"{times[0]:g}" if times[0] == times[-1] else f"{times[0]:g} to {times[-1]:g}"
    lacking = len(pool.rows) - len(times)
    return f"{span} months" + (f", not known in {lacking}" if lacking else "")


def _beware(pool: SeriesPool) -> str:
    pooled = pool.pooled
    said = []
    if pooled is None:
        return ""
    if pooled.k == 1:
        said.append("one series")
    elif pooled.means_little:
        said.append("the series differ too much for one figure")
    elif not pooled.speaks:
        said.append("too few series for one figure")
    elif 100 * (pooled.i2 or 0) >= 50:
        said.append(f"{100 * (pooled.i2 or 0):.0f} % of the scatter is not chance")
    if pool.unit in {"renal unit", "ureter"}:
        said.append("two kidneys of one person counted as independent")
    if any(row.read == "secondary" for row in pool.rows):
        said.append("figures seen quoted only")
    if any(row.read == "memory" for row in pool.rows):
        said.append("figures from memory: verify")
    return "; ".join(said)
