"""The small diagram beside each diversion, with the stoma about where it is marked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.plan.reach.diversions import CONDUITS
from thalweg.record.fact import Mark
from thalweg.sheets.document import Beside, Table, Text
from thalweg.sheets.pictures.diversions import DIAGRAMS, diversion_picture

if TYPE_CHECKING:
    from thalweg.plan.staging import MeasuredSite
    from thalweg.sheets.document import Block
    from thalweg.sheets.plan.content import PlanContent

__all__ = ["beside_diagram", "stoma_place"]

LONE = "cutaneous-single"
SHARE = 0.28
"""Of the page's width: its numbers still stand above 7 points."""


def beside_diagram(
    content: PlanContent, key: str, blocks: tuple[Text | Table, ...]
) -> tuple[Block, ...]:
    """Return the blocks with the diversion's diagram beside them, or alone where it has none.

    Parameters
    ----------
    content : PlanContent
    key : str
        The diversion's; one of a unit's own has no diagram.
    blocks : tuple of Text or Table
        What is said of it.
    """
    if key not in DIAGRAMS:
        return blocks
    side, place, site = stoma_place(content, key)
    picture = diversion_picture(key, side=side, site_mm=place, size="small", share=SHARE)
    said = picture.caption
    if place is not None and site is not None:
        said += f" Site: {site.name}{_why(content)}."
    return (Beside(replace(picture, caption=""), (*blocks, Text(said))),)


def stoma_place(
    content: PlanContent, key: str
) -> tuple[str | None, tuple[float, float] | None, MeasuredSite | None]:
    """Return the side and the place, mm from the navel, to draw a stoma at, and the site it is of.

    Parameters
    ----------
    content : PlanContent
    key : str
        Of a diversion that has a diagram.
    """
    site = _site(content, key) if DIAGRAMS[key].by_site else None
    place = None if site is None else _from_navel(content, site)
    # Where margins chose no site, a lone ureter still has its side.
    return None if place is not None else _lone_side(content, key), place, site


def _why(content: PlanContent) -> str:
    if len(content.sites) == 1:
        return ""
    return ", of those marked the one with the most margin: an example, not a choice"


def _site(content: PlanContent, key: str) -> MeasuredSite | None:
    """Return the only marked site, or the one where the ureter that has least has most margin."""
    if len(content.sites) == 1:
        return content.sites[0]
    if key in CONDUITS:
        # A conduit's ureters end at its base: their margins say nothing of the stoma's place.
        return None
    least: dict[str, float] = {}
    for route in content.routes:
        if route.diversion == key and route.site is not None and route.margin_mm is not None:
            least[route.site] = min(least.get(route.site, route.margin_mm), route.margin_mm)
    known = [site for site in content.sites if site.name in least]
    return max(known, key=lambda site: least[site.name], default=None)


def _from_navel(content: PlanContent, site: MeasuredSite) -> tuple[float, float] | None:
    """Return a site's place in mm from the navel, to the left and up.

    None without a navel, or where the two were marked on different images: their millimetres then
    have nothing in common.
    """
    umbilicus, _ = content.case.mark("umbilicus")
    marks = [fact.value for fact in site.facts if isinstance(fact.value, Mark)]
    if umbilicus is None or any(mark.series_uid != umbilicus.series_uid for mark in marks):
        return None
    navel = umbilicus.points_mm[0]
    return (site.point_mm[0] - navel[0], site.point_mm[2] - navel[2])


def _lone_side(content: PlanContent, key: str) -> str | None:
    """Return the side of the only ureter traced, where the stoma stands on its ureter's side."""
    sides = {route.side for route in content.routes if route.diversion == key}
    return sides.pop() if key == LONE and len(sides) == 1 else None
