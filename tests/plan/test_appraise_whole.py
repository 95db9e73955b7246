"""What three-valued appraisal promises, and what it hands on."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.appraisal_people import (
    CAUTIONED,
    CLOSED,
    FAVOURABLE,
    OPEN,
    RECENT,
    SPLIT,
    TODAY,
    UNDECIDED,
    appraised,
    case_of,
    gfr_of,
    plenty,
    route_of,
    row_of,
    verdicts_of,
)

from thalweg.evidence.bibliography import bibliography, cite
from thalweg.plan.appraise import Appraisal, RouteSummary, appraise
from thalweg.plan.appraised import STANDING
from thalweg.plan.catalogue import catalogue
from thalweg.plan.settles import ranked
from thalweg.record.concept import concept
from thalweg.record.explain import as_text
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from collections.abc import Mapping


def words_of(key: str) -> list[bool | str]:
    row = concept(key)
    return [True, False] if row.kind == "yes-no" else list(row.choices)


ANY_PERSON = st.fixed_dictionaries(
    {}, optional={key: st.sampled_from(words_of(key)) for key in FAVOURABLE}
)
RANK = {UNDECIDED: {OPEN, CAUTIONED, CLOSED, UNDECIDED}, CLOSED: {CLOSED}, OPEN: {OPEN}}
RANK[CAUTIONED] = {CAUTIONED, OPEN}
MARGINS = st.lists(st.sampled_from([-30.0, 0.0, 30.0]), min_size=4, max_size=4)


def routes_with(margins: list[float]) -> list[RouteSummary]:
    places = [(side, site) for side in ("left", "right") for site in ("L", "R")]
    return [
        route_of(diversion.key, side, site, margin)
        for diversion in catalogue().diversions
        for (side, site), margin in zip(places, margins, strict=True)
    ]


@given(
    known=ANY_PERSON,
    learnt=st.sampled_from(sorted(FAVOURABLE)),
    choice=st.integers(0, 50),
    margins=st.none() | MARGINS,
    gfr=st.none() | st.sampled_from([20.0, 37.0, 45.0, 80.0]),
)
@settings(max_examples=60, deadline=None)
def test_learning_a_missing_fact_never_undecides_or_reopens(
    known: dict[str, bool | str],
    learnt: str,
    choice: int,
    margins: list[float] | None,
    gfr: float | None,
) -> None:
    known.pop(learnt, None)
    values = words_of(learnt)
    routes = [] if margins is None else routes_with(margins)
    findings = [] if gfr is None else [gfr_of(gfr)]

    def judged(facts: Mapping[str, bool | str]) -> Appraisal:
        return appraise(case_of(facts, SPLIT), findings, routes, catalogue(), TODAY)

    before = verdicts_of(judged(known))
    after = verdicts_of(judged({**known, learnt: values[choice % len(values)]}))
    for key, verdict in before.items():
        assert after[key] in RANK[verdict]


@given(known=ANY_PERSON, margins=st.none() | MARGINS, gfr=st.none() | st.floats(5, 120))
@settings(max_examples=60, deadline=None)
def test_every_verdict_agrees_with_its_criteria(
    known: dict[str, bool | str], margins: list[float] | None, gfr: float | None
) -> None:
    routes = [] if margins is None else routes_with(margins)
    findings = [] if gfr is None else [gfr_of(gfr)]
    shown = appraise(case_of(known, SPLIT), findings, routes, catalogue(), TODAY).to_json()
    for row in shown["diversions"]:
        required = {c["truth"] for c in row["criteria"] if c["strength"] == "required"}
        cautionary = {c["truth"] for c in row["criteria"] if c["strength"] == "caution"}
        assert (row["verdict"] == CLOSED) == ("not met" in required)
        assert bool(row["would_open"]) == (row["verdict"] == CLOSED)
        assert bool(row["missing"]) == (row["verdict"] == UNDECIDED)
        if row["verdict"] == UNDECIDED:
            assert "not known" in required
        if row["verdict"] == OPEN:
            assert required | cautionary == {"met"}
            assert row["cautions"] == list(STANDING)
        if row["verdict"] == CAUTIONED:
            assert required == {"met"}
            assert len(row["cautions"]) > len(STANDING)
        for criterion in row["criteria"]:
            assert bool(criterion["would_open"]) == (criterion["truth"] == "not met")
            assert bool(criterion["missing"]) == (criterion["truth"] == "not known")


# ---- what it hands on -------------------------------------------------------------------------


def test_the_fact_that_settles_most_comes_first() -> None:
    # Fitness alone decides four bowel operations (the jejunal conduit is closed already, since
    # better segments are there); the urethral margin alone decides none, since
    # the neobladder waits for fitness too.
    settles = appraised({"fit-for-bowel-surgery": None, "urethral-margin-tumour": None}).settles
    assert [one.concept for one in settles] == ["fit-for-bowel-surgery", "urethral-margin-tumour"]
    sure = ("ileal-conduit", "colon-conduit", "continent-pouch", "ureterosigmoidostomy")
    assert settles[0].alone == sure
    assert len(settles[0].waiting) == 5
    assert settles[1].alone == ()
    assert settles[1].waiting == ("neobladder",)
    assert settles[0].name == concept("fit-for-bowel-surgery").name


def test_a_fact_that_settles_alone_comes_before_one_that_many_wait_for() -> None:
    missing = {
        "first": ("bowel-disease", "short-bowel"),
        "second": ("bowel-disease", "short-bowel"),
        "third": ("liver-failure",),
    }
    order = [one.concept for one in ranked(missing)]
    assert order == ["liver-failure", "bowel-disease", "short-bowel"]


def test_what_would_settle_most_would_indeed_settle() -> None:
    before = appraised({"liver-failure": None})
    first = before.settles[0]
    assert first.concept == "liver-failure"
    for value in (True, False):
        after = verdicts_of(appraised({"liver-failure": value}))
        assert all(after[key] != UNDECIDED for key in first.alone)


def test_the_json_is_of_the_shape_the_command_promises() -> None:
    shown = json.loads(json.dumps(appraised({"liver-failure": None}).to_json()))
    assert shown["date"] == "2026-03-01"
    assert [row["key"] for row in shown["diversions"]] == [
        diversion.key for diversion in catalogue().diversions
    ]
    for row in shown["diversions"]:
        assert {"key", "name", "verdict", "criteria", "missing", "would_open", "cautions"} <= set(
            row
        )
        for criterion in row["criteria"]:
            assert {"key", "truth", "facts", "source"} <= set(criterion)
            assert criterion["source"]
    assert shown["would_settle_most"][0]["concept"] == "liver-failure"


def test_a_criterion_names_its_source_and_how_it_was_checked() -> None:
    row = row_of(appraised(), "neobladder").to_json()
    urethra = next(one for one in row["criteria"] if one["key"] == "urethra-clear")
    assert "neobladder" in urethra["source"]
    assert "figures from memory: verify" in urethra["source"]
    assert urethra["checked"] == ["abstract", "text", "memory"]
    assert [fact["concept"] for fact in urethra["facts"]] == ["urethral-margin-tumour"]


def test_a_verdict_can_be_walked_back_to_the_facts_and_publications() -> None:
    creatinine = Fact(
        "creatinine", Decimal(90), "umol/L", RECENT, Origin("table", "labs.csv row 4")
    )
    gfr = replace(gfr_of(92.0), facts=(creatinine,))
    finding = row_of(appraised(gfr=gfr), "neobladder").finding()
    assert finding.name == "appraisal-neobladder"
    assert finding.value == OPEN
    assert finding.at == RECENT
    assert creatinine in finding.all_facts
    assert set(finding.method.sources) <= set(bibliography())
    text = as_text(finding, cite)
    assert "creatinine, blood: 90 µmol/L, 2026-02-10" in text
    assert "from table: labs.csv row 4" in text
    assert "European Urology 63:67-80" in text
    assert finding.to_json(cite)["value"] == OPEN


def test_a_units_own_rule_is_named_on_every_row_and_beside_itself() -> None:
    own = catalogue(
        {
            "criterion": {
                "urethra-clear": {
                    "sentence": "The urethra is clear by this unit's rule",
                    "strength": "required",
                    "source": "Invented Hospital, protocol 9, 2026-01-05",
                    "holds": {"fact": "urethral-margin-tumour", "is": False},
                }
            }
        }
    )
    appraisal = appraise(case_of(FAVOURABLE, SPLIT), [gfr_of(92.0)], plenty(), own, TODAY)
    assert any("urethra-clear" in notice for notice in appraisal.to_json()["protocol"])
    for finding in appraisal.findings():
        assert any("urethra-clear" in caution for caution in finding.cautions)
    row = row_of(appraisal, "neobladder")
    assert row.verdict == OPEN
    shown = next(one for one in row.to_json()["criteria"] if one["key"] == "urethra-clear")
    assert shown["source"] == "Invented Hospital, protocol 9, 2026-01-05"
    assert any("this unit's own protocol" in text for text in row.finding().all_cautions)


def test_the_same_facts_give_the_same_appraisal_in_any_order() -> None:
    case = case_of(FAVOURABLE, SPLIT)
    turned = replace(case, facts=tuple(reversed(case.facts)))
    first, second = (
        appraise(one, [gfr_of(43.0)], plenty(), catalogue(), TODAY).to_json()
        for one in (case, turned)
    )
    assert first == second


def test_a_gfr_in_another_kind_of_unit_is_not_compared() -> None:
    absolute = replace(gfr_of(92.0), unit="mL/min")
    row = row_of(appraised(gfr=absolute), "neobladder")
    assert row.verdict == UNDECIDED
    assert any("cannot be compared" in text for text in row.cautions)
