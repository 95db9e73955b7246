"""Which obstacles a work-up uses: marked ones first, else those found on the image.

Truth beside them is the phantom's own geometry (`thalweg.phantom`).
"""

from __future__ import annotations

from datetime import date
from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest

from thalweg.measure.cover import FoundCapsule, signed_distance
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult
from thalweg.plan.staging import MeasuredSite
from thalweg.progress import silent
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, Mark, Origin
from thalweg.service.obstacles import drawn_back, obstacles_for

if TYPE_CHECKING:
    from tests.conftest import OnRecord

    from thalweg.plan.staging import FreedUreter
    from thalweg.service.images import Images

DAY = date(2026, 3, 2)
PERSON = Person("OB-1", "Invented Person", date(1960, 1, 1), "female")


@cache
def abdomen() -> Phantom:
    return render(
        adult(),
        spacing_mm=(3.0, 1.8, 1.8),
        low_mm=(-140.0, -70.0, -160.0),
        high_mm=(140.0, 115.0, 130.0),
        seed=92,
    )


def freed() -> FreedUreter:
    line = abdomen().truth.left.centreline
    course = SimpleNamespace(points_mm=line.points_mm, station_mm=line.station_mm)
    pivot = abdomen().truth.pivot_station_mm["left"]
    return cast(
        "FreedUreter", SimpleNamespace(side="left", course=course, pivot_mm=pivot, facts=())
    )


def site() -> MeasuredSite:
    wall = abdomen().truth.wall
    x, y, z = (float(v) for v in wall.skin_normal(62.0, -28.0))
    return MeasuredSite("left lower", wall.skin_point(62.0, -28.0), (x, y, z), 31.0, None, 10.0)


class OneImage:
    """Gives the phantom for any series, or refuses to be asked."""

    def __init__(self, *, wanted: bool) -> None:
        self.wanted = wanted

    def volume(self, series_uid: str = "") -> Any:
        assert self.wanted, "the image was read although obstacles are marked"
        return abdomen().volume


def test_marked_obstacles_go_before_found_ones() -> None:
    mark = Mark(((0.0, 40.0, 100.0), (0.0, 40.0, -60.0)), radius_mm=25.0)
    fact = Fact("obstacle", mark, "mm", DAY, Origin("case file", "invented"), label="spine")
    case = Case(id="c", person=PERSON, facts=(fact,))
    images = cast("Images", OneImage(wanted=False))
    answer = obstacles_for(case, images, [freed()], [site()], progress=silent)
    assert answer.marks == (mark,)
    assert answer.cautions == ()


def test_without_marks_they_are_found_and_that_is_said() -> None:
    case = Case(id="c", person=PERSON, facts=())
    images = cast("Images", OneImage(wanted=True))
    answer = obstacles_for(case, images, [freed()], [site()], progress=silent)
    assert any("found on the image, not marked by a person" in said for said in answer.cautions)
    assert any("on average" in said for said in answer.cautions)
    capsules = [
        FoundCapsule("found", "bone", mark.points_mm[0], mark.points_mm[1], mark.radius_mm or 0.0)
        for mark in answer.marks
    ]
    spine = [one for one in abdomen().truth.obstacles if one.name == "spine"]
    fronts = np.array([np.subtract(one.from_mm, (0, one.radius_mm, 0)) for one in spine[1:3]])
    assert np.abs(signed_distance(capsules, fronts).min(axis=0)).max() < 3.0


def test_a_found_capsule_is_made_thinner_within_its_error_and_that_is_said() -> None:
    rod = FoundCapsule("spine", "bone", (0, 0, 0), (0, 0, 90), 20.0, 1.0, 0.5, 4.0)
    near = ("left pivot", np.array([0.0, -19.0, 40.0]))
    (thinner,), said = drawn_back([rod], [near])
    assert thinner.radius_mm == pytest.approx(19.0 - 3.0, abs=0.02)
    assert len(said) == 1
    assert "left pivot" in said[0]
    deep = ("left pivot", np.array([0.0, -5.0, 40.0]))
    (same,), silence = drawn_back([rod], [deep])
    assert same == rod
    assert silence == []


def test_a_plan_without_marks_carries_the_caution_on_every_route(small_once: OnRecord) -> None:
    routes = small_once.payload["routes"]
    assert routes
    for route in routes:
        assert any("not reckoned with" in said for said in route["cautions"])
