"""The nearest change: taken, it opens the option; a hair less does not; and no step is idle."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from importlib.resources import files
from tomllib import loads
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.appraisal_people import (
    ADULT,
    CLOSED,
    FAVOURABLE,
    RECENT,
    SPLIT,
    TODAY,
    appraised,
    case_of,
    gfr_of,
    plenty,
    route_of,
    row_of,
)

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.form import Asked
from thalweg.plan.appraise import appraise
from thalweg.plan.catalogue import catalogue
from thalweg.plan.nearest import nearest_changes
from thalweg.plan.nearest.changeable import Changeable, changeable
from thalweg.plan.nearest.find import Supposed, suppose
from thalweg.plan.nearest.levers import Levers
from thalweg.plan.nearest.step import Amount, Step
from thalweg.plan.nearest.ways import together
from thalweg.plan.reach import scene_from, solve_scene
from thalweg.plan.reached import summarised
from thalweg.record.case import Person
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from thalweg.plan.criteria.reaches import RouteSummary
    from thalweg.plan.nearest import Nearest
    from thalweg.plan.reach import Scene
    from thalweg.record.finding import Finding

Changes = dict[str, bool | str | None]
INFANT = Person("T-3", "Invented Infant", date(2025, 3, 1), "male")


def nearest_of(
    changes: Changes | None = None,
    *,
    gfr: Finding | None = None,
    routes: list[RouteSummary] | None = None,
    more: tuple[Fact, ...] = (SPLIT,),
    person: Person = ADULT,
    theirs: Mapping[str, object] | None = None,
) -> Mapping[str, Nearest]:
    """Return the nearest changes of the favourable person with some changes."""
    values = {**FAVOURABLE, **(changes or {})}
    kept = {key: value for key, value in values.items() if value is not None}
    case = case_of(kept, *more, person=person)
    findings = [gfr if gfr is not None else gfr_of(92.0)]
    ways = plenty() if routes is None else routes
    rules = catalogue()
    base = appraise(case, findings, ways, rules, TODAY)
    return nearest_changes(base, case, findings, ways, rules, theirs=theirs)


# ---- taken, it opens; a hair less does not -------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "now", "limit"),
    [("neobladder", 29.0, 35.0), ("continent-pouch", 34.9, 35.0), ("jejunal-conduit", 40.0, 50.0)],
)
def test_a_rate_that_is_too_low_opens_at_the_limit_and_not_a_hair_below(
    key: str, now: float, limit: float
) -> None:
    changes: Changes = {}
    if key == "jejunal-conduit":
        changes = {"bowel-irradiated": True, "colon-usable": False}
    (step,) = nearest_of(changes, gfr=gfr_of(now))[key].steps
    assert step.amount is not None
    assert step.amount.limit == limit
    assert step.amount.gap == pytest.approx(limit - now)
    assert row_of(appraised(changes, gfr=gfr_of(step.amount.limit)), key).verdict != CLOSED
    assert row_of(appraised(changes, gfr=gfr_of(step.amount.limit - 1e-6)), key).verdict == CLOSED


def test_a_rate_in_doubt_says_what_its_whole_interval_would_need() -> None:
    (step,) = nearest_of(gfr=gfr_of(29.0, (26.0, 33.0)))["neobladder"].steps
    assert step.amount is not None
    # 35 for the estimate; 38 so that 38 - (29 - 26) is 35.
    assert step.amount.sure == pytest.approx(38.0)
    assert "now 29 (26 to 33) mL/min/1.73 m² (2026-02-10)" in step.says
    assert "6 mL/min/1.73 m² more by the estimate, 9 mL/min/1.73 m² more" in step.says
    sure = gfr_of(38.0, (35.0, 42.0))
    assert row_of(appraised(gfr=sure), "neobladder").verdict != CLOSED


def test_creatinine_in_other_units_falls_to_its_limit() -> None:
    high = Fact("creatinine", Decimal("176.8"), "umol/L", RECENT.replace(day=20), Origin("by hand"))
    (step,) = nearest_of(more=(SPLIT, high))["ureterosigmoidostomy"].steps
    assert step.amount is not None
    # 176.8 µmol/L is 2.0 mg/dL (molar mass 113.118 g/mol).
    assert step.amount.now == pytest.approx(2.0, abs=1e-3)
    assert (step.amount.limit, step.amount.unit) == (1.5, "mg/dL")
    assert step.amount.gap < 0
    assert "0.5 mg/dL less" in step.says
    for value, shut in (("1.5", False), ("1.501", True)):
        again = replace(high, value=Decimal(value), unit="mg/dL")
        row = row_of(appraised(more=(SPLIT, again)), "ureterosigmoidostomy")
        assert (row.verdict == CLOSED) == shut


REQUIRED_FACTS = [
    (way.key, leaf.name)
    for way in catalogue().diversions
    for one in way.criteria
    if one.strength == "required"
    for leaf in one.holds.leaves()
    if isinstance(leaf, Asked) and leaf.name in FAVOURABLE
]


@pytest.mark.parametrize(("way", "key"), sorted(set(REQUIRED_FACTS)))
def test_every_answer_that_closes_an_option_is_named_and_put_right_opens_it(
    way: str, key: str
) -> None:
    row = concept(key)
    person = INFANT if way == "cutaneous-loop" else ADULT
    answers = (True, False) if row.kind == "yes-no" else row.choices

    def verdict(changes: Changes) -> str:
        return row_of(appraised(changes, person=person), way).verdict

    for answer in answers:
        if verdict({key: answer}) != CLOSED:
            continue
        found = nearest_of({key: answer}, person=person)[way]
        right: Changes = {step.name: str_or_bool(step.words[0]) for step in found.steps}
        assert verdict({key: answer, **right}) == found.then != CLOSED
        # One fewer of the answers leaves it closed.
        for left in right:
            fewer: Changes = {one: value for one, value in right.items() if one != left}
            assert verdict({key: answer, **fewer}) == CLOSED


def str_or_bool(value: object) -> bool | str:
    assert isinstance(value, bool | str)
    return value


ANY_ANSWERS = st.fixed_dictionaries(
    {},
    optional={
        key: st.sampled_from(
            [True, False] if concept(key).kind == "yes-no" else concept(key).choices
        )
        for key in FAVOURABLE
    },
)
MARGINS = st.lists(st.sampled_from([-50.0, -30.0, 0.0, 30.0]), min_size=4, max_size=4)


@given(known=ANY_ANSWERS, margins=st.none() | MARGINS, gfr=st.none() | st.floats(5, 120))
@settings(max_examples=30, deadline=None)
def test_tried_it_opens_and_no_step_is_idle(
    known: dict[str, bool | str], margins: list[float] | None, gfr: float | None
) -> None:
    rules = catalogue()
    places = [(side, site) for side in ("left", "right") for site in ("L", "R")]
    routes = [
        route_of(way.key, side, site, margin)
        for way in rules.diversions
        for (side, site), margin in zip(places, margins or (), strict=bool(margins))
    ]
    findings = [] if gfr is None else [gfr_of(gfr)]
    case = case_of(known, SPLIT)
    base = appraise(case, findings, routes, rules, TODAY)
    found = nearest_changes(base, case, findings, routes, rules)
    assert set(found) == {one.diversion.key for one in base.diversions if one.verdict == CLOSED}
    person = Supposed(case, tuple(findings), tuple(routes))
    for key, one in found.items():
        keys = rules.diversion(key).reach_keys
        alone = replace(rules, diversions=(rules.diversion(key),))
        then = suppose(one.steps, person, keys, TODAY)
        after = appraise(then.case, then.findings, then.routes, alone, TODAY)
        assert row_of(after, key).verdict == one.then != CLOSED
        assert row_of(after, key).missing == one.missing
        for left in range(len(one.steps)):
            fewer = [step for number, step in enumerate(one.steps) if number != left]
            then = suppose(fewer, person, keys, TODAY)
            again = appraise(then.case, then.findings, then.routes, alone, TODAY)
            assert row_of(again, key).verdict == CLOSED


# ---- several ways, and which is nearest ----------------------------------------------------------


def test_hands_or_a_helper_and_the_one_that_can_be_arranged_comes_first() -> None:
    found = nearest_of({"dexterity": "limited"})["neobladder"]
    assert [step.name for step in found.steps] == ["helper-at-home"]
    assert [[step.name for step in way] for way in found.others] == [["dexterity"]]
    assert found.can == "changeable"
    assert "arrange a helper" in found.steps[0].says


def test_what_cannot_change_is_said_and_rules_the_whole() -> None:
    found = nearest_of({"urethral-margin-tumour": True}, gfr=gfr_of(30.0))["neobladder"]
    assert [step.name for step in found.steps] == ["urethral-margin-tumour", "gfr-to-rely-on"]
    assert found.can == "not changeable"
    assert "Not changeable: tumour at the margin stays" in found.steps[0].says
    assert found.outcome == "All 2 together would make it open with cautions"


def test_what_would_still_be_missing_is_said() -> None:
    found = nearest_of({"urethral-margin-tumour": True, "liver-failure": None})["neobladder"]
    assert found.then == "not yet decidable"
    assert found.missing == ("liver-failure",)
    assert found.outcome.endswith("for want of liver-failure")


def test_a_better_segment_is_no_misfortune() -> None:
    found = nearest_of()["jejunal-conduit"]
    assert {step.name for step in found.steps} == {"bowel-irradiated", "colon-usable"}
    assert all("a better segment" in step.change.how for step in found.steps)


def test_an_age_cannot_be_put_right() -> None:
    (step,) = nearest_of()["cutaneous-loop"].steps
    assert step.change.can == "not changeable"
    assert step.amount is not None
    assert (step.amount.limit, step.amount.unit, step.amount.counts) == (18.0, "a", False)


def a_step(name: str, now: float, limit: float, *words: bool) -> Step:
    amount = None if words else Amount(now, None, limit, "mm", limit)
    return Step(
        name, name, name, "now", None, Changeable.unjudged(name), words=words, amount=amount
    )


def test_steps_on_one_thing_become_the_stricter_and_contradictions_drop_out() -> None:
    weak, strong, other = a_step("a", 10, 20), a_step("a", 10, 30), a_step("a", 10, 5)
    assert together([((weak,),), ((strong,),)]) == ((strong,),)
    assert together([((weak,),), ((other,),)]) == ()
    yes, no = a_step("b", 0, 0, True), a_step("b", 0, 0, False)
    assert together([((yes,), (strong,)), ((no,),)]) == ((strong, no),)
    assert together([]) == ((),)


# ---- reach ---------------------------------------------------------------------------------------


def test_the_least_short_places_are_taken_and_the_others_named() -> None:
    # Double barrel: both at one site. A lacks 14 + 0, B lacks 5 + 40.
    routes = [
        route_of("cutaneous-double-barrel", "left", "A", -14.0),
        route_of("cutaneous-double-barrel", "right", "A", 20.0),
        route_of("cutaneous-double-barrel", "left", "B", -11.0),
        route_of("cutaneous-double-barrel", "right", "B", -40.0),
    ]
    found = nearest_of(routes=routes)["cutaneous-double-barrel"]
    (step,) = found.steps
    assert (step.name, step.site) == ("reach-left", "A")
    assert step.amount is not None
    assert (step.amount.now, step.amount.gap, step.amount.sure) == (-14.0, 14.0, 10.0)
    (lever,) = step.levers
    assert (lever.kind, lever.site, lever.enough) == ("site", "B", False)
    assert "'B' gives 3 mm more: margin -11 mm (-21 to -1)" in lever.says
    assert [[one.site for one in way] for way in found.others] == [["B", "B"]]
    # Given the 24 mm that its whole interval lacks it is open; a hair less leaves it undecided.
    for more, verdict in ((24.0, "open"), (23.999, "not yet decidable"), (3.9, CLOSED)):
        moved = [replace_margin(routes[0], more), *routes[1:]]
        assert row_of(appraised(routes=moved), "cutaneous-double-barrel").verdict == verdict


def replace_margin(route: RouteSummary, more: float) -> RouteSummary:
    low, high = route.margin_interval_mm
    return replace(
        route, margin_mm=route.margin_mm + more, margin_interval_mm=(low + more, high + more)
    )


def a_scene(
    folder: Path, *, pivot: float = 60.0, division: float = 150.0, wall: float = 30.0
) -> Scene:
    """Return a straight ureter down from the kidney and one site in front of it."""
    table = {
        "least_bend_radius_mm": 12,
        "clearance_mm": 3,
        "diversions": ["cutaneous-single"],
        "ureter": {
            "left": {
                "points_mm": [[40, 0, 0], [40, 0, -240]],
                "pivot_mm": pivot,
                "division_mm": division,
                "trim_mm": 10,
            }
        },
        "site": [
            {
                "name": "left lower",
                "point_mm": [60, -120, -60],
                "normal": [0, -1, 0],
                "wall_mm": wall,
                "height_mm": 10,
            }
        ],
    }
    return scene_from(table, folder)


def routes_on(scene: Scene) -> tuple[RouteSummary, ...]:
    return summarised(solve_scene(scene), {})


def test_a_lower_division_is_enough_and_a_millimetre_less_is_not(tmp_path: Path) -> None:
    scene = a_scene(tmp_path)
    (route,) = routes_on(scene)
    assert route.margin_mm < 0
    lever = Levers([route], scene, 0.0)(route, -route.margin_mm)[0]
    assert (lever.kind, lever.enough) == ("division", True)
    assert lever.room_mm == pytest.approx(90.0)
    assert lever.move_mm == pytest.approx(-route.margin_mm)
    moved = a_scene(tmp_path, division=150.0 + (lever.move_mm or 0.0))
    assert routes_on(moved)[0].margin_mm == pytest.approx(0.0, abs=1e-6)
    less = a_scene(tmp_path, division=149.0 + (lever.move_mm or 0.0))
    assert routes_on(less)[0].margin_mm < 0


def test_where_the_ureter_ends_the_pivot_is_tried_and_told_as_solved_anew(tmp_path: Path) -> None:
    # The cut is 1 mm above the bladder: only freeing further up is left. The site lies at the
    # height of the pivot, so that going up 20 mm gains more than half of it.
    scene = a_scene(tmp_path, pivot=100.0, division=212.0)
    (route,) = routes_on(scene)
    end = a_scene(tmp_path, pivot=100.0, division=239.5)
    assert routes_on(end)[0].margin_mm > route.margin_mm
    short = a_scene(tmp_path, pivot=100.0, division=239.5, wall=30.0)
    short = replace(
        short, sites=(replace(short.sites[0], height_mm=routes_on(end)[0].margin_mm + 20.0),)
    )
    (route,) = routes_on(short)
    assert route.margin_mm == pytest.approx(-10.0, abs=1e-6)
    found = Levers([route], short, 0.0)(route, 10.0)
    (lever,) = found
    assert lever.kind == "pivot"
    assert lever.enough
    up = lever.move_mm or 0.0
    assert 0 < up <= 30.0

    def margin(moved_mm: float) -> float:
        ureter = replace(short.ureters[0], pivot_mm=100.0 - moved_mm)
        return routes_on(replace(short, ureters=(ureter,)))[0].margin_mm

    assert margin(up) == pytest.approx(lever.margin_mm, abs=1e-6)
    assert margin(up) >= 0
    assert margin(up - 1.0) < 0


def test_levers_that_are_not_enough_say_what_is_left(tmp_path: Path) -> None:
    scene = a_scene(tmp_path, division=230.0)
    far = replace(scene, sites=(replace(scene.sites[0], height_mm=150.0),))
    (route,) = routes_on(far)
    assert route.margin_mm < -40
    found = {one.kind: one for one in Levers([route], far, 0.0)(route, -route.margin_mm)}
    division = found["division"]
    assert not division.enough
    assert division.move_mm == pytest.approx(10.0)
    assert division.margin_mm == pytest.approx(route.margin_mm + 10.0)
    assert "too short still" in division.says
    assert Levers([route], None, 0.0)(route, -route.margin_mm) == ()


# ---- the table of what can change ----------------------------------------------------------------


def test_everything_a_required_criterion_asks_has_its_row_and_no_row_is_idle() -> None:
    required = {
        one.key: one
        for way in catalogue().diversions
        for one in way.criteria
        if one.strength == "required"
    }
    asked = {
        leaf.name
        for one in required.values()
        for leaf in one.holds.leaves()
        if isinstance(leaf, Asked)
    }
    rows = changeable()
    assert asked <= set(rows)
    assert set(rows) - asked - {"reach"} <= set(required)
    for row in rows.values():
        assert row.sources
        assert set(row.sources) <= set(bibliography())
        assert not row.how.endswith(".")
    text = files("thalweg.plan").joinpath("data/changeable.toml").read_text(encoding="utf-8")
    assert set(loads(text)) == set(rows)


def test_a_unit_says_what_can_change_there() -> None:
    theirs = {
        "liver-failure": {
            "can": "not changeable",
            "how": "no transplants here",
            "source": "Invented Hospital, protocol 2",
        }
    }
    (step,) = nearest_of({"liver-failure": True}, theirs=theirs)["neobladder"].steps
    assert step.change.can == "not changeable"
    assert "no transplants here (by this unit's own protocol: Invented Hospital" in step.says


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ({"can": "maybe", "how": "x", "source": "y"}, "can = 'maybe'"),
        ({"can": "treatable", "source": "y"}, "'how' is missing"),
        ({"can": "treatable", "how": "x"}, "names no source"),
    ],
)
def test_a_units_row_that_says_nothing_is_refused(row: dict[str, str], fault: str) -> None:
    with pytest.raises(InputError, match=re.escape(fault)):
        changeable({"liver-failure": row})
