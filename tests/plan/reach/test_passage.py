"""The left ureter's passage behind the sigmoid mesentery, against Euclid and resampling."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thalweg.errors import InputError
from thalweg.plan.reach import RouteResult, scene_from, solve_scene
from thalweg.plan.reach.diversions import NO_PASSAGE, RIGHT_CROSSES
from thalweg.plan.reached import Ground, margin_finding, summarised

PASSAGE = np.array([5.0, -15.0, -90.0])
BASE = np.array([-25.0, -20.0, -100.0])
PIVOT = np.array([40.0, 0.0, -50.0])


def scene(*, radius: float = 0.0, passage: Any = PASSAGE, **more: Any) -> Any:
    ureters = {
        side: {
            "points_mm": [[x, 0, 0], [x, 0, -250]], "pivot_mm": 50, "division_mm": 220,
            "trim_mm": 10,
        }
        for side, x in (("left", 40), ("right", -40))
    }  # fmt: skip
    site = {
        "name": "right", "point_mm": [-60, -110, -100], "normal": [0, -1, 0], "wall_mm": 30,
        "height_mm": 10,
    }  # fmt: skip
    table = {
        "least_bend_radius_mm": radius,
        "clearance_mm": 3,
        "diversions": ["transuretero-cutaneous", "ileal-conduit"],
        "ureter": ureters,
        "site": [site],
        "conduit": [{"site": "right", "base_mm": BASE.tolist()}],
        **({} if passage is None else {"left_passage_mm": np.asarray(passage).tolist()}),
        **more,
    }
    return scene_from(table, Path())


def routes(made: Any) -> dict[tuple[str, str], RouteResult]:
    return {(route.diversion, str(route.side)): route for route in solve_scene(made)}


def test_a_marked_passage_is_passed_and_paid_for_exactly() -> None:
    found = routes(scene())
    conduit = found["ileal-conduit", "left"]
    by_way = np.linalg.norm(PASSAGE - PIVOT) + np.linalg.norm(BASE - PASSAGE)
    assert conduit.required_mm == pytest.approx(by_way, abs=1e-3)
    donor = found["transuretero-cutaneous", "left"]
    for route in (conduit, donor):
        assert route.points_mm is not None
        assert np.linalg.norm(route.points_mm - PASSAGE, axis=1).min() < 0.01
        assert NO_PASSAGE not in route.cautions
    assert donor.joined is not None
    assert donor.required_mm == pytest.approx(
        np.linalg.norm(PASSAGE - PIVOT) + np.linalg.norm(donor.joined.point_mm - PASSAGE), abs=1e-3
    )
    assert (
        donor.joined.angle_deg == pytest.approx(90.0, abs=3.0)
        or "oblique" in " ".join(donor.cautions)
        or "along the stream" in " ".join(donor.cautions)
    )


def test_an_unmarked_passage_makes_the_margin_the_most_it_can_be_and_says_so() -> None:
    marked, unmarked = routes(scene()), routes(scene(passage=None))
    for key in (("ileal-conduit", "left"), ("transuretero-cutaneous", "left")):
        free, held = unmarked[key], marked[key]
        assert free.required_mm is not None
        assert held.required_mm is not None
        assert free.required_mm <= held.required_mm + 1e-6
        assert NO_PASSAGE in free.cautions
        finding = margin_finding(free, Ground(date(2026, 3, 2)))
        assert finding is not None
        assert NO_PASSAGE in finding.cautions
        (judged,) = summarised([free], {})
        assert NO_PASSAGE in judged.cautions
    straight = float(np.linalg.norm(BASE - PIVOT))
    assert unmarked["ileal-conduit", "left"].required_mm == pytest.approx(straight, abs=1e-6)
    right = unmarked["ileal-conduit", "right"]
    assert NO_PASSAGE not in right.cautions
    assert RIGHT_CROSSES not in right.cautions


def test_the_passage_s_doubt_is_what_moving_it_about_gives() -> None:
    """To first order the length answers by the jump of the pull: |u − v| for unit headings."""
    sd = 3.0
    only = {
        "tracing_share": 0.0, "wall_mm": 0.0, "pivot_mm": 0.0, "trim_mm": 0.0, "stretch_share": 0.0,
        "passage_mm": sd,
    }  # fmt: skip
    found = routes(scene(doubt=only))["ileal-conduit", "left"]
    (passage,) = [item for item in found.contributions if item.name == "passage"]
    into, out = PASSAGE - PIVOT, BASE - PASSAGE
    jump = np.linalg.norm(into / np.linalg.norm(into) - out / np.linalg.norm(out))
    assert passage.sd_mm == pytest.approx(sd * jump, rel=0.06)
    assert passage.share == pytest.approx(1.0)
    moved = PASSAGE + sd * np.random.default_rng(8).standard_normal((20_000, 3))
    lengths = np.linalg.norm(moved - PIVOT, axis=1) + np.linalg.norm(moved - BASE, axis=1)
    assert passage.sd_mm == pytest.approx(lengths.std(), rel=0.08)
    unmarked = routes(scene(passage=None, doubt=only))["ileal-conduit", "left"]
    assert "passage" not in [item.name for item in unmarked.contributions]


def test_with_a_bend_radius_it_is_passed_without_a_kink() -> None:
    found = routes(scene(radius=12.0))["ileal-conduit", "left"]
    assert found.points_mm is not None
    assert found.least_bend_radius_mm is not None
    assert found.least_bend_radius_mm >= 12.0 - 1e-4
    assert np.linalg.norm(found.points_mm - PASSAGE, axis=1).min() < 0.01
    kinked = routes(scene())["ileal-conduit", "left"]
    assert kinked.required_mm is not None
    assert found.required_mm is not None
    assert found.required_mm > kinked.required_mm


def test_a_passage_inside_a_body_is_refused_and_one_too_near_is_no_route() -> None:
    ball = {"kind": "sphere", "at_mm": PASSAGE.tolist(), "radius_mm": 8}
    with pytest.raises(InputError, match="left_passage_mm"):
        scene(obstacle=[ball])
    near = {"kind": "sphere", "at_mm": [5.0, -6.0, -90.0], "radius_mm": 8}
    found = routes(scene(obstacle=[near]))["ileal-conduit", "left"]
    assert found.required_mm is None
    assert any("passage behind the sigmoid" in said for said in found.cautions)
