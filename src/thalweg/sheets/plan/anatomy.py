"""The plan's middle: kidneys, ureters, reach and sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.measure.phases import METHODS
from thalweg.plan.reach.diversions import CONDUITS, TRANSURETERO
from thalweg.plan.reached import MARGIN, kink_of, redundancy_of
from thalweg.record.fact import say_moment
from thalweg.sheets.document import Block, Cautions, Cell, Section, Table, Text, Tone
from thalweg.sheets.pictures.routes import routes_picture, standing
from thalweg.sheets.plan.second_phase import phase_blocks
from thalweg.sheets.plan.words import cautions_of, finding_table

if TYPE_CHECKING:
    from thalweg.plan.reach import RouteResult
    from thalweg.sheets.plan.content import PlanContent, PlannedUreter

__all__ = ["kidney_section", "reach_section", "sites_section", "ureter_section"]

SAID_ELSEWHERE = ("Too short", "Redundant", "The scene gives no base")
"""Beginnings of what the tables' notes say, or what does not matter here: one base serves all."""

COMMON = 4
"""Said of more routes than this, a caution stands once for all."""

_STANDING = {
    "reaches": Tone.GOOD,
    "uncertain": Tone.UNKNOWN,
    "short": Tone.BAD,
}


def kidney_section(content: PlanContent) -> Section:
    """Return every estimate of kidney function and its cautions."""
    table = finding_table(content.kidney, "Every estimate that fits, and the one to rely on.")
    return Section("kidneys", "Kidneys", (table, Cautions(cautions_of(content.kidney))))


def ureter_section(ureter: PlannedUreter) -> Section:
    """Return one ureter: picture, findings, where it would be held and cut."""
    blocks: list[Block] = []
    if ureter.problem:
        blocks.append(Cautions((ureter.problem,)))
    if ureter.picture is not None:
        blocks.append(ureter.picture)
    if ureter.findings:
        caption = "Stations count from the point in the renal pelvis, in mm along the ureter."
        # What the second phase shows of each stretch stands beside the first in a table of its own.
        shown = [one for one in ureter.findings if one.method is not METHODS["stretch"]]
        blocks.append(finding_table(shown, caption))
    if ureter.second is not None:
        blocks += phase_blocks(ureter.second)
    if ureter.freed is not None:
        freed = ureter.freed
        blocks.append(
            Text(
                f"Held above station {freed.pivot_mm:.0f} mm (lower pole of the kidney), cut at "
                f"{freed.division_mm:.0f} mm. {' '.join(freed.cautions)}"
            )
        )
    blocks.append(Cautions(cautions_of(ureter.findings)))
    title = f"{ureter.side.capitalize()} ureter"
    return Section(f"ureter-{ureter.side}", title, tuple(blocks), new_page=True)


def _millimetres(value: float | None) -> str:
    return "not known" if value is None else f"{value:.0f} mm"


def _place(route: RouteResult) -> str:
    """Return where a route ends: a site, a conduit's base, or the ureter that it is joined to."""
    if route.diversion in CONDUITS:
        return "base of the conduit"
    if route.donor:
        # The donor stops at the recipient: it must not read as if it reached the skin.
        other = "right" if route.side == "left" else "left"
        return f"joins the {other} ureter, whose stoma is {route.site}"
    return str(route.site)


def _note(route: RouteResult) -> str:
    """Return what a margin means at the table, in two or three words."""
    if route.margin_mm is None:
        return ""
    if route.joined is not None:
        return f"{_own_note(route)}joins {route.joined.place}, at {route.joined.angle_deg:.0f}°"
    return _own_note(route).rstrip("; ")


def _own_note(route: RouteResult) -> str:
    assert route.margin_mm is not None  # noqa: S101 - said by the caller
    if route.margin_mm < 0:
        return f"short by {-route.margin_mm:.0f} mm: tension; "
    if kink_of(route):
        return "kinks; "
    return f"trim about {route.margin_mm:.0f} mm, or it buckles; " if redundancy_of(route) else ""


def _route_row(route: RouteResult) -> tuple[Cell | str, ...]:
    if route.margin_mm is None:
        blank = Cell("not known", Tone.UNKNOWN)
        return (str(route.side), _place(route), "", "", blank, "", "")
    interval = ""
    if route.margin_interval_mm is not None:
        low, high = route.margin_interval_mm
        interval = f" ({low:.0f} to {high:.0f})"
    chance = route.probability_reaches
    return (
        str(route.side),
        _place(route),
        _millimetres(route.free_mm),
        _millimetres(route.required_mm),
        Cell(f"{route.margin_mm:.0f}{interval} mm", _STANDING[standing(route)]),
        "" if chance is None else f"{100 * chance:.0f} %",
        _note(route),
    )


def _said(content: PlanContent) -> tuple[str, ...]:
    """Return what the routes say: once what all say, else with the route it belongs to.

    Shortness and redundancy stand in the tables' notes.
    """
    told = [route for route in content.routes if route.margin_mm is not None]
    where: dict[str, list[str]] = {}
    for route in told:
        for caution in route.cautions:
            if not caution.startswith(SAID_ELSEWHERE):
                way = "" if route.donor else "to "
                place = f"{route.side} {way}{_place(route)}"
                where.setdefault(caution, []).append(place)
    found = []
    for caution, places in where.items():
        several = len(places) > COMMON
        found.append(caution if several else f"{'; '.join(dict.fromkeys(places))}: {caution}")
    unknown = [
        f"{route.diversion}, {route.side or 'ureter'} to {_place(route)}: "
        f"{' '.join(route.cautions)}"
        for route in content.routes
        if route.margin_mm is None
    ]
    return (*found, *unknown)


def _matters(routes: tuple[RouteResult, ...]) -> str:
    """Return which doubts weigh most in the routes, as one sentence."""
    shares: dict[str, float] = {}
    for route in routes:
        for item in route.contributions:
            shares[item.name] = max(shares.get(item.name, 0.0), item.share)
    top = sorted(shares.items(), key=lambda item: -item[1])[:3]
    return ", ".join(f"{name} (up to {100 * share:.0f} % of the variance)" for name, share in top)


def reach_section(content: PlanContent) -> Section:
    """Return margins per diversion, a picture of each, and what weighs most in the doubt."""
    names = {row.diversion.key: row.diversion.name for row in content.appraisal.diversions}
    verdicts = {row.diversion.key: row.verdict for row in content.appraisal.diversions}
    blocks: list[Block] = []
    keys = tuple(dict.fromkeys(route.diversion for route in content.routes))
    days = sorted({say_moment(finding.at)[:10] for finding in content.margins})
    taken = f", on the images of {' and '.join(days)}" if days else ""
    if not keys:
        blocks.append(Text("Reach was not computed; the reasons stand under “At a glance”."))
    if content.front is not None:
        blocks.append(content.front)
    for key in keys:
        routes = tuple(route for route in content.routes if route.diversion == key)
        blocks.append(
            Table(
                ("Ureter", "To", "Free", "Required", "Margin (95 %)", "Reaches in", "Note"),
                tuple(_route_row(route) for route in routes),
                (0.9, 1.9, 1.1, 1.3, 2.4, 1.2, 2.2),
                caption=f"{names.get(key, key)}: free length less required length{taken}.",
            )
        )
        drawn = any(route.points_mm is not None for route in routes)
        # A closed option keeps its margins; its picture would only lengthen the plan.
        if content.scene is not None and drawn and verdicts.get(key) != "closed":
            blocks.append(routes_picture(content.scene, routes, names.get(key, key)))
    matters = _matters(content.routes)
    if matters:
        blocks.append(Text(f"What the doubt comes from, greatest first: {matters}."))
    told = dict.fromkeys((*content.map_cautions, *_said(content), *MARGIN.cautions))
    blocks.append(Cautions(tuple(told)))
    return Section("reach", "Reach", tuple(blocks), new_page=True)


def _when(content: PlanContent) -> str:
    """Return the day or days on which the sites were marked, as the end of a sentence."""
    days = sorted({say_moment(fact.at)[:10] for site in content.sites for fact in site.facts})
    return f" of {' and '.join(days)}" if days else ""


def sites_section(content: PlanContent) -> Section:
    """Return the proposed sites with skin and wall there."""
    rows = []
    for site in content.sites:
        doubt = "" if site.wall_sd_mm is None else f" ± {site.wall_sd_mm:.0f}"
        how = "given" if site.wall_sd_mm is None else "measured"
        x, y, z = site.point_mm
        reached = [
            str(route.side)
            for route in content.routes
            if route.site == site.name
            and route.diversion not in (*CONDUITS, TRANSURETERO)
            and route.margin_mm is not None
            and standing(route) == "reaches"
        ]
        rows.append(
            (
                site.name,
                f"{x:.0f}, {y:.0f}, {z:.0f}",
                f"{site.wall_mm:.0f}{doubt} mm, {how}",
                f"{site.height_mm:.0f} mm",
                ", ".join(dict.fromkeys(reached)) or "none with certainty",
            )
        )
    cautions = tuple(dict.fromkeys(c for site in content.sites for c in site.cautions))
    standing_caution = (
        "Mark and try every site on the person lying, sitting, standing and bending, away from "
        "folds, scars, bone and belt, within sight and reach of the hands."
    )
    table = Table(
        ("Site", "Skin point, LPS mm", "Abdominal wall", "Stoma height", "Ureter reaches"),
        tuple(rows),
        (1.8, 2.0, 2.2, 1.4, 3.4),
        caption=f"Candidate stoma sites as marked on the images{_when(content)}.",
    )
    return Section("sites", "Proposed sites", (table, Cautions((standing_caution, *cautions))))
