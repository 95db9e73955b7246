"""Where a donor joins, against the triangle of donor, recipient and junction."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from thalweg.plan.reach import Scene, Solver, scene_from
from thalweg.plan.reach.diversions import TRANSURETERO, Leg, legs
from thalweg.plan.reach.junction import Junction, best_junction

WIDTH = 80.0
"""Between the two pivots, mm."""


def pair(donor_division: float) -> Scene:
    """Return two ureters that bend freely and a site forward of the left one; nothing between."""
    lines = {"left": (40.0, 220.0), "right": (-40.0, donor_division)}
    return scene_from(
        {
            "least_bend_radius_mm": 0,
            "clearance_mm": 0,
            "ureter": {
                side: {
                    "points_mm": [[x, 0, 0], [x, 0, -240]],
                    "pivot_mm": 60,
                    "division_mm": division,
                    "trim_mm": 10,
                }
                for side, (x, division) in lines.items()
            },
            "site": [
                {
                    "name": "left",
                    "point_mm": [40, -140, -80],
                    "normal": [0, -1, 0],
                    "wall_mm": 20,
                    "height_mm": 5,
                }
            ],
        },
        Path(),
    )


def joined(scene: Scene) -> Junction:
    solver = Solver(scene)
    (recipient,) = [leg for leg in legs(scene, TRANSURETERO) if isinstance(leg, Leg)]
    path, donor = solver.path(recipient), scene.ureter("right")
    assert path is not None
    assert donor is not None
    found = best_junction(scene, solver.ways, donor, recipient, path.chain)
    assert found is not None
    return found


def test_with_length_to_spare_it_lies_along_the_stream() -> None:
    """Recipient and donor span a right angle at the recipient's pivot, so sines and Pythagoras do.

    Joining ``d`` farther down asks ``√(w² + d²)`` of the donor and meets at ``atan(w / d)``.
    """
    found = joined(pair(220.0))
    assert found.squarest is not None
    assert found.squarest.path.length_mm == pytest.approx(WIDTH, abs=0.1)
    assert found.squarest.angle_deg == pytest.approx(90.0, abs=2.0)
    assert 56.0 <= found.angle_deg <= 60.0
    assert found.station_mm == pytest.approx(WIDTH / math.tan(math.radians(found.angle_deg)), 1e-3)
    assert found.path.length_mm == pytest.approx(math.hypot(WIDTH, found.station_mm), abs=1e-6)
    end = found.path.chain.joints()[1][-1]
    down = np.array([0.0, -120.0, -20.0]) / math.hypot(120, 20)
    assert end == pytest.approx(np.array([40.0, 0, -60]) + found.station_mm * down, abs=1e-6)


def test_a_donor_that_only_just_reaches_joins_squarely() -> None:
    found = joined(pair(60 + 10 + WIDTH + 5))
    assert found.squarest is None
    assert found.angle_deg == pytest.approx(90.0, abs=2.0)
    assert found.path.length_mm == pytest.approx(WIDTH, abs=0.1)


def test_both_lengths_are_said() -> None:
    scene = pair(220.0)
    (recipient,) = [leg for leg in legs(scene, TRANSURETERO) if isinstance(leg, Leg)]
    told = Solver(scene).donor(recipient)
    found = joined(scene)
    assert found.squarest is not None
    more = found.path.length_mm - found.squarest.path.length_mm
    assert any(f"{more:.1f} mm less" in said for said in told.cautions)
    assert told.required_mm == pytest.approx(found.path.length_mm, abs=1e-9)
