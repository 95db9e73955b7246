"""The map over the front: its zero line, its odds and what must always hold.

Truth: Euclid for straight routes to a flat wall (the zero line is a circle); the one-route solver
and its sampling at the same sites; probability's own rules for two ureters.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from thalweg.plan.reach import Scene, margin_map, scene_from, solve_scene
from thalweg.plan.reach.front import FrontMap, SiteMask
from thalweg.plan.reach.map_types import TOLERANCE_MM, SiteGrid
from thalweg.plan.reach.odds import HARDLY, STATES, SURELY, odds_of

if TYPE_CHECKING:
    from thalweg.plan.reach.odds import SiteOdds

SKIN_Y = -100.0
HEIGHT = 10.0
NO_DOUBT = {
    "tracing_share": 0.0, "wall_mm": 0.0, "pivot_mm": 0.0, "trim_mm": 0.0, "stretch_share": 0.0,
}  # fmt: skip


def flat(*, radius: float = 0.0, free: float = 135.0, sites: Any = (), **more: Any) -> Scene:
    """Return two straight ureters behind a flat wall; nothing in the way unless given."""
    ureters = {
        side: {
            "points_mm": [[x, 0.0, 0.0], [x, 0.0, -300.0]],
            "pivot_mm": 40.0,
            "division_mm": 40.0 + free,
            "trim_mm": 0.0,
        }
        for side, x in (("left", 40.0), ("right", -40.0))
    }
    table = {
        "least_bend_radius_mm": radius,
        "clearance_mm": 3.0,
        "ureter": ureters,
        "site": list(sites),
        **more,
    }
    return scene_from(table, Path(), without_sites=True)


def front_of(scene: Scene, wall: float = 30.0, step: float = 5.0) -> FrontMap:
    """Return the map of a flat front."""
    x, z = np.arange(-120.0, 121.0, step), np.arange(-160.0, 81.0, step)
    across, up = (part.ravel() for part in np.meshgrid(x, z, indexing="ij"))
    count = across.size
    sites = SiteGrid(
        np.column_stack([across, np.full(count, SKIN_Y), up]),
        np.tile([0.0, -1.0, 0.0], (count, 1)),
        np.full(count, wall),
        np.full(count, HEIGHT),
    )
    found = margin_map(scene, sites)
    row = np.arange(count).reshape(len(x), len(z))
    nowhere = np.zeros(row.shape, dtype=bool)
    return FrontMap(x, z, row, nowhere, sites, odds_of(scene, found))


def view_of(front: FrontMap, whose: str) -> SiteOdds:
    (view,) = [each for each in front.views if each.whose == whose]
    return view


@pytest.mark.parametrize(("side", "x"), [("left", 40.0), ("right", -40.0)])
def test_the_zero_line_is_the_circle_of_euclid(side: str, x: float) -> None:
    front = front_of(flat())
    depth, straight = 100.0 - 30.0, 135.0 - 30.0 - HEIGHT
    radius = np.sqrt(straight**2 - depth**2)
    (line,) = front.zero_line(view_of(front, side))
    away = np.hypot(line[:, 0] - x, line[:, 1] + 40.0)
    # Between places 5 mm apart the margin is taken as linear: off by less than 0.1 mm here.
    assert away == pytest.approx(np.full(len(away), radius), abs=0.1)
    assert line[0] == pytest.approx(line[-1])  # closed


def test_both_to_one_stoma_is_where_the_two_circles_overlap() -> None:
    front = front_of(flat())
    left, right, both = (view_of(front, each) for each in ("left", "right", "both"))
    assert both.margin_mm == pytest.approx(np.minimum(left.margin_mm, right.margin_mm))
    reached = both.margin_mm >= 0
    assert reached.any()
    assert (reached == ((left.margin_mm >= 0) & (right.margin_mm >= 0))).all()
    assert (both.probability <= np.minimum(left.probability, right.probability) + 1e-12).all()


def test_a_thicker_wall_never_enlarges_the_region() -> None:
    scene = flat(radius=8.0, free=140.0)
    before: dict[str, Any] = {}
    for wall in (15.0, 25.0, 35.0):
        front = front_of(scene, wall, step=20.0)
        for view in front.views:
            reached = np.nan_to_num(view.margin_mm, nan=-1.0) >= 0
            assert reached.any()
            if view.whose in before:
                assert not (reached & ~before[view.whose]).any()
                assert reached.sum() < before[view.whose].sum()
            before[view.whose] = reached


def test_margins_and_odds_are_those_of_single_routes() -> None:
    """The same doubts and the same draws; slopes may differ where a body bends the route."""
    names = [(-60.0, -90.0), (-20.0, -120.0), (60.0, -40.0), (80.0, -100.0), (20.0, 0.0)]
    listed = [
        {
            "name": f"{x:g} {z:g}", "point_mm": [x, SKIN_Y, z], "normal": [0.0, -1.0, 0.0],
            "wall_mm": 30.0, "height_mm": HEIGHT,
        }
        for x, z in names
    ]  # fmt: skip
    rod = {"kind": "capsule", "from_mm": [0, -45, 60], "to_mm": [0, -45, -200], "radius_mm": 14}
    scene = flat(
        radius=8.0, free=145.0, sites=listed, obstacle=[rod], diversions=["cutaneous-single"]
    )
    marked = SiteGrid(
        np.array([site.point for site in scene.sites]),
        np.array([site.normal for site in scene.sites]),
        np.full(len(names), 30.0),
        np.full(len(names), HEIGHT),
    )
    views = {view.whose: view for view in odds_of(scene, margin_map(scene, marked))}
    checked, doubtful = 0, 0
    for route in solve_scene(scene):
        view = views["left" if route.side == "left" else "right"]
        row = [site.name for site in scene.sites].index(str(route.site))
        if route.margin_mm is None or route.probability_reaches is None:
            continue
        if view.at_most[row]:
            assert route.margin_mm <= view.margin_mm[row] + 1e-6
            assert route.probability_reaches <= view.probability[row] + 1e-9
            continue
        checked += 1
        doubtful += 0.01 < route.probability_reaches < 0.99
        assert view.margin_mm[row] == pytest.approx(route.margin_mm, abs=TOLERANCE_MM)
        # One sample in fifty, where the margin itself may differ by the tolerance.
        assert view.probability[row] == pytest.approx(route.probability_reaches, abs=0.02)
    assert checked >= 6
    assert doubtful >= 1


def test_states_follow_the_central_95_percent() -> None:
    front = front_of(flat(free=150.0))
    for view in front.views:
        sure, not_so = view.probability >= SURELY, view.probability <= HARDLY
        assert (np.array(view.states())[sure] == "reaches").all()
        assert (np.array(view.states())[not_so] == "short").all()
        assert {"reaches", "uncertain", "short"} == set(view.states())
        counts = front.counts(view)
        assert sum(counts.values()) == len(front.sites.point)
        assert set(counts) == {*STATES, "not known"}


def test_one_wall_is_one_doubt_and_two_tracings_are_two() -> None:
    """Only the wall in doubt: both reach as often as the worse. Only tracing: as the product."""
    wall = front_of(flat(doubt={**NO_DOUBT, "wall_mm": 6.0}), step=10.0)
    left, right, both = (view_of(wall, each).probability for each in ("left", "right", "both"))
    assert both == pytest.approx(np.minimum(left, right), abs=1e-12)
    tracing = front_of(flat(doubt={**NO_DOUBT, "tracing_share": 0.06}, samples=20_000), step=20.0)
    left, right, both = (view_of(tracing, each).probability for each in ("left", "right", "both"))
    unsure = (both > 0.05) & (both < 0.95)
    assert unsure.any()
    # Five standard errors of 20 000 samples.
    assert both[unsure] == pytest.approx((left * right)[unsure], abs=0.018)


def test_each_site_may_have_its_own_doubt_of_the_wall() -> None:
    scene = flat(doubt={**NO_DOUBT, "wall_mm": 4.0})
    front = front_of(scene, step=20.0)
    same = replace(front.sites, wall_sd_mm=np.full(len(front.sites.point), 4.0))
    vaguer = replace(front.sites, wall_sd_mm=np.full(len(front.sites.point), 12.0))
    plain, told, vague = (
        odds_of(scene, margin_map(scene, sites))[0] for sites in (front.sites, same, vaguer)
    )
    assert told.probability == pytest.approx(plain.probability, abs=0)
    below = (plain.margin_mm < -2) & ~vague.at_most & ~plain.at_most
    assert (vague.probability[below] >= plain.probability[below]).all()
    assert (vague.probability[below] > plain.probability[below]).any()


def test_a_mask_keeps_the_best_place_out_of_it() -> None:
    front = front_of(flat(), step=10.0)
    view = view_of(front, "left")
    best = front.best(view)
    assert best is not None
    where = front.row == best
    moved = replace(front, masks=(SiteMask("scar", where),))
    second = moved.best(view)
    assert second is not None
    assert second != best
    assert view.margin_mm[second] <= view.margin_mm[best]
    everywhere = replace(front, masks=(SiteMask("fold", np.ones_like(where)),))
    assert everywhere.best(view) is None
    with pytest.raises(ValueError, match="fold"):
        replace(front, masks=(SiteMask("fold", where[1:]),))
