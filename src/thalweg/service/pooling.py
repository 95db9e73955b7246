"""Pool what was published on an outcome, or a table of one's own, and say what to beware of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.evidence.outcome import UNITS, definitions, outcomes
from thalweg.evidence.pool_groups import pool_rules
from thalweg.evidence.pooling import (
    METHODS_TABLE,
    WAYS,
    SeriesPool,
    pool_settings,
    pooled_rows,
    published_pools,
)
from thalweg.evidence.pooling.moderators import groups_differ
from thalweg.evidence.series import published
from thalweg.exchange.pool_table import read_pool_table
from thalweg.exchange.series_table import read_series_table
from thalweg.plan.catalogue import catalogue
from thalweg.record.finding import Finding
from thalweg.service.picturing import checked_picture
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.service.safefile import replace_file

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import date
    from pathlib import Path

    from thalweg.evidence.pooling.rows import PoolRow
    from thalweg.service.protocol import Protocol

__all__ = ["Asked", "PoolAnswer", "pool_published", "pool_table"]

POPULATIONS = ("adult", "child", "mixed")
OF_SERIES = "Series, not people: nothing here is a forecast for one person, or a recommendation."


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be pooled.

    Parameters
    ----------
    outcome : str
        Key of the outcome.
    diversion : str or None
        Key of the catalogue; None pools all diversions together.
    definition, counted, population : str or None
        Only that one.
    method : str
        As `thalweg.evidence.pooling.pool` takes it.
    """

    outcome: str
    diversion: str | None = None
    definition: str | None = None
    counted: str | None = None
    population: str | None = None
    method: str = "auto"


@dataclass(frozen=True, slots=True)
class PoolAnswer:
    """Pools with what a person at the keyboard and a program read of them."""

    pools: tuple[SeriesPool, ...]
    at: date
    groups: tuple[SeriesPool, ...] = ()

    def findings(self) -> tuple[Finding, ...]:
        """Return each pooled share as a finding, percent."""
        return tuple(
            Finding(
                "pooled-share",
                f"{one.title}, pooled share ({one.key})" if one.key else "Pooled share",
                100.0 * one.pooled.mean,
                "%",
                self.at,
                one.pooled.how,
                interval=(100.0 * one.pooled.interval[0], 100.0 * one.pooled.interval[1]),
                cautions=one.cautions,
            )
            for one in (*self.pools, *self.groups)
            if one.pooled is not None
        )

    def difference(self) -> tuple[float, float] | None:
        """Return chi-squared and chance of a difference between groups, where there are any."""
        made = [one.pooled for one in self.groups if one.pooled is not None]
        return groups_differ(made) if len(made) > 1 else None

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        said: list[str] = []
        for one in (*self.pools, *self.groups):
            said += [*_lines(one), ""]
        difference = self.difference()
        if difference is not None:
            said += [
                f"Between the groups: chi-squared {difference[0]:.2f}, p = {difference[1]:.3f}"
            ]
        return [*said, f"! {OF_SERIES}"]

    def to_json(self) -> dict[str, Any]:
        """Return pools and findings."""
        difference = self.difference()
        return {
            "date": self.at.isoformat(),
            "findings": [finding.to_json(cite) for finding in self.findings()],
            "pools": [one.to_json() for one in self.pools],
            "groups": [one.to_json() for one in self.groups],
            "between_groups": (
                None
                if difference is None
                else {"chi_squared_without_unit": difference[0], "chance": difference[1]}
            ),
            "sources": {
                row.source: cite(row.source)
                for one in self.pools
                for row in (*one.rows, *one.own, *one.left_out)
                if row.source
            },
            "cautions": [OF_SERIES],
        }

    def write_picture(self, path: Path) -> None:
        """Write the one pool as a forest plot.

        Raises
        ------
        InputError
            If there are several pools, or none with a count, or the file cannot be written.
        """
        kind = checked_picture(path)
        drawn = [one for one in self.pools if one.rows or one.own]
        if len(drawn) != 1:
            names = " or ".join(f"{one.key!r}" for one in drawn[:4])
            raise InputError(
                f"a picture shows one pool, and here are {len(drawn)}"
                if drawn
                else "no series with a count is here to be drawn",
                where="--picture",
                mend=f"choose by --definition, --counted and --population, such as {names}"
                if drawn
                else "ask for another outcome or diversion",
            )
        # Only a picture pays for the drawing library.
        from thalweg.sheets.pictures.forest import forest_picture  # noqa: PLC0415

        replace_file(path, forest_picture(drawn[0], kind=kind).data)


def _lines(one: SeriesPool) -> list[str]:
    about = ", ".join(part for part in (one.population, one.unit, one.diversion) if part)
    head = f"{one.title}: {one.says}" if one.says else one.title
    said = [f"{head} ({about})" if about else head]
    weights = one.pooled.weights if one.pooled else ()
    for row, part in zip(one.rows, weights, strict=True):
        said.append(
            f"  {f'{row.events} of {row.total}':>14}  {_share(row.events, row.total, row.interval)}"
            f"  {100 * part:3.0f} % of the pool  {row.label}; {row.follow_up}"
        )
    if one.pooled is not None:
        pooled = one.pooled
        ends = pooled.interval
        said.append(
            f"  {f'{pooled.events} of {pooled.total}':>14}  "
            f"{100 * pooled.mean:5.1f} % ({100 * ends[0]:.1f} to {100 * ends[1]:.1f})  "
            f"{pooled.how.title}, {pooled.k} series"
        )
        if pooled.prediction is not None:
            low, high = (100 * end for end in pooled.prediction)
            said.append(f"{'':17} a further place of the same kind: {low:.1f} to {high:.1f} %")
    if (moved := one.most_moved) is not None:
        row, without = moved
        said.append(f"{'':17} without {row.label}: {100 * without.pooled.mean:.1f} %")
    said += [f"  {compared.says}" for compared in one.compared]
    said += [f"  left out: {row.label}: {row.why_out}" for row in one.left_out]
    return [*said, *(f"! {caution}" for caution in one.cautions)]


def _share(events: int | None, total: int, interval: tuple[float, float] | None) -> str:
    if events is None or interval is None:
        return "no count"
    return f"{100 * events / total:5.1f} % ({100 * interval[0]:.1f} to {100 * interval[1]:.1f})"


def _known(value: str | None, known: Collection[str], option: str) -> None:
    if value is None or value in known:
        return
    near = get_close_matches(value, known, n=2) or sorted(known)
    raise InputError(f"{value!r} is not known", where=option, mend=f"use {' or '.join(near)}")


def pool_published(
    asked: Asked,
    *,
    at: date,
    protocol: Protocol = NO_PROTOCOL,
    unit_series: Path | None = None,
) -> PoolAnswer:
    """Pool what was published on an outcome.

    Parameters
    ----------
    asked : Asked
    at : date
        The day of the answer.
    protocol : Protocol
        The unit's own rules; its own outcomes, if it has any, are held against the published.
    unit_series : Path, optional
        The unit's own outcomes, as `thalweg.exchange.series_table` reads them, in place of those
        of the protocol.

    Raises
    ------
    InputError
        If a word is not known, a table cannot be used, or nothing was published on it.
    """
    options = catalogue(protocol.table("catalogue"))
    _known(asked.method, WAYS, "--method")
    _known(asked.outcome, outcomes(), "--outcome")
    fits = [key for key, one in definitions().items() if one.outcome == asked.outcome]
    _known(asked.definition, fits, "--definition")
    _known(asked.counted, UNITS, "--counted")
    _known(asked.population, POPULATIONS, "--population")
    if asked.diversion is not None:
        options.diversion(asked.diversion)
    own = protocol.series
    if unit_series is not None:
        keys = [one.key for one in options.diversions]
        own = read_series_table(unit_series, diversions=keys, this_year=at.year)
    pools = published_pools(
        published(outcome=asked.outcome),
        diversion=asked.diversion,
        own=tuple(one for one in own if one.outcome == asked.outcome),
        rules=pool_rules(protocol.table("pooling")),
        settings=pool_settings(protocol.table(METHODS_TABLE)),
        method=asked.method,
        look=True,
        only=(asked.definition, asked.counted, asked.population),
    )
    if not pools:
        raise InputError(
            f"nothing on {asked.outcome} with that choice is among the published series",
            mend="ask without --diversion, --definition, --counted or --population",
        )
    return PoolAnswer(pools, at)


def pool_table(
    path: Path,
    *,
    at: date,
    method: str = "auto",
    protocol: Protocol = NO_PROTOCOL,
    unit_series: Path | None = None,
) -> PoolAnswer:
    """Pool a table of one's own, and each of its groups.

    Parameters
    ----------
    path : Path
        As `thalweg.exchange.pool_table` reads it.
    at : date
    method : str
    protocol : Protocol
    unit_series : Path, optional
        A table of the same form with the unit's own counts, held against the others.

    Raises
    ------
    InputError
        If a table cannot be used.
    """
    _known(method, WAYS, "--method")
    rows = read_pool_table(path, this_year=at.year)
    own: tuple[PoolRow, ...] = ()
    if unit_series is not None:
        own = read_pool_table(unit_series, this_year=at.year, own=True)
    settings = pool_settings(protocol.table(METHODS_TABLE))
    said = ("That all rows count the same thing in the same way, nobody twice, is taken on trust.",)
    whole = pooled_rows(
        f"Series of {path.name}",
        rows,
        own=own,
        cautions=said,
        method=method,
        settings=settings,
    )
    names = dict.fromkeys(row.group for row in rows if row.group)
    groups = tuple(
        replace(
            pooled_rows(
                f"Group {name}",
                [row for row in rows if row.group == name],
                method=method,
                settings=settings,
                look=False,
            ),
            definition=name,
        )
        for name in names
        if len(names) > 1
    )
    return PoolAnswer((whole,), at, groups)
