"""Write docs/published-series.md from the packaged series, so that page and data agree.

Run as ``python tools/write_series.py``. The whole page is written from the data and from here.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from scipy.stats import binomtest

from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.outcome import UNITS, definitions, outcomes
from thalweg.evidence.pool_groups import pool_groups
from thalweg.evidence.series import Series, packaged
from thalweg.exchange.series_table import NEEDED, OPTIONAL
from thalweg.plan.catalogue import catalogue

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGE = Path(__file__).parents[1] / "docs" / "published-series.md"

INTRODUCTION = """\
# Published series

What was published on the complications of each diversion: how many people, how many events, over
how long, counted how. The figures stand in `src/thalweg/evidence/data/series/`; this page is
written from them (`python tools/write_series.py`). It is no recommendation: the people of a series
are not the person in front of you, good results are published more readily, and most series look
back.

**{rows} counts and shares from {studies} publications.** How each was read: {reads}. {poolable} of
them have a count that may stand in a pool. None of the figures is from memory; where the place, the
year or the title of a publication was not shown with its abstract, its entry says so.

## What a figure has to pass

Ours and a unit's own figures pass the same checks (`thalweg.evidence.series_checks`), each refused
by one sentence:

* **Counts**: no more events than people, at least one person.
* **The printed percentage** must be one that whole counts can give, rounded half up, half to even
  or cut off (the granularity test, `brown-heathers-2017`; exact fractions). What fails is kept with
  its *discrepancy* and either used by its counts or kept out of every pool.
* **A count that was not printed** is worked out from the percentage only where exactly one count
  rounds to it.
* **Time**: a late complication needs its follow-up, or the word that it is unknown; a state, such
  as acidosis, needs its moment. No follow-up may be longer than the years of the study.
* **People counted twice**: two studies of one hospital and outcome with overlapping years must say
  which goes before the other.
* **Words**: outcome, definition, unit of counting, source and diversion must be known ones.

## What may be pooled

`thalweg.evidence.pool_groups` puts together only series of one outcome, one definition, one unit of
counting (a person, a kidney with its ureter, a join, a procedure) and one population, each person
once. Stenosis that had to be dilated is never pooled with stenosis seen. Stays out: figures
remembered, reviews (their parts may stand here themselves), people with different diversions not
told apart, contradictions, bare shares. The rules are data (`evidence/data/pool-groups.toml`); a
`pooling.toml` in your protocol folder (`--protocol`) replaces them row by row. Cutaneous
ureterostomies to one, two and shared stomas are pooled together, since publications seldom tell
them apart. Series without a known follow-up stay in, with a caution: to leave them out would drop
some of the worst results.

## Rates over time

`thalweg.evidence.hazard` turns counts with a mean or median follow-up into events per person-year,
with the exact Poisson interval (`garwood-1936`), and a Kaplan-Meier share at a stated time into the
constant rate under which it would hold. Both take the rate as constant, and say so.

"""

OWN_OUTCOMES = """\
## A unit's own outcomes

A `series.csv` in the protocol folder (`--protocol`) holds the unit's own counts; they pass the same
checks and stand beside the published ones. One count in each row, commas or semicolons, these
columns: {needed}; and where known {optional}.

```csv
outcome,definition,diversion,population,from,to,year,n,events,follow_up,follow_up_kind,at
stomal-stenosis,stenosis-treated,cutaneous-bilateral,adult,2015,2024,2026,42,9,31 months,median,
metabolic-acidosis,acidosis-year-1,neobladder,adult,2015,2024,2026,20,4,,,1 year
```

`from` and `to` are the first and last year of the operations, `year` that of the count. `follow_up`
and `at` are times with their unit (`31 months`, `2.5 years`, `90 days`); `follow_up_kind` is
median, mean, minimum or maximum. `diversion` takes several keys of the catalogue, parted by spaces,
where people are not told apart. `unit` is {units}; left out, it is the outcome's usual one. `arm`
names a group of people where one outcome of one diversion is counted in several.

"""


def cell(text: str) -> str:
    """Return text that fits into a cell of a table."""
    return " ".join(text.split()).replace("|", "\\|")


def share(one: Series) -> str:
    """Return the share with the outcome and its 95 % interval, in percent."""
    if one.events is not None:
        found = binomtest(one.events, one.n).proportion_ci(method="wilson")
        low, high = 100 * found.low, 100 * found.high
        return f"{100 * one.events / one.n:.1f} % ({low:.1f} to {high:.1f})"
    if one.survival_percent is not None:
        text = f"{100 - one.survival_percent:.1f} %"
        if one.survival_interval:
            low, high = (100 - bound for bound in reversed(one.survival_interval))
            text += f" ({low:.1f} to {high:.1f})"
        return f"{text} by Kaplan-Meier"
    return f"{one.printed} % printed" + (" without" if one.printed_without else "")


def time(one: Series) -> str:
    """Return the moment or the follow-up."""
    if one.at_months is not None:
        return f"at {one.at_months:g} months"
    if one.follow_up_months is not None:
        return f"{one.follow_up_kind} {one.follow_up_months:g} months"
    return "not known" if one.follow_up_unknown else "early"


def remarks(one: Series, left_out: dict[str, str]) -> str:
    """Return what a reader should know."""
    said = [one.note]
    if one.derived:
        said.append("The count is worked out from the percentage.")
    if one.discrepancy:
        said.append(f"Discrepancy: {one.discrepancy}.")
    if one.key in left_out:
        said.append(f"In no pool. {left_out[one.key]}")
    return " ".join(dict.fromkeys(said))


def table(rows: list[Series], left_out: dict[str, str]) -> Iterator[str]:
    """Yield the table of one definition."""
    yield "| series | whose | diversions | events of n | share (95 %) | time | read | remarks |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for one in rows:
        counts = f"{one.events} of {one.n}" if one.events is not None else f"n = {one.n}"
        years = f", {one.enrolled[0]}-{one.enrolled[1]}" if one.enrolled else ""
        arm = f"; {one.arm}" if one.arm else ""
        unit = "" if one.unit == "patient" else f" {one.unit}s"
        cells = (
            f"`{one.source}` ({one.year})",
            f"{one.setting}{years}; {one.population}{arm}",
            ", ".join(one.diversions) or "not said",
            counts + unit,
            share(one),
            time(one),
            one.read,
            remarks(one, left_out),
        )
        yield f"| {' | '.join(cell(text) for text in cells)} |"


def gaps() -> str:
    """Return a sentence on the diversions of the catalogue without a count of their own."""
    counted = {key for one in packaged() if one.events is not None for key in one.diversions}
    alone = {
        one.diversions[0]
        for one in packaged()
        if len(one.diversions) == 1 and one.events is not None
    }
    names = {one.key: one.name for one in catalogue().diversions}
    none = [name for key, name in names.items() if key not in counted]
    mixed = [name for key, name in names.items() if key in counted and key not in alone]
    text = f"No count at all was found for: {'; '.join(none)}. " if none else ""
    return (
        text
        + (f"Only among others, never by themselves: {'; '.join(mixed)}. " if mixed else "")
        + "What is not here was not found or could not be read; that is not a sign of safety."
    )


def page() -> str:
    """Return the whole page."""
    rows = packaged()
    groups = pool_groups(rows)
    left_out = {one.series.key: one.why for group in groups for one in group.left_out}
    read = {
        kind: sum(one.read == kind for one in rows) for kind in ("text", "abstract", "secondary")
    }
    reads = ", ".join(
        f"{count} {words}"
        for (kind, count), words in zip(
            read.items(),
            ("in the text", "in the abstract", "seen quoted or summarised"),
            strict=True,
        )
        if count
    )
    lines = [
        INTRODUCTION.format(
            rows=len(rows),
            studies=len({one.source for one in rows}),
            reads=reads,
            poolable=sum(len(group.series) for group in groups),
        ),
        OWN_OUTCOMES.format(
            needed=", ".join(f"`{name}`" for name in NEEDED),
            optional=", ".join(f"`{name}`" for name in OPTIONAL),
            units=", ".join(f"`{name}`" for name in UNITS),
        ),
        "## What is missing",
        "",
        gaps(),
        "",
        "*Read*: text, abstract, or secondary (quoted or summarised elsewhere). Shares with counts",
        "carry Wilson's 95 % interval, which knows nothing of how people were chosen.",
        "",
    ]
    for outcome in outcomes().values():
        lines += [
            f"## {outcome.name}",
            "",
            f"`{outcome.key}` ({outcome.timing}). {outcome.plain}",
            "",
        ]
        for group in definitions().values():
            if group.outcome == outcome.key:
                own = [one for one in rows if one.definition_group == group.key]
                own.sort(key=lambda one: (one.year, one.key))
                lines += [f"`{group.key}`: {group.says}.", "", *table(own, left_out), ""]
    missing = {one.source for one in rows} - set(bibliography())
    if missing:
        msg = f"not in the bibliography: {sorted(missing)}"
        raise ValueError(msg)
    return "\n".join(lines)


def main() -> int:
    """Rewrite the page."""
    PAGE.write_text(page(), encoding="utf-8")
    sys.stdout.write(f"docs/{PAGE.name} is as the data say\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
