"""Routes as findings, and as what the appraisal judges."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.plan.criteria.reaches import RouteSummary
from thalweg.plan.reach.diversions import NO_PASSAGE
from thalweg.plan.reach.scene import defaults
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from thalweg.plan.reach import RouteResult
    from thalweg.plan.staging import FreedUreter, MeasuredSite
    from thalweg.record.fact import Moment

__all__ = [
    "FREE",
    "MARGIN",
    "REQUIRED",
    "Ground",
    "kink_of",
    "margin_finding",
    "passage_of",
    "redundancy_of",
    "summarised",
]

FREE = Method(
    key="reach-free-length",
    title="What of a ureter can be brought out",
    formula="free length = division − pivot − trim, stations in mm along the traced course",
    valid_for="a ureter held above the lower pole of its kidney and freed below it",
    sources=("thalweg-engineering",),
    cautions=("The surgeon moves pivot and division; the free length moves with them.",),
)

REQUIRED = Method(
    key="reach-required-length",
    title="Shortest permitted route",
    formula=(
        "required length = shortest path from the pivot, leaving along the ureter, clear of "
        "obstacles, no bend tighter than the least radius, to the wall's inner face along the "
        "skin's normal, + wall + stoma height, mm"
    ),
    valid_for="a lying person; exact where nothing is in the way, else the shortest of those tried",
    sources=("dubins-1957", "thalweg-engineering"),
)

MARGIN = Method(
    key="reach-margin",
    title="Free length less required length",
    formula=(
        "margin = free length − required length, mm; interval: central 95 % of seeded samples of "
        "tracing, wall, pivot, trim, stretch and, where a passage is marked, of its place"
    ),
    valid_for="a freed ureter laid along the shortest permitted route, lying person",
    sources=("thalweg-engineering",),
    cautions=(
        "A margin is geometry: blood supply, tissue quality and swelling decide with it.",
        "The spreads behind the interval are engineering estimates, not measured in this unit.",
    ),
)


def _slug(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


def redundancy_of(route: RouteResult) -> str:
    """Return what would have to be trimmed lest the ureter buckle, or an empty string."""
    if route.redundant_mm is None:
        return ""
    return (
        f"The {route.side} ureter to {route.site} would be redundant: about "
        f"{route.redundant_mm:.0f} mm to trim, or it will buckle."
    )


def kink_of(route: RouteResult) -> str:
    """Return that a route has a corner, or an empty string."""
    if route.least_bend_radius_mm is None or route.least_bend_radius_mm > 0:
        return ""
    return f"The {route.side} ureter to {route.site} would kink: the route has a corner."


def passage_of(route: RouteResult) -> str:
    """Return that a route's passage behind the sigmoid mesentery is not known, or an empty string.

    Its margin is then the most it can be.
    """
    return NO_PASSAGE if NO_PASSAGE in route.cautions else ""


@dataclass(frozen=True, eq=False)
class Ground:
    """What a route of a person rests on; all unknown for a scene without images.

    Parameters
    ----------
    at : date or aware datetime
        When the images were acquired.
    length : Finding or None
        Of the ureter.
    freed : FreedUreter or None
        Where it is held and cut.
    site : MeasuredSite or None
        Where it comes out.
    """

    at: Moment
    length: Finding | None = None
    freed: FreedUreter | None = None
    site: MeasuredSite | None = None


def _free(route: RouteResult, ground: Ground) -> Finding:
    said: tuple[str, ...] = ()
    if ground.freed is not None:
        trim = float(defaults()["usual"]["trim_mm"])
        said = (
            (
                f"Held above station {ground.freed.pivot_mm:.0f} mm, cut at "
                f"{ground.freed.division_mm:.0f} mm; {trim:.0f} mm taken off the end, as is usual "
                "where the record says nothing else."
            ),
            *ground.freed.cautions,
        )
    return Finding(
        name=f"free-length-{route.diversion}-{route.side}-{_slug(route.site or 'base')}",
        title=f"Free length of the {route.side} ureter",
        value=route.free_mm,
        unit="mm",
        at=ground.at,
        method=FREE,
        facts=() if ground.freed is None else ground.freed.facts,
        findings=() if ground.length is None else (ground.length,),
        cautions=said,
    )


def _required(route: RouteResult, ground: Ground) -> Finding:
    said: tuple[str, ...] = ()
    if ground.site is not None:
        usual = defaults()["usual"]
        said = (
            (
                f"Wall {ground.site.wall_mm:.0f} mm, stoma {ground.site.height_mm:.0f} mm high; "
                f"bends no tighter than {usual['least_bend_radius_mm']:.0f} mm, "
                f"{usual['clearance_mm']:.0f} mm clear of bone and vessels, as is usual where the "
                "record says nothing else."
            ),
            *ground.site.cautions,
        )
    return Finding(
        name=f"required-length-{route.diversion}-{route.side}-{_slug(route.site or 'base')}",
        title=f"Required length of the {route.side} ureter to {route.site or 'the base'}",
        value=route.required_mm,
        unit="mm",
        at=ground.at,
        method=REQUIRED,
        facts=() if ground.site is None else ground.site.facts,
        cautions=(*said, *route.cautions),
    )


def margin_finding(route: RouteResult, ground: Ground) -> Finding | None:
    """Return a route's margin as a finding that rests on its two lengths; None without a margin.

    Parameters
    ----------
    route : RouteResult
    ground : Ground
        What it rests on.
    """
    if route.margin_mm is None or route.side is None:
        return None
    return Finding(
        name=f"margin-{route.diversion}-{route.side}-{_slug(route.site or 'base')}",
        title=f"Margin of the {route.side} ureter to {route.site}, {route.diversion}",
        value=route.margin_mm,
        unit="mm",
        at=ground.at,
        method=MARGIN,
        findings=(_free(route, ground), _required(route, ground)),
        interval=route.margin_interval_mm,
        cautions=tuple(filter(None, (redundancy_of(route), kink_of(route), passage_of(route)))),
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
                cautions=tuple(filter(None, (kink_of(route), passage_of(route)))),
                findings=() if finding is None else (finding,),
            )
        )
    return tuple(summaries)
