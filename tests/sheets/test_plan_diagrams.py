"""The diagram in the plan stands for this person: its stoma about where theirs is marked."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import pytest
from tests.support.svgs import Drawn

from thalweg.plan.reach import RouteResult
from thalweg.plan.staging import MeasuredSite
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, Mark, Origin
from thalweg.sheets.document import Beside, Text
from thalweg.sheets.plan.diagrams import beside_diagram

if TYPE_CHECKING:
    from thalweg.sheets.plan.content import PlanContent

DAY = date(2026, 4, 1)
JOINED = "transuretero-cutaneous"
NAVEL = (5.0, -120.0, 900.0)
SITES = {"left upper": (70.0, 40.0), "right lower": (-62.0, -28.0)}
"""Millimetres from the navel, to the left and up."""


def marked(key: str, point: tuple[float, float, float], label: str = "", on: str = "1.2") -> Fact:
    return Fact(key, Mark((point,), series_uid=on), "mm", DAY, Origin("by hand"), label=label)


def site(name: str, on: str = "1.2") -> MeasuredSite:
    x, z = SITES[name]
    point = (NAVEL[0] + x, -118.0, NAVEL[2] + z)
    fact = marked("stoma-site", point, name, on)
    return MeasuredSite(name, point, (0.0, -1.0, 0.0), 25.0, 3.0, 10.0, (fact,))


def content(
    names: tuple[str, ...] = tuple(SITES),
    routes: tuple[RouteResult, ...] = (),
    *,
    on: str = "1.2",
    navel: bool = True,
) -> PlanContent:
    facts = (marked("umbilicus", NAVEL),) if navel else ()
    case = Case("c", Person("r", "A Person", date(1960, 1, 1), "female"), facts)
    sites = tuple(site(name, on) for name in names)
    return cast("PlanContent", SimpleNamespace(case=case, sites=sites, routes=routes))


def route(key: str, side: str, where: str, margin: float | None) -> RouteResult:
    return RouteResult(key, side, where, margin_mm=margin)


def shown(key: str, what: PlanContent) -> tuple[tuple[float, float], str]:
    """Return where the stoma is drawn and what is said of it."""
    (block,) = beside_diagram(what, key, (Text("told"),))
    assert isinstance(block, Beside)
    (stoma,) = Drawn(block.picture.data).all("stoma")
    assert block.blocks[0] == Text("told")
    said = block.blocks[-1]
    assert isinstance(said, Text)
    return (float(stoma.get("cx", "0")), float(stoma.get("cy", "0"))), said.text


def test_the_only_site_is_where_the_stoma_is_drawn() -> None:
    (x, y), said = shown("ileal-conduit", content(("right lower",)))
    assert x < 150
    assert y > 190
    assert said.endswith("Site: right lower.")
    (x, y), said = shown("ileal-conduit", content(("left upper",)))
    assert x > 150
    assert y < 190


def test_of_several_it_is_the_one_whose_shorter_ureter_has_most() -> None:
    key = "cutaneous-double-barrel"
    routes = (
        route(key, "left", "left upper", 60.0),
        route(key, "right", "left upper", -20.0),
        route(key, "left", "right lower", 5.0),
        route(key, "right", "right lower", 30.0),
        route("cutaneous-single", "left", "left upper", 90.0),
    )
    (x, _), said = shown(key, content(routes=routes))
    assert x < 150
    assert "Site: right lower, of those marked the one with the most margin" in said
    assert "not a choice" in said


@pytest.mark.parametrize(
    ("what", "key"),
    [
        (content(), "cutaneous-double-barrel"),  # no margins
        (content(routes=(route("ileal-conduit", "left", "left upper", 9.0),)), "ileal-conduit"),
        (content(("left upper",), on="9.9"), "ileal-conduit"),  # marked on other images
        (content(("left upper",), navel=False), "ileal-conduit"),
        (content(routes=(route(JOINED, "left", "left upper", None),)), JOINED),
    ],
)  # fmt: skip
def test_where_no_place_is_known_none_is_claimed(what: PlanContent, key: str) -> None:
    usual, said = shown(key, content((), navel=False))
    place, claimed = shown(key, what)
    assert place == usual
    assert claimed == said
    assert "Site" not in claimed
    assert "marked" not in claimed


def test_a_lone_ureter_keeps_its_side() -> None:
    left = content((), (route("cutaneous-single", "left", "s", None),))
    (x, _), _ = shown("cutaneous-single", left)
    assert x > 150


def test_a_diversion_of_the_units_own_has_words_only() -> None:
    assert beside_diagram(content(), "our-own-way", (Text("told"),)) == (Text("told"),)
