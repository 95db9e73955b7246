"""Appraisal of reach: what each operation needs of the ureters, and that no truth is denied."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.appraisal_people import (
    CAUTIONED,
    CLOSED,
    OPEN,
    UNDECIDED,
    appraised,
    case_of,
    route_of,
    row_of,
)

from thalweg.plan.criteria.reaches import Reaches, ReachGround, Sites
from thalweg.plan.criteria.reaching import judge_reach
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.plan.appraise import RouteSummary


# ---- reach ------------------------------------------------------------------------------------


def routes_for(diversion: str, *rows: tuple[str, str, float]) -> list[RouteSummary]:
    return [route_of(diversion, side, site, margin) for side, site, margin in rows]


# What each operation needs, by definition; margins of ±10 mm doubt.
@pytest.mark.parametrize(
    ("diversion", "rows", "expected"),
    [
        ("cutaneous-bilateral", [("left", "L", 20), ("right", "R", 20)], OPEN),
        ("cutaneous-bilateral", [("left", "L", 20), ("right", "R", -20)], CLOSED),
        ("cutaneous-bilateral", [("left", "L", 20), ("right", "R", 5)], UNDECIDED),
        ("cutaneous-bilateral", [("left", "M", 20), ("right", "M", 20)], UNDECIDED),
        ("cutaneous-bilateral", [("left", "L", 20)], UNDECIDED),
        ("cutaneous-double-barrel", [("left", "M", 20), ("right", "M", 20)], OPEN),
        ("cutaneous-double-barrel", [("left", "L", 20), ("right", "R", 20)], UNDECIDED),
        (
            "cutaneous-double-barrel",
            [("left", "L", 20), ("left", "R", -20), ("right", "L", -20), ("right", "R", 20)],
            CLOSED,
        ),
        (
            "cutaneous-double-barrel",
            [("left", "L", 20), ("left", "R", -20), ("right", "L", 12), ("right", "R", 20)],
            OPEN,
        ),
        ("ileal-conduit", [("left", "base", 20), ("right", "base", 20)], OPEN),
        ("ileal-conduit", [("left", "base", -11), ("right", "base", 20)], CLOSED),
    ],
)
def test_reach_decides_by_the_best_permitted_sites(
    diversion: str, rows: list[tuple[str, str, float]], expected: str
) -> None:
    row = row_of(appraised(routes=routes_for(diversion, *rows)), diversion)
    assert row.verdict == expected


def test_ureters_too_short_for_a_colon_conduit_only_caution() -> None:
    # Short ureters are no limitation of a transverse conduit: Rink and Fisch, read.
    routes = routes_for("colon-conduit", ("left", "base", -40), ("right", "base", 20))
    row = row_of(appraised(routes=routes), "colon-conduit")
    assert row.verdict == CAUTIONED
    assert any("needs 40 mm more for the left ureter" in text for text in row.cautions)


def test_only_the_kidney_that_is_there_must_reach() -> None:
    routes = routes_for("ileal-conduit", ("left", "base", 20), ("right", "base", -30))
    for kidneys, expected in (
        ("both", CLOSED),
        ("left only", OPEN),
        ("right only", CLOSED),
        (None, UNDECIDED),
    ):
        row = row_of(appraised({"kidneys-present": kidneys}, routes=routes), "ileal-conduit")
        assert row.verdict == expected


def test_a_margin_that_could_go_either_way_says_its_figures() -> None:
    routes = routes_for("cutaneous-bilateral", ("left", "L", 20), ("right", "R", 4))
    row = row_of(appraised(routes=routes), "cutaneous-bilateral")
    said = next(text for text in row.cautions if "either way" in text)
    assert "right ureter at 'R'" in said
    assert "margin 4 mm (-6 to 14)" in said
    assert "probability 0.50" in said


def test_a_ureter_too_short_says_by_how_much_at_the_nearest_site() -> None:
    routes = routes_for("cutaneous-double-barrel", ("left", "A", -30), ("left", "B", -60))
    routes += routes_for("cutaneous-double-barrel", ("right", "A", 20), ("right", "B", 20))
    (change,) = row_of(appraised(routes=routes), "cutaneous-double-barrel").would_open
    assert "needs 30 mm more for the left ureter at 'A'" in change


def test_without_images_the_ureters_are_asked_for() -> None:
    row = row_of(appraised(routes=[]), "cutaneous-bilateral")
    assert row.verdict == UNDECIDED
    assert row.missing == ("ureter-left", "ureter-right", "stoma-site")
    assert any("trace the ureters" in text for text in row.cautions)
    conduit = row_of(appraised(routes=[]), "ileal-conduit")
    assert "conduit-base" in conduit.missing
    single = row_of(appraised({"kidneys-present": "right only"}, routes=[]), "cutaneous-single")
    assert single.missing == ("ureter-right", "stoma-site")


def test_a_caution_of_the_route_taken_reaches_the_verdict() -> None:
    routes = [
        route_of("cutaneous-bilateral", "left", "L", 90.0, cautions=("too much: it would buckle",)),
        route_of("cutaneous-bilateral", "right", "R", 20.0),
    ]
    row = row_of(appraised(routes=routes), "cutaneous-bilateral")
    assert row.verdict == CAUTIONED
    assert "too much: it would buckle" in row.cautions
    routes.append(route_of("cutaneous-bilateral", "left", "L2", 15.0))
    assert row_of(appraised(routes=routes), "cutaneous-bilateral").verdict == OPEN


@given(
    arrangement=st.sampled_from(["own", "shared", "apart"]),
    centres=st.lists(st.integers(-30, 30), min_size=4, max_size=4),
    doubts=st.lists(st.integers(0, 15), min_size=4, max_size=4),
    shares=st.lists(st.floats(-1, 1), min_size=4, max_size=4),
)
@settings(max_examples=150, deadline=None)
def test_reach_is_never_promised_or_denied_against_a_possible_truth(
    arrangement: Sites, centres: list[int], doubts: list[int], shares: list[float]
) -> None:
    # Two ureters, two sites, true margins anywhere within their intervals; whether they reach in
    # truth is found by trying the choices of sites that the operation permits.
    places = [(side, site) for side in ("left", "right") for site in ("A", "B")]
    routes = tuple(
        route_of("x", side, site, float(centre), float(doubt))
        for (side, site), centre, doubt in zip(places, centres, doubts, strict=True)
    )
    true = {
        place: centre + share * doubt
        for place, centre, doubt, share in zip(places, centres, doubts, shares, strict=True)
    }
    permitted = {
        "own": ["AA", "AB", "BA", "BB"],
        "shared": ["AA", "BB"],
        "apart": ["AB", "BA"],
    }[arrangement]
    reaches = any(true["left", pair[0]] >= 0 and true["right", pair[1]] >= 0 for pair in permitted)
    case = case_of({"kidneys-present": "both"})
    ground = ReachGround(case.latest("kidneys-present"), routes, True, 0.0)
    truth = judge_reach(Reaches("each", arrangement, ()), ground).truth
    assert truth is Truth.NOT_KNOWN or truth is Truth.of(reaches)


# ---- three-valued logic -----------------------------------------------------------------------
