"""Appraisal: published criteria beside each scenario, and doubt about a fact."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from tests.support.appraisal_people import (
    CAUTIONED,
    CLOSED,
    FAVOURABLE,
    OPEN,
    SPLIT,
    TODAY,
    UNDECIDED,
    appraised,
    case_of,
    fact_of,
    gfr_of,
    plenty,
    row_of,
    verdicts_of,
)

from thalweg.plan.appraise import appraise
from thalweg.plan.appraised import STANDING
from thalweg.plan.catalogue import catalogue
from thalweg.record.case import Person


def test_with_everything_known_and_favourable_only_what_this_person_cannot_be_is_closed() -> None:
    verdicts = verdicts_of(appraised())
    # Two kidneys, an adult, and better segments than jejunum.
    for key in ("cutaneous-single", "cutaneous-loop", "jejunal-conduit"):
        assert verdicts.pop(key) == CLOSED
    # Historical, so never without cautions.
    assert verdicts.pop("ureterosigmoidostomy") == CAUTIONED
    assert set(verdicts.values()) == {OPEN}


# Each row: what is changed in the favourable person, what follows, and who says so.
EXPERT = [
    # Lower limit 35 to 40 mL/min, 50 preferred: ICUD-EAU 2012 (from memory). 60 for a pouch:
    # Campbell-Walsh 10th edition, chapter 86 (read).
    ({"gfr": 34.0}, {"continent-pouch": CLOSED, "neobladder": CLOSED, "ileal-conduit": OPEN}),
    ({"gfr": 37.0}, {"continent-pouch": CAUTIONED, "neobladder": CAUTIONED}),
    ({"gfr": 43.0}, {"continent-pouch": CAUTIONED, "neobladder": CAUTIONED, "ileal-conduit": OPEN}),
    ({"gfr": 57.0}, {"continent-pouch": CAUTIONED, "neobladder": OPEN}),
    ({"gfr": 70.0}, {"continent-pouch": OPEN, "neobladder": OPEN}),
    # Tumour at the urethral margin: absolute against a neobladder (abstract of the chapter on
    # orthotopic reconstruction; examination text, read), nothing against a pouch or conduit.
    (
        {"urethral-margin-tumour": True},
        {"neobladder": CLOSED, "continent-pouch": OPEN, "ileal-conduit": OPEN},
    ),
    # Irradiated ileum: transverse colon conduit as the way out (Rink and Fisch, read; Pycha 2020,
    # abstract), and a pouch then made of colon.
    (
        {"bowel-irradiated": True},
        {
            "ileal-conduit": CLOSED,
            "colon-conduit": OPEN,
            "neobladder": CLOSED,
            "continent-pouch": CAUTIONED,
        },
    ),
    (
        {"bowel-irradiated": True, "colon-usable": False},
        {
            "ileal-conduit": CLOSED,
            "colon-conduit": CLOSED,
            "continent-pouch": CLOSED,
            "cutaneous-bilateral": OPEN,
        },
    ),
    # Dexterity of the person or a helper: Canadian statement 2022, table 1 (read).
    (
        {"dexterity": "limited"},
        {"continent-pouch": CLOSED, "neobladder": CLOSED, "ileal-conduit": CAUTIONED},
    ),
    (
        {"dexterity": "none", "helper-at-home": True},
        {"continent-pouch": OPEN, "neobladder": OPEN, "ileal-conduit": OPEN},
    ),
    # No cognitive impairment, commitment to catheterising: the same table.
    (
        {"cognition-sufficient": False},
        {"continent-pouch": CLOSED, "neobladder": CLOSED, "ileal-conduit": CAUTIONED},
    ),
    (
        {"accepts-catheterisation": False},
        {"continent-pouch": CLOSED, "neobladder": CLOSED, "ileal-conduit": OPEN},
    ),
    # Normal liver function for continent diversion: Campbell-Walsh chapter 86 (read); a conduit
    # is tolerated (from memory).
    (
        {"liver-failure": True},
        {"continent-pouch": CLOSED, "neobladder": CLOSED, "ileal-conduit": OPEN},
    ),
    # Obstructed kidneys are drained and measured again first: the same chapter.
    (
        {"obstruction": True},
        {"continent-pouch": CAUTIONED, "neobladder": CAUTIONED, "suprapubic-cystostomy": CAUTIONED},
    ),
    # Stress incontinence relative: examination text (read).
    ({"stress-incontinence": True}, {"neobladder": CAUTIONED, "continent-pouch": OPEN}),
    # Diseased or short bowel: ileum avoided (Campbell-Walsh, from memory).
    (
        {"bowel-disease": True},
        {"ileal-conduit": CLOSED, "neobladder": CLOSED, "colon-conduit": CAUTIONED},
    ),
    (
        {"short-bowel": True},
        {"ileal-conduit": CLOSED, "neobladder": CLOSED, "cutaneous-double-barrel": OPEN},
    ),
    # Unfit for bowel surgery: the commonest reason for cutaneous ureterostomy (Kızılay 2018,
    # abstract).
    (
        {"fit-for-bowel-surgery": False},
        {
            "ileal-conduit": CLOSED,
            "colon-conduit": CLOSED,
            "neobladder": CLOSED,
            "cutaneous-bilateral": OPEN,
            "nephrostomy": OPEN,
        },
    ),
    # Disease that would reach both kidneys through the join (Schwartz 2018, read; Noble 1997,
    # from memory).
    *(
        ({key: True}, {"transuretero-cutaneous": CLOSED, "cutaneous-double-barrel": OPEN})
        for key in (
            "urinary-stones",
            "upper-tract-tumour",
            "retroperitoneal-fibrosis",
            "urinary-tuberculosis",
        )
    ),
    ({"ureters-irradiated": True}, {"transuretero-cutaneous": CAUTIONED, "neobladder": OPEN}),
    # A solitary kidney, by definition of the operations.
    (
        {"kidneys-present": "left only"},
        {
            "cutaneous-single": OPEN,
            "cutaneous-bilateral": CLOSED,
            "cutaneous-double-barrel": CLOSED,
            "transuretero-cutaneous": CLOSED,
            "ileal-conduit": OPEN,
        },
    ),
    # At least one dilated ureter a prerequisite (MacGregor 1987, abstract), contradicted by a
    # later series (Kim 2025, abstract): a caution.
    (
        {"ureter-dilated": False},
        {"cutaneous-bilateral": CAUTIONED, "cutaneous-double-barrel": CAUTIONED},
    ),
    # Bladder tumour and bleeding against a suprapubic tube (King's College London teaching unit
    # citing the British guideline, read).
    ({"indication": "bladder cancer"}, {"suprapubic-cystostomy": CLOSED}),
    ({"bladder-kept": False}, {"suprapubic-cystostomy": CLOSED, "nephrostomy": OPEN}),
    (
        {"bleeding-disorder": True},
        {"suprapubic-cystostomy": CAUTIONED, "nephrostomy": CAUTIONED},
    ),
    # Nephrostomy to bridge or palliate, in a dilated system (practice parameter, from memory).
    ({"pelvis-dilated": False}, {"nephrostomy": CAUTIONED}),
    ({"intent": "curative"}, {"nephrostomy": CAUTIONED}),
]


@pytest.mark.parametrize(
    ("changes", "expected"), EXPERT, ids=lambda one: ",".join(f"{k}={v}" for k, v in one.items())
)
def test_published_criteria(changes: dict[str, Any], expected: dict[str, str]) -> None:
    gfr = gfr_of(changes["gfr"]) if "gfr" in changes else None
    facts = {key: value for key, value in changes.items() if key != "gfr"}
    verdicts = verdicts_of(appraised(facts, gfr=gfr))
    assert {key: verdicts[key] for key in expected} == expected


# A kidney with less than 15 % of function is not worth joining: Manski, read.
@pytest.mark.parametrize(
    ("left", "expected"), [(14, CAUTIONED), (15, OPEN), (85, OPEN), (86, CAUTIONED)]
)
def test_a_kidney_of_little_use_is_joined_with_caution(left: int, expected: str) -> None:
    split = replace(SPLIT, value=Decimal(left))
    assert row_of(appraised(more=(split,)), "transuretero-cutaneous").verdict == expected


def test_what_would_open_a_closed_option_names_the_number_wanted_and_the_number_now() -> None:
    row = row_of(appraised(gfr=gfr_of(34.0)), "neobladder")
    (change,) = row.would_open
    assert "GFR at least 35 mL/min/1.73 m²" in change
    assert "34 mL/min/1.73 m² (2026-02-10)" in change
    closed = row_of(appraised({"urethral-margin-tumour": True}), "neobladder")
    assert "frozen section" in closed.would_open[0]
    assert appraised({"urethral-margin-tumour": True}).opens.keys() >= {"neobladder"}


@pytest.mark.parametrize(
    ("interval", "verdict"),
    [
        ((28.0, 34.9), CLOSED),
        ((30.0, 36.0), UNDECIDED),
        ((35.0, 60.0), CAUTIONED),
        ((45.0, 70.0), CAUTIONED),
        ((50.0, 70.0), OPEN),
    ],
)
def test_a_value_in_doubt_across_its_limit_is_not_decided(
    interval: tuple[float, float], verdict: str
) -> None:
    middle = sum(interval) / 2
    row = row_of(appraised(gfr=gfr_of(middle, interval)), "neobladder")
    assert row.verdict == verdict
    if verdict == UNDECIDED:
        assert row.missing == ("measured-gfr",)
        assert any("Too close to call" in text for text in row.cautions)


def test_a_value_without_interval_close_to_its_limit_is_said_to_be() -> None:
    assert row_of(appraised(gfr=gfr_of(54.0)), "neobladder").verdict == CAUTIONED
    cautions = row_of(appraised(gfr=gfr_of(54.0)), "neobladder").cautions
    assert any(text.startswith("Close to its limit") for text in cautions)
    assert row_of(appraised(gfr=gfr_of(56.0)), "neobladder").verdict == OPEN


def test_an_unreached_gfr_leaves_open_which_fact_would_reach_it() -> None:
    row = row_of(appraised(gfr=gfr_of(None)), "neobladder")
    assert row.verdict == UNDECIDED
    assert row.missing == ("creatinine",)
    nobody = appraise(case_of(FAVOURABLE, SPLIT), [], plenty(), catalogue(), TODAY)
    assert row_of(nobody, "neobladder").missing == ("creatinine",)


def test_old_results_are_relied_on_with_caution() -> None:
    # 90 days for blood tests and 180 for a judgement of fitness: common practice.
    on_the_day = row_of(appraised(gfr=gfr_of(92.0, at=date(2025, 12, 1))), "neobladder")
    assert on_the_day.verdict == OPEN
    old = row_of(appraised(gfr=gfr_of(92.0, at=date(2025, 11, 30))), "neobladder")
    assert old.verdict == CAUTIONED
    assert any("GFR is old: 91 days, where 90 are allowed" in text for text in old.cautions)
    stale = fact_of("fit-for-bowel-surgery", True, date(2025, 8, 1))
    row = row_of(appraised({"fit-for-bowel-surgery": None}, more=(SPLIT, stale)), "ileal-conduit")
    assert row.verdict == CAUTIONED
    assert any("is old" in text for text in row.cautions)


def test_a_contradiction_is_said_and_decides_nothing() -> None:
    rival = fact_of("liver-failure", True)
    row = row_of(appraised(more=(SPLIT, rival)), "neobladder")
    assert row.verdict == UNDECIDED
    assert row.missing == ("liver-failure",)
    assert any("Two different values at one time" in text for text in row.cautions)
    shown = next(one for one in row.weighed if one.criterion.key == "liver-sound")
    assert {fact.value for fact in shown.judged.facts} == {True, False}


def test_a_questioned_fact_is_relied_on_with_caution() -> None:
    doubted = replace(SPLIT, questions=("the report names another person",))
    row = row_of(appraised(more=(doubted,)), "transuretero-cutaneous")
    assert row.verdict == CAUTIONED
    assert "Questioned: the report names another person" in row.cautions


def test_criteria_for_adults_say_so_for_a_child() -> None:
    child = Person("T-2", "Invented Child", date(2015, 1, 1), "female")
    for row in appraised(person=child).diversions:
        assert row.verdict != OPEN
        said = any("published for adults" in text for text in row.cautions)
        assert said == (row.diversion.key != "cutaneous-loop")


def test_every_row_carries_the_standing_cautions() -> None:
    for row in appraised().diversions:
        assert set(STANDING) <= set(row.cautions)
        assert set(STANDING) <= set(row.finding().all_cautions)
