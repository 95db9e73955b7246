"""Each kidney's own filtration rate, and the loss of one that the other hides."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of
from thalweg.assess.kidney.recipes import INDEXED
from thalweg.assess.rules import number
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.assess.decline.series import RateSeries
    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Fact

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


def _rate_near(series: RateSeries | None, fact: Fact, days: float) -> tuple[float, Fact] | None:
    """Return the rate of the series nearest to a fact's day, at most `days` off."""
    if series is None or not series.days:
        return None
    gaps = [abs((day - day_of(fact.at)).days) for day in series.days]
    place = min(range(len(gaps)), key=gaps.__getitem__)
    return (float(series.rates[place]), series.facts[place]) if gaps[place] <= days else None


def _each(relied: Finding, share: Fact, days: float) -> list[Finding]:
    if not isinstance(relied.value, float):
        return []
    apart = abs((day_of(relied.at) - day_of(share.at)).days)
    said = (
        (f"Renogram and filtration rate lie {apart} days apart: two different times.",)
        if apart > days
        else ()
    )
    left = amount(share, "%")
    return [
        Finding(
            name=f"gfr-{side}-kidney",
            title=f"Filtration rate of the {side} kidney ({part:.0f} % of the whole)",
            value=relied.value * part / 100.0,
            unit=INDEXED,
            at=max(relied.at, share.at, key=moment_key),
            method=ONE_KIDNEY,
            facts=(share,),
            findings=(relied,),
            cautions=said,
            digits=0,
        )
        for side, part in (("left", left), ("right", 100.0 - left))
    ]


def split_findings(
    shares: Sequence[Fact], relied: Finding, series: RateSeries | None, rules: Rules
) -> tuple[Finding, ...]:
    """Return each kidney's rate, and whether one was lost behind a steady total.

    Parameters
    ----------
    shares : sequence of Fact
        ``split-function-left``, oldest first.
    relied : Finding
        ``gfr-to-rely-on``.
    series : RateSeries or None
        The rates over time by one estimate.
    rules : Rules
        For what counts as a change.
    """
    if not shares:
        return ()
    days = number(rules, "split-change", "days")
    found = _each(relied, shares[-1], days)
    if len(shares) > 1 and shares[0].at != shares[-1].at:
        found.append(_change(shares, series, days, rules))
    return tuple(found)


def _change(
    shares: Sequence[Fact], series: RateSeries | None, days: float, rules: Rules
) -> Finding:
    first, last = shares[0], shares[-1]
    before, after = (_rate_near(series, fact, days) for fact in (first, last))
    moved = amount(last, "%") - amount(first, "%")
    falling = "left" if moved < 0 else "right"
    shift = abs(moved) > number(rules, "split-change", "points")
    used: tuple[Fact, ...] = (first, last)
    if before is None or after is None:
        value = Truth.NOT_KNOWN if shift else Truth.NOT_MET
        said = [f"No filtration rate within {days:.0f} days of each renogram to compare with."]
    else:
        used = (first, last, before[1], after[1])
        change = (after[0] - before[0]) / before[0]
        steady = abs(change) < number(rules, "split-change", "total_share")
        value = Truth.of(shift and steady)
        parts = [
            rate[0] * (100 - amount(fact, "%") if falling == "right" else amount(fact, "%")) / 100
            for rate, fact in ((before, first), (after, last))
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
        cautions=tuple(said),
        missing=("creatinine",) if value is Truth.NOT_KNOWN else (),
    )
