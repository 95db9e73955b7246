"""Every doubted figure below an option, so that the worlds can be drawn and doubt be traced."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.plan.lifecourse.quantity import Quantity
    from thalweg.plan.lifecourse.rates import OptionRates, Start

__all__ = ["named_unknowns", "unknowns"]


def named_unknowns(option: OptionRates, start: Start) -> Iterator[tuple[str, Quantity]]:
    """Yield each figure with what it is, in words."""
    events = (*option.early, *((option.death,) if option.death else ()))
    for early in events:
        yield f"how often: {early.name}", early.share
    tube = option.tube
    kept = (tube.kept,) if tube and tube.kept else ()
    lost = (option.lost_unit,) if option.lost_unit else ()
    for late in (*option.late, *kept, *lost):
        yield f"how often: {late.name}", late.rate
    for words, burdens in (
        ("operations for", option.operations or ()),
        ("nights for", option.nights or ()),
        ("filtration lost by", option.falls),
    ):
        for burden in burdens:
            yield f"{words} {burden.name}", burden.each
    if tube and tube.first_days:
        yield "days with the first tubes", tube.first_days
    if tube and tube.every_weeks:
        yield "weeks between changes of a tube", tube.every_weeks
    if option.gfr_change:
        yield "what the diversion does to the filtration rate", option.gfr_change.percent
    if start.gfr:
        yield "the filtration rate today", start.gfr
    if start.gfr_per_year:
        yield "the yearly change of the filtration rate", start.gfr_per_year
    yield "how the kidneys share the work", start.first_share
    yield "what a remaining kidney takes over", start.compensation
    for excess in start.excess:
        yield f"deaths by {excess.name}", excess.per_year


def unknowns(option: OptionRates, start: Start) -> Iterator[Quantity]:
    """Yield each figure."""
    for _, quantity in named_unknowns(option, start):
        yield quantity
