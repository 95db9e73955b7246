"""Each kidney's own filtration rate, and the loss of one that the other hides."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.facts import day_of
from thalweg.assess.kidney.recipes import INDEXED
from thalweg.assess.rules import number
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.decline.series import RateSeries
    from thalweg.assess.kidney.shares import Share, Shares
    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Fact, Moment

__all__ = ["ONE_KIDNEY", "SPLIT_CHANGE", "split_findings"]

ONE_KIDNEY = Method(
    key="one-kidney-gfr",
    title="filtration rate of one kidney",
    formula="filtration rate × that kidney's share of function / 100",
    valid_for="share and rate of about the same time; renogram without obstruction at uptake",
    sources=("thalweg-engineering",),
    cautions=(
        (
            "The share comes from uptake on a renogram, whose repeats differ by some 5 points; an "
            "obstructed kidney can recover part of its share once drained."
        ),
    ),
)
SPLIT_CHANGE = Method(
    key="one-kidney-lost-behind-the-other",
    title="one kidney falling while the total stands still",
    formula=(
        "met where a kidney's share fell by more than 5 points between the first and the latest "
        "renogram while the total changed by less than 10 %"
    ),
    valid_for="two renograms, each within 90 days of a filtration rate by one estimate",
    sources=("thalweg-engineering",),
)


def _rate_near(series: RateSeries | None, at: Moment, days: float) -> tuple[float, Fact] | None:
    """Return the rate of the series nearest to a day, at most `days` off."""
    if series is None or not series.days:
        return None
    gaps = [abs((day - day_of(at)).days) for day in series.days]
    place = min(range(len(gaps)), key=gaps.__getitem__)
    return (float(series.rates[place]), series.facts[place]) if gaps[place] <= days else None


def _each(relied: Finding, share: Share, days: float) -> list[Finding]:
    if not isinstance(relied.value, float):
        return []
    apart = abs((day_of(relied.at) - day_of(share.at)).days)
    said = (
        (f"Renogram and filtration rate lie {apart} days apart: two different times.",)
        if apart > days
        else ()
    )
    left = share.percent
    return [
        Finding(
            name=f"gfr-{side}-kidney",
            title=f"Filtration rate of the {side} kidney ({part:.0f} % of the whole)",
            value=relied.value * part / 100.0,
            unit=INDEXED,
            at=max(relied.at, share.at, key=moment_key),
            method=ONE_KIDNEY,
            facts=share.facts,
            findings=(relied, *share.findings),
            cautions=said,
            digits=0,
        )
        for side, part in (("left", left), ("right", 100.0 - left))
    ]


def split_findings(
    shares: Shares, relied: Finding, series: RateSeries | None, rules: Rules
) -> tuple[Finding, ...]:
    """Return each kidney's rate, and whether one was lost behind a steady total.

    Parameters
    ----------
    shares : Shares
        Of the left kidney over time.
    relied : Finding
        ``gfr-to-rely-on``.
    series : RateSeries or None
        The rates over time by one estimate.
    rules : Rules
        For what counts as a change.

    Returns
    -------
    tuple of Finding
        The share to rely on, where one was computed; each kidney's rate, but not from shares that
        contradict each other; the change between the first and the latest renogram.
    """
    days = number(rules, "split-change", "days")
    found = [] if shares.to_rely_on is None else [shares.to_rely_on]
    if shares.latest is not None:
        found += _each(relied, shares.latest, days)
    if len(shares.all) > 1 and shares.all[0].at != shares.all[-1].at:
        change = _change(shares.all[0], shares.all[-1], series, days, rules)
        found.append(change.with_cautions(shares.contradictions))
    return tuple(found)


def _change(
    first: Share, last: Share, series: RateSeries | None, days: float, rules: Rules
) -> Finding:
    before, after = (_rate_near(series, one.at, days) for one in (first, last))
    moved = last.percent - first.percent
    falling = "left" if moved < 0 else "right"
    shift = abs(moved) > number(rules, "split-change", "points")
    used: tuple[Fact, ...] = (*first.facts, *last.facts)
    if before is None or after is None:
        value = Truth.NOT_KNOWN if shift else Truth.NOT_MET
        said = [f"No filtration rate within {days:.0f} days of each renogram to compare with."]
    else:
        used = (*used, before[1], after[1])
        change = (after[0] - before[0]) / before[0]
        steady = abs(change) < number(rules, "split-change", "total_share")
        value = Truth.of(shift and steady)
        parts = [
            rate[0] * (100 - one.percent if falling == "right" else one.percent) / 100
            for rate, one in ((before, first), (after, last))
        ]
        said = [
            (
                f"The {falling} kidney went from {parts[0]:.0f} to {parts[1]:.0f} mL/min/1.73 m² "
                f"while the total changed by {change:+.0%}."
            )
        ]
        if value is Truth.MET:
            said.append(
                "The other kidney makes up for it, so that creatinine does not show the loss: look "
                f"for obstruction on the {falling}."
            )
    return Finding(
        name="gfr-split-change",
        title="One kidney falling behind a steady total",
        value=value,
        unit=None,
        at=last.at,
        method=SPLIT_CHANGE,
        facts=used,
        findings=(*first.findings, *last.findings),
        cautions=tuple(said),
        missing=("creatinine",) if value is Truth.NOT_KNOWN else (),
    )
