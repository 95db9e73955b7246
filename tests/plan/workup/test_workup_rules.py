"""The work-up's rules: whole, reachable, covering every criterion, and a unit's own in place."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from tests.support.workup_case import WOMAN, one_of, stated, told, whole_case

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.plan.catalogue import catalogue
from thalweg.plan.workup.ends import values_of
from thalweg.plan.workup.options import facts_read
from thalweg.plan.workup.rulebook import workup_rules
from thalweg.record.case import Case, Person
from thalweg.record.concept import concept, concepts

RULES = workup_rules()
DIVERSIONS = [way.key for way in catalogue().diversions]


def test_every_row_names_a_source_on_the_list() -> None:
    sources = [item.sources for item in RULES.items]
    sources += [rule.sources for rule in RULES.same]
    sources += [rule.sources for rule in RULES.excludes]
    sources += [rule.sources for rule in RULES.differ]
    assert all(sources)
    assert {key for keys in sources for key in keys} <= set(bibliography())


def test_every_option_is_a_diversion_and_every_group_has_items() -> None:
    assert {key for item in RULES.items for key in item.options} <= set(DIVERSIONS)
    assert {item.group for item in RULES.items} == set(RULES.groups)


def test_every_concept_that_a_criterion_asks_is_some_items() -> None:
    asked = {
        key
        for way in catalogue().diversions
        for one in way.criteria
        for key in facts_read(one.holds)
    }
    covered = {key for item in RULES.items for key in item.concepts}
    assert asked <= covered, asked - covered


def test_every_item_is_asked_of_somebody() -> None:
    """Of nobody-known people, meant for each diversion; all have the reasons that some ask for."""
    left = {item.key for item in RULES.items}
    for way in DIVERSIONS:
        facts = (
            stated("planned-diversion", way),
            stated("kidneys-present", "both"),
            stated("indication", "neurogenic bladder"),
            stated("muscle-loss", value=True),
            stated("malignancy-ever", value=True),
            stated("diabetes", "with organ damage"),
            stated("bowel-in-urinary-tract", value=False),
        )
        whole = told(Case("x", WOMAN, facts), measured={}, routes=())
        left -= {one.item.key for one in whole.standings if one.state != "not asked"}
    assert left == set()


def test_what_is_tried_covers_both_sides_of_every_bound_of_a_criterion() -> None:
    # The catalogue asks 15 to 85 % of the left kidney's share (Manski, as read there).
    tried = [float(value) for value in values_of("split-function-left", RULES, catalogue())]
    assert {14.9, 15, 15.1, 84.9, 85, 85.1} <= set(tried)
    assert (tried[0], tried[-1]) == (0, 100)
    assert tried == sorted(set(tried))


@pytest.mark.parametrize("key", [k for k, row in concepts().items() if row.kind == "quantity"])
def test_every_value_tried_could_be_a_living_persons(key: str) -> None:
    possible = concept(key).possible
    assert possible is not None
    tried = values_of(key, RULES, catalogue())
    assert len(tried) >= 2
    assert all(possible[0] <= float(value) <= possible[1] for value in tried)


def test_a_units_own_row_takes_the_place_of_ours_and_is_said() -> None:
    case = whole_case({"creatinine": None}, stated("creatinine", 70, date(2026, 1, 20)))
    assert one_of(told(case), "creatinine").state == "done"
    row = {
        "words": "creatinine",
        "group": "kidneys",
        "parts": ["creatinine"],
        "old_after_days": 30,
        "serves": "choice of diversion",
        "effort": "blood or urine test",
        "source": "Our clinic, 2026",
    }
    whole = told(case, protocol={"item": {"creatinine": row}})
    one = one_of(whole, "creatinine")
    assert (one.state, one.days_over) == ("too old", 10)
    assert one.item.local_source == "Our clinic, 2026"
    assert any("creatinine" in notice and "own protocol" in notice for notice in whole.cautions)


def test_a_unit_can_leave_an_item_out_and_it_is_said_why() -> None:
    row = {
        "words": "urine culture",
        "group": "tract",
        "parts": ["urine-culture"],
        "asked": False,
        "serves": "operation",
        "effort": "blood or urine test",
        "source": "Our clinic, 2026",
    }
    whole = told(whole_case({"urine-culture": None}), protocol={"item": {"urine-culture": row}})
    one = one_of(whole, "urine-culture")
    assert one.state == "not asked"
    assert "Our clinic, 2026" in one.because


ITEM: dict[str, Any] = {
    "words": "x",
    "group": "kidneys",
    "parts": ["urea"],
    "serves": "x",
    "effort": "question",
    "source": "Our clinic",
}


@pytest.mark.parametrize(
    ("part", "row", "word"),
    [
        ("item", {**ITEM, "group": "liver"}, "group"),
        ("item", {**ITEM, "parts": []}, "parts"),
        ("item", {**ITEM, "parts": ["ureea"]}, "ureea"),
        ("item", {**ITEM, "parts": [[]]}, "part"),
        ("item", {**ITEM, "effort": "none"}, "effort"),
        ("item", {**ITEM, "old_after_days": -1}, "old_after_days"),
        ("item", {**ITEM, "old_after_days": 1.5}, "whole days"),
        ("item", {**ITEM, "measured": "liver"}, "measured"),
        ("item", {**ITEM, "asked": "no"}, "asked"),
        ("item", {**ITEM, "colour": "red"}, "colour"),
        ("item", {**ITEM, "asked_when": {"fact": "obstruction", "is": True}}, "otherwise"),
        ("item", {**ITEM, "asked_when": {"fact": "urea"}, "otherwise": "x"}, "urea"),
        ("item", {key: ITEM[key] for key in ITEM if key != "source"}, "source"),
        ("ends", {"low": 3, "high": 1, "source": "x"}, "range"),
        ("same", {"concepts": ["urea"], "within_days": 1, "source": "x"}, "how much"),
        ("same", {"kinds": ["quantity"], "within_days": 1, "source": "x"}, "kinds"),
        ("excludes", {"words": "x", "source": "x"}, "never"),
        (
            "differ",
            {"words": "x", "first": "urea", "second": "urea-nitrogen", "source": "x"},
            "much",
        ),
        (
            "differ",
            {"words": "x", "first": "dexterity", "second": "urea", "absolute": 1, "source": "x"},
            "quantity",
        ),
        ("setting", {"steps": 1, "source": "x"}, "steps"),
    ],
)
def test_a_bad_row_of_a_unit_is_refused_in_one_sentence(
    part: str, row: dict[str, Any], word: str
) -> None:
    key = {"ends": "urea", "setting": "ends"}.get(part, "own")
    with pytest.raises(InputError, match=word) as refused:
        workup_rules({part: {key: row}})
    assert "workup" in str(refused.value)


def test_an_unknown_part_is_refused() -> None:
    with pytest.raises(InputError, match="thresholds"):
        workup_rules({"thresholds": {}})


def test_age_decides_on_the_birthday() -> None:
    # The questions of G8 were made for people of 70 and over (Bellera 2012).
    for born, state in ((date(1956, 3, 1), "missing"), (date(1956, 3, 2), "not asked")):
        person = Person("W-2", "Invented Person", born, "male")
        gone = {key: None for key in concepts() if key.startswith("g8-")}
        case = whole_case(gone, person=person)
        assert one_of(told(case), "frailty").state == state
