"""Which published series a rate of an option rests on, and the rate that they give."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.outcome import definitions, outcomes
from thalweg.evidence.pool_groups import pool_groups
from thalweg.plan.lifecourse.pooled import Seen, log_odds, log_rate, pooled
from thalweg.plan.lifecourse.quantity import Basis, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from thalweg.evidence.pool_groups import PoolGroup
    from thalweg.evidence.protocol import Rules
    from thalweg.evidence.series import Series
    from thalweg.plan.lifecourse.shape import Shape

__all__ = ["Evidence", "rate_of", "share_of"]

MONTHS_A_YEAR = 12.0
READINGS = ("text", "abstract", "secondary", "memory")
"""From best to worst."""
MOST_RATE = 24.0
"""Events a year: a rate beyond two a month is no rate of these events."""


@dataclass(frozen=True)
class Evidence:
    """The series at hand, and how they may be used.

    Parameters
    ----------
    series : tuple of Series
        Of one population.
    pooling : Rules
        From `thalweg.evidence.pool_groups.pool_rules`.
    least_tau : float
        See `thalweg.plan.lifecourse.pooled.pooled`.
    """

    series: tuple[Series, ...]
    pooling: Rules
    least_tau: float


@dataclass(frozen=True)
class _Found:
    """Usable series of one definition, with what each saw, and sentences."""

    definition: str
    rows: tuple[tuple[Series, Seen], ...]
    says: tuple[str, ...]


def _timed(one: Series) -> float | None:
    """Return years of follow-up from which a rate follows, or None."""
    if one.at_months is not None and one.events is not None:
        return one.at_months / MONTHS_A_YEAR
    if one.follow_up_months is not None and one.follow_up_kind in {"mean", "median"}:
        return one.follow_up_months / MONTHS_A_YEAR
    return None


def _counts(group: PoolGroup) -> list[tuple[Series, Seen]]:
    rows = []
    for one in group.series:
        years = _timed(one)
        if years is not None and one.events is not None:
            rows.append((one, Seen(one.events, one.n, years)))
    return rows


def _shares(group: PoolGroup, *, again: bool, had: set[str]) -> list[tuple[Series, Seen]]:
    """Return shares over time of people who are not counted yet.

    The last share of a study says most; of what comes again the first does, since its clock begins
    anew each time.
    """
    best: dict[str, Series] = {}
    for out in group.left_out:
        one = out.series
        if one.survival_percent is None or one.at_months is None or one.excluded:
            continue
        if one.source in had or set(one.overlaps) & had or one.survival_percent <= 0:
            continue
        rival = best.get(one.source)
        if rival is None or (one.at_months < (rival.at_months or 0.0)) is again:
            best[one.source] = one
    return [
        (
            one,
            Seen(
                one.n * (1.0 - (one.survival_percent or 0.0) / 100.0),
                one.n,
                (one.at_months or 0.0) / MONTHS_A_YEAR,
            ),
        )
        for one in best.values()
    ]


def _groups(
    row: Mapping[str, Any], diversion: str | None, rows: Iterable[Series], evidence: Evidence
) -> dict[str, PoolGroup]:
    """Return the event's pools by definition, of what it is counted by."""
    unit = row.get("unit", outcomes()[row["outcome"]].unit)
    fit = tuple(one for one in rows if one.outcome == row["outcome"] and one.unit == unit)
    found = pool_groups(fit, diversion=diversion, rules=evidence.pooling)
    return {group.definition_group: group for group in found}


def _first(
    row: Mapping[str, Any], groups: Mapping[str, PoolGroup], *, over_time: bool
) -> _Found | None:
    """Return the first of the event's definitions that has usable series."""
    for definition in row["definitions"]:
        group = groups.get(definition)
        if group is None:
            continue
        if over_time:
            rows = _counts(group)
            had = {one.source for one, _ in rows}
            rows += _shares(group, again=row["counted"] == "again", had=had)
        else:
            rows = [(one, Seen(one.events or 0, one.n)) for one in group.series]
        if rows:
            # What a pool says of how long people were followed is answered by the rate.
            says = tuple(text for text in group.cautions if "followed" not in text)
            return _Found(definition, tuple(rows), says)
    return None


def _found(
    row: Mapping[str, Any], diversion: str, evidence: Evidence, *, over_time: bool
) -> _Found | None:
    """Return series of any diversion where they go first; else its own, else mixed ones."""
    if row.get("any"):
        every = [one for one in evidence.series if not one.diversions]
        whole = _first(row, _groups(row, None, every, evidence), over_time=over_time)
        if whole is not None:
            words = "From people with any diversion after removal of the bladder."
            return replace(whole, says=(words, *whole.says[1:]))
    own = _first(row, _groups(row, diversion, evidence.series, evidence), over_time=over_time)
    if own is not None:
        return own
    if row.get("mixed"):
        among = [
            replace(one, diversions=(diversion,))
            for one in evidence.series
            if diversion in one.diversions
        ]
        mixed = _first(row, _groups(row, diversion, among, evidence), over_time=over_time)
        if mixed is not None:
            words = "The series' people had several diversions, this one among them."
            return replace(mixed, says=(words, *mixed.says))
    return None


def _basis(found: _Found) -> Basis:
    rows = [one for one, _ in found.rows]
    sources = tuple(dict.fromkeys(one.source for one in rows))
    worst = max((bibliography()[key].read for key in sources), key=READINGS.index)
    said = list(found.says)
    if len(rows) == 1:
        said.append("One series only: how far settings differ was assumed.")
    if found.definition:
        said.insert(0, f"Counted: {definitions()[found.definition].says}.")
    return Basis(
        sources,
        tuple(one.key for one in rows),
        round(sum(seen.events for _, seen in found.rows)),
        sum(seen.n for _, seen in found.rows),
        found.definition,
        worst,
        says=tuple(said),
    )


def rate_of(
    key: str, row: Mapping[str, Any], diversion: str, shape: Shape, evidence: Evidence
) -> Quantity | None:
    """Return an event's rate with one diversion; None where no usable series gives it.

    Parameters
    ----------
    key : str
        Of the event.
    row : mapping
        Its row of ``lifecourse.toml``.
    diversion : str
        Key of the catalogue.
    shape : Shape
        Course of the hazard.
    evidence : Evidence
    """
    if "counts" in row:
        seen = [
            Seen(one["events"], one["n"], one["follow_up_months"] / MONTHS_A_YEAR)
            for one in row["counts"]
        ]
        sources = tuple(dict.fromkeys(one["source"] for one in row["counts"]))
        basis = Basis(
            sources,
            events=sum(one["events"] for one in row["counts"]),
            total=sum(one["n"] for one in row["counts"]),
            read=max((bibliography()[each].read for each in sources), key=READINGS.index),
            says=(row["note"],) if row.get("note") else (),
        )
        return _rate(key, seen, shape, basis, evidence)
    found = _found(row, diversion, evidence, over_time=True)
    if found is None:
        return None
    return _rate(key, [seen for _, seen in found.rows], shape, _basis(found), evidence)


def _rate(
    key: str, seen: Sequence[Seen], shape: Shape, basis: Basis, evidence: Evidence
) -> Quantity:
    effects = [log_rate(one, shape) for one in seen]
    middle, spread = pooled(effects, least_tau=evidence.least_tau)
    mark = "+".join((key, *(basis.series or basis.sources)))
    return Quantity(mark, "log", middle, spread, least=0.0, most=MOST_RATE, basis=basis)


def share_of(
    key: str, row: Mapping[str, Any], diversion: str, evidence: Evidence
) -> Quantity | None:
    """Return the share struck within the first days; None where no usable series gives it."""
    found = _found(row, diversion, evidence, over_time=False)
    if found is None:
        return None
    basis = _basis(found)
    effects = [log_odds(seen) for _, seen in found.rows]
    middle, spread = pooled(effects, least_tau=evidence.least_tau)
    return Quantity("+".join((key, *basis.series)), "logit", middle, spread, basis=basis)
