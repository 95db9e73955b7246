"""The pools that published series allow, with their rows, what stayed out, and the unit's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.outcome import definitions, outcomes
from thalweg.evidence.pool_groups import pool_groups
from thalweg.evidence.pooling.against import Compared, compared
from thalweg.evidence.pooling.methods import PoolSettings, pool_settings
from thalweg.evidence.pooling.moderators import (
    Along,
    Without,
    along,
    leave_one_out,
    share_at,
    small_series,
)
from thalweg.evidence.pooling.proportions import pool
from thalweg.evidence.pooling.rows import PoolRow, row_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.evidence.pool_groups import PoolGroup
    from thalweg.evidence.pooling.pooled import Pooled
    from thalweg.evidence.protocol import Rules
    from thalweg.evidence.series import Series

__all__ = ["SeriesPool", "pooled_rows", "published_pools"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesPool:
    """Series of one outcome, one definition, one unit of counting and one population.

    Parameters
    ----------
    title : str
        What is counted, for a page.
    outcome, definition, unit, population, diversion : str
        Keys; empty where they are not known.
    says : str
        What the definition counts, in words.
    rows : tuple of PoolRow
        In the pool, by year.
    own : tuple of PoolRow
        The unit's own, beside it.
    left_out : tuple of PoolRow
        With the reason.
    pooled : Pooled or None
        None where every series stayed out.
    compared : tuple of Compared
        For each of `own`.
    without : tuple of Without
        The pool without each of its rows.
    small : Along or None
        Whether small series differ; None from too few.
    over_years : Along or None
        Whether shares go with the year; None from too few.
    cautions : tuple of str
        Of the series and of the pooled figure.
    """

    title: str
    says: str = ""
    outcome: str = ""
    definition: str = ""
    unit: str = ""
    population: str = ""
    diversion: str = ""
    rows: tuple[PoolRow, ...]
    own: tuple[PoolRow, ...] = ()
    left_out: tuple[PoolRow, ...] = ()
    pooled: Pooled | None
    compared: tuple[Compared, ...] = ()
    without: tuple[Without, ...] = ()
    small: Along | None = None
    over_years: Along | None = None
    cautions: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Words that name it among the pools of a diversion."""
        return " ".join(part for part in (self.definition, self.unit, self.population) if part)

    @property
    def most_moved(self) -> tuple[PoolRow, Without] | None:
        """The series whose absence moves the pooled figure most."""
        if not self.without:
            return None
        most = max(self.without, key=lambda one: abs(one.moved))
        return self.rows[most.left_out], most

    def to_json(self) -> dict[str, Any]:
        """Return it with the unit in every key."""
        return {
            "title": self.title,
            "says": self.says,
            "outcome": self.outcome or None,
            "definition": self.definition or None,
            "counted": self.unit or None,
            "population": self.population or None,
            "diversion": self.diversion or None,
            "pooled": None if self.pooled is None else self.pooled.to_json(),
            "series": [row.to_json() for row in self.rows],
            "own": [row.to_json() for row in self.own],
            "left_out": [row.to_json() for row in self.left_out],
            "compared": [one.to_json() for one in self.compared],
            "without_each": [
                {
                    "label": self.rows[one.left_out].label,
                    "share_percent": 100.0 * one.pooled.mean,
                    "moved_percentage_points": 100.0 * one.moved,
                }
                for one in self.without
            ],
            "small_series": _line_json(self.small, "logits_per_inverse_total"),
            "over_years": _line_json(self.over_years, "logits_per_year"),
            "cautions": list(self.cautions),
        }


def _line_json(line: Along | None, unit: str) -> dict[str, Any] | None:
    if line is None:
        return None
    return {
        f"slope_{unit}": line.slope,
        f"interval_{unit}": list(line.slope_interval),
        "chance": line.chance,
        "method": line.method.key,
        "cautions": list(line.method.cautions),
    }


def pooled_rows(
    title: str,
    rows: Sequence[PoolRow],
    *,
    own: Sequence[PoolRow] = (),
    left_out: Sequence[PoolRow] = (),
    cautions: Sequence[str] = (),
    method: str = "auto",
    settings: PoolSettings | None = None,
    look: bool = True,
    **named: str,
) -> SeriesPool:
    """Pool rows that count the same thing.

    Parameters
    ----------
    title : str
    rows : sequence of PoolRow
        With counts.
    own : sequence of PoolRow
        Held against the pool, not part of it.
    left_out : sequence of PoolRow
    cautions : sequence of str
        Of the series.
    method : str
        As `thalweg.evidence.pooling.pool` takes it.
    settings : PoolSettings, optional
    look : bool
        Also leave each series out in turn, and look at years and at small series.
    **named : str
        `says`, `outcome`, `definition`, `unit`, `population`, `diversion`.
    """
    rules = settings or pool_settings()
    rows = sorted(rows, key=lambda row: (row.year, row.label))
    events = [row.events for row in rows if row.events is not None]
    totals = [row.total for row in rows]
    pooled = pool(events, totals, method=method, settings=rules) if rows else None
    small = years = None
    without: tuple[Without, ...] = ()
    said = list(cautions)
    if pooled is not None:
        said = [*pooled.cautions, *said, *pooled.how.cautions]
        if look:
            without = leave_one_out(events, totals, pooled, settings=rules)
            small = small_series(events, totals, settings=rules)
            if len({row.year for row in rows}) > 1:
                years = along(events, totals, [row.year for row in rows], settings=rules)
            said += _looked(small, years, rows, rules)
    return SeriesPool(
        title=title,
        rows=tuple(rows),
        own=tuple(own),
        left_out=tuple(left_out),
        pooled=pooled,
        compared=tuple(
            compared(row.events, row.total, pooled) for row in own if row.events is not None
        ),
        without=without,
        small=small,
        over_years=years,
        cautions=tuple(dict.fromkeys(said)),
        **named,
    )


def _looked(
    small: Along | None, years: Along | None, rows: Sequence[PoolRow], rules: PoolSettings
) -> list[str]:
    said = []
    if small is not None and small.chance < rules.small_alpha:
        more = "more" if small.slope > 0 else "fewer"
        said.append(
            f"Small series report {more} events than large ones (p = {small.chance:.2f}): the "
            f"large ones alone would lead to {100.0 * share_at(small, 0.0):.1f} %."
        )
        said += small.method.cautions
    if years is not None and years.chance < rules.small_alpha:
        ends = [100.0 * share_at(years, year) for year in (rows[0].year, rows[-1].year)]
        said.append(
            f"Shares go with the year of publication (p = {years.chance:.2f}): from "
            f"{ends[0]:.1f} % in {rows[0].year} to {ends[1]:.1f} % in {rows[-1].year}."
        )
        said += years.method.cautions
    return said


def published_pools(
    rows: Sequence[Series],
    *,
    diversion: str | None = None,
    own: Sequence[Series] = (),
    rules: Rules | None = None,
    settings: PoolSettings | None = None,
    method: str = "auto",
    look: bool = False,
    only: tuple[str | None, str | None, str | None] = (None, None, None),
) -> tuple[SeriesPool, ...]:
    """Return the pools of published series, in the order of outcome, definition and unit.

    Parameters
    ----------
    rows : sequence of Series
        Published; as `thalweg.evidence.series.published` returns them.
    diversion : str, optional
        As `thalweg.evidence.pool_groups.pool_groups` takes it.
    own : sequence of Series
        A unit's own: held against the pool of the same kind, never part of it.
    rules : Rules, optional
        Which series may be pooled.
    settings : PoolSettings, optional
        How they are pooled.
    method : str
    look : bool
        As `pooled_rows` takes it.
    only : tuple of str or None
        Only this definition, unit of counting and population.
    """
    groups = {_kind(one): one for one in pool_groups(rows, diversion=diversion, rules=rules)}
    theirs = {_kind(one): one for one in pool_groups(own, diversion=diversion, rules=rules)}
    order = list(definitions())
    found = []
    for kind in sorted({*groups, *theirs}, key=lambda k: (order.index(k[0]), *k[1:])):
        if any(wanted not in {None, one} for wanted, one in zip(only, kind, strict=True)):
            continue
        group, mine = groups.get(kind), theirs.get(kind)
        definition, unit, population = kind
        out = () if group is None else group.left_out
        what = definitions()[definition]
        found.append(
            pooled_rows(
                outcomes()[what.outcome].name,
                [row_of(one) for one in group.series] if group else [],
                own=[row_of(one) for one in mine.series] if mine else [],
                left_out=[row_of(one.series, why_out=one.why) for one in out],
                cautions=group.cautions if group else (),
                method=method,
                settings=settings,
                look=look,
                says=what.says,
                outcome=what.outcome,
                definition=definition,
                unit=unit,
                population=population,
                diversion=diversion or "",
            )
        )
    return tuple(found)


def _kind(group: PoolGroup) -> tuple[str, str, str]:
    return group.definition_group, group.unit, group.population
