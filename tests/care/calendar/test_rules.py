"""The packaged rules against the published intervals they name, and a unit's own in their place."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from thalweg.care.calendar import DIVERSIONS, Offset, Rule, calendar_rules, our_rules
from thalweg.errors import InputError

RULES = {rule.key: rule for rule in calendar_rules()}
FIVE_YEARS = Offset(60)


def months(rule: Rule, horizon: Offset = FIVE_YEARS) -> list[int]:
    assert all(offset.days == 0 for offset in rule.offsets(horizon))
    return [offset.months for offset in rule.offsets(horizon)]


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        # EAU muscle-invasive bladder cancer guideline, chapter 8 (interval from memory): CT every
        # 6 months to the third year, then yearly; NCCN (secondary): to the fifth year.
        ("oncological-imaging", [6, 12, 18, 24, 30, 36, 48, 60]),
        # NCCN (secondary): cytology every 6-12 months for 2 years.
        ("urine-cytology", [6, 12, 18, 24]),
        # Burnhope et al., abstract, quoting NICE NG2: yearly for 5 years.
        ("urethral-surveillance", [12, 24, 36, 48, 60]),
        # NHS Ayrshire and Arran (text): imaging at 6 and 12 months, then yearly, to year 10 by
        # ultrasound; NICE NG2 (from memory): at least yearly.
        ("upper-tract-imaging", [6, 12, 24, 36, 48, 60]),
        # NICE NG2, NCCN (from memory): vitamin B12 yearly.
        ("vitamin-b12", [12, 24, 36, 48, 60]),
        # Common practice: 1, 3, 6, 12 months, then yearly, half-yearly after bowel.
        ("bloods", [1, 3, 6, 12, 24, 36, 48, 60]),
        ("bloods-bowel", [1, 3, 6, 12, 18, 24, 30, 36, 42, 48, 54, 60]),
    ],
)
def test_the_times_are_those_of_the_source(key: str, expected: list[int]) -> None:
    assert months(RULES[key]) == expected


@pytest.mark.parametrize(
    ("key", "published"),
    [
        # NHS Ayrshire and Arran, protocol G010, table for the time after radical cystectomy (text
        # read): every visit of that table must be on our calendar; ours may ask for more.
        ("bloods-bowel", [6, 12, 24, 36, 48, 60]),
        ("bloods", [6, 12, 24, 36, 48, 60]),
        ("urethral-surveillance", [12, 24, 36, 48, 60]),
        ("oncological-imaging", [6, 12, 24, 36, 48, 60]),
        ("upper-tract-imaging", [60, 72, 84, 96, 108, 120]),
    ],
)
def test_a_published_protocol_is_covered_in_full(key: str, published: list[int]) -> None:
    assert set(published) <= set(months(RULES[key], Offset(120)))


def test_high_risk_adds_up_to_every_six_months_for_two_years() -> None:
    # NCCN (secondary): urethral washing every 6-12 months when the risk is high.
    both = months(RULES["urethral-surveillance"]) + months(RULES["urethral-surveillance-high-risk"])
    assert sorted(m for m in both if m <= 24) == [6, 12, 18, 24]


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        # Agarwal 2018: monthly; the 27-person series of 2008-2012: every 12 weeks (abstracts).
        ("stent-change", 28, 84),
        # Hu 2018 (abstract): routine exchange every 3 months.
        ("nephrostomy-change", 56, 92),
        # Common practice, from memory: 4 to 12 weeks.
        ("cystostomy-change", 28, 84),
    ],
)
def test_tubes_are_changed_within_the_published_range(key: str, low: int, high: int) -> None:
    rule = RULES[key]
    days = [0, *(offset.days for offset in rule.offsets(Offset(12)))]
    steps = [b - a for a, b in pairwise(days)]
    assert steps
    assert all(low <= step <= high for step in steps)
    assert rule.counted_from == "last done"


def test_the_stoma_is_measured_weekly_for_eight_weeks() -> None:
    # Patient guides (secondary): once a week for the first 6 to 8 weeks.
    days = [offset.days for offset in RULES["stoma-measuring"].offsets(FIVE_YEARS)]
    assert days == [7, 14, 21, 28, 35, 42, 49, 56]


@pytest.mark.parametrize("diversion", DIVERSIONS)
def test_every_diversion_has_its_kidneys_looked_at_and_its_blood_taken_for_life(
    diversion: str,
) -> None:
    lifelong = [
        rule
        for rule in RULES.values()
        if diversion in rule.diversions and not rule.conditions and rule.then
        if rule.then[-1].until is None
    ]
    assert any(rule.key == "upper-tract-imaging" for rule in lifelong)
    assert any("creatinine" in rule.fulfilled_by for rule in lifelong)


def test_every_rule_says_what_who_why_and_on_what_it_rests() -> None:
    for rule in RULES.values():
        for words in (rule.what, rule.who, rule.why, rule.title, rule.schedule):
            assert words.strip() == words != ""
        assert rule.why.endswith(".")
        assert rule.sources
        assert rule.standing in {"published", "common practice"}
        assert all(caution.endswith(".") for caution in rule.cautions)


def own(**changes: Any) -> dict[str, Any]:
    row: dict[str, Any] = {
        "title": "Kidney ultrasound",
        "what": "Ultrasound",
        "who": "radiology",
        "why": "Local audit.",
        "diversions": ["all"],
        "then": [{"every": "4 months"}],
        "window_days": [14, 14],
        "source": "Local guideline U7, 2026",
    }
    return {key: value for key, value in {**row, **changes}.items() if value is not None}


def test_a_unit_replaces_a_rule_by_its_key_and_is_named_as_source() -> None:
    rules = {rule.key: rule for rule in calendar_rules({"upper-tract-imaging": own()})}
    assert months(rules["upper-tract-imaging"], Offset(12)) == [4, 8, 12]
    assert rules["upper-tract-imaging"].standing == "unit protocol"
    assert rules["upper-tract-imaging"].local_source == "Local guideline U7, 2026"
    assert rules["bloods"] == RULES["bloods"]
    assert len(rules) == len(RULES)


def test_a_unit_adds_a_rule_and_switches_one_off() -> None:
    off = {"off": True, "source": "Local guideline U7, 2026"}
    rules = {rule.key for rule in calendar_rules({"urine-cytology": off, "extra": own()})}
    assert rules == (set(RULES) - {"urine-cytology"}) | {"extra"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"source": None}, "names no source"),
        ({"title": None}, "lacks 'title'"),
        ({"title": 3}, "written in words"),
        ({"evry": "1 year"}, "unknown part 'evry'"),
        ({"then": [{"every": "often"}]}, "not a length of time"),
        ({"then": [{"every": "0 days"}]}, "longer than nothing"),
        ({"then": [{"every": "1 year"}, {"every": "2 years"}]}, "for life can only be the last"),
        ({"then": []}, "neither 'at' nor 'then'"),
        ({"at": ["1 year", "6 months"]}, "do not rise"),
        ({"window_days": [-1, 3]}, "negative"),
        ({"window_days": 3}, "wrong shape"),
        ({"window_days": [1.5, 3]}, "whole days"),
        ({"diversions": ["bag"]}, "'bag' is no diversion"),
        ({"conditions": ["rich"]}, "'rich' is no condition"),
        ({"standing": "gospel"}, "standing 'gospel'"),
        ({"sources": ["nobody-1900"]}, "not in the bibliography"),
        ({"sources": []}, "names no source"),
        ({"fulfilled_by": ["creatinin"]}, "perhaps creatinine"),
        ({"counted_from": "birth"}, "counted_from 'birth'"),
        ({"counted_from": "last done", "fulfilled_by": ["creatinine"]}, "fulfilled by a result"),
    ],
)
def test_a_rule_that_cannot_be_used_is_refused_by_name(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=r"protocol calendar\.toml") as caught:
        calendar_rules({"extra": own(**changes)})
    assert "extra" in str(caught.value)
    assert said in str(caught.value)


def test_the_table_is_read_in_full() -> None:
    assert list(our_rules()) == list(RULES)
