"""Routes as findings, and as what the appraisal judges."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from thalweg.plan.criteria.ground import RouteSummary
from thalweg.plan.reach.scene import defaults
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from thalweg.plan.reach import RouteResult
    from thalweg.record.fact import Fact, Moment

__all__ = ["MARGIN", "kink_of", "margin_finding", "redundancy_of", "summarised"]

MARGIN = Method(
    key="reach-margin",
    title="Free length less required length",
    formula=(
        "margin = (division − pivot − trim) − shortest route from pivot to stoma, mm; the route "
        "leaves along the ureter, keeps the clearance and the least bend radius, crosses the wall "
        "along the skin's normal and ends at the stoma's height; interval: central 95 % of seeded "
        "samples"
    ),
    valid_for="a freed ureter laid along the shortest permitted route, lying person",
    sources=("dubins-1957", "thalweg-engineering"),
    cautions=(
        "A margin is geometry: blood supply, tissue quality and swelling decide with it.",
        "The spreads behind the interval are engineering estimates, not measured in this unit.",
    ),
)


def _slug(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


def redundancy_of(route: RouteResult) -> str:
    """Return what would have to be trimmed lest the ureter buckle, or an empty string."""
    threshold = float(defaults()["redundancy"]["threshold_mm"])
    if route.margin_mm is None or route.margin_mm <= threshold:
        return ""
    return (
        f"The {route.side} ureter to {route.site} would be redundant: about "
        f"{route.margin_mm:.0f} mm to trim, or it will buckle."
    )


def kink_of(route: RouteResult) -> str:
    """Return that a route has a corner, or an empty string."""
    if route.least_bend_radius_mm is None or route.least_bend_radius_mm > 0:
        return ""
    return f"The {route.side} ureter to {route.site} would kink: the route has a corner."


def margin_finding(
    route: RouteResult,
    *,
    at: Moment,
    lengths: Mapping[str, Finding],
    facts: tuple[Fact, ...] = (),
) -> Finding | None:
    """Return a route's margin as a finding; None where no margin was reached.

    Parameters
    ----------
    route : RouteResult
    at : date or aware datetime
        When the images were acquired.
    lengths : mapping of str to Finding
        Length of each ureter, by side.
    facts : tuple of Fact
        The marks the route rests on.
    """
    if route.margin_mm is None or route.side is None:
        return None
    length = lengths.get(route.side)
    return Finding(
        name=f"margin-{route.diversion}-{route.side}-{_slug(route.site or 'base')}",
        title=f"Margin of the {route.side} ureter to {route.site}, {route.diversion}",
        value=route.margin_mm,
        unit="mm",
        at=at,
        method=MARGIN,
        facts=facts,
        findings=() if length is None else (length,),
        interval=route.margin_interval_mm,
        cautions=(*filter(None, (redundancy_of(route), kink_of(route))), *route.cautions),
        digits=0,
    )


def summarised(
    routes: Iterable[RouteResult], findings: Mapping[tuple[str, str, str], Finding]
) -> tuple[RouteSummary, ...]:
    """Return what the appraisal judges: every route that has a margin and its doubt.

    Parameters
    ----------
    routes : iterable of RouteResult
    findings : mapping
        Margin findings by (diversion, side, site).
    """
    summaries = []
    for route in routes:
        known = (route.margin_mm, route.margin_interval_mm, route.probability_reaches)
        if route.side is None or None in known:
            continue
        finding = findings.get((route.diversion, route.side, route.site or ""))
        summaries.append(
            RouteSummary(
                diversion=route.diversion,
                side=route.side,
                site=route.site or "base",
                margin_mm=route.margin_mm or 0.0,
                margin_interval_mm=route.margin_interval_mm or (0.0, 0.0),
                probability_reaches=route.probability_reaches or 0.0,
                # Redundancy is trimmed away at the table: it makes no option doubtful.
                cautions=tuple(filter(None, (kink_of(route),))),
                findings=() if finding is None else (finding,),
            )
        )
    return tuple(summaries)
