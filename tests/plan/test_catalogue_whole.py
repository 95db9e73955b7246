"""Every entry of the catalogue is whole, and every criterion can be met, failed and unknown."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from tests.support.appraisal_people import (
    ADULT,
    CAUTIONED,
    CLOSED,
    OPEN,
    RECENT,
    TODAY,
    UNDECIDED,
    appraised,
    fact_of,
    gfr_of,
    route_of,
    row_of,
)

from thalweg.assess.chemistry.segment import OF_DIVERSION
from thalweg.care.calendar import DIVERSIONS, calendar_rules
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.form import Bound, Condition, OneOf, YesNo
from thalweg.plan.appraise import appraise
from thalweg.plan.burdens import Burden
from thalweg.plan.catalogue import Catalogue, catalogue
from thalweg.plan.criteria.reaches import Reaches, RouteSummary
from thalweg.plan.requirements import REQUIRED_DOMAINS, requirements_of
from thalweg.record.case import Case, Person
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.plan.catalogue import Criterion, Diversion
    from thalweg.record.finding import Finding

PAIRS = [(way, one) for way in catalogue().diversions for one in way.criteria]
NEW = ("cutaneous-loop", "jejunal-conduit", "ureterosigmoidostomy")


# ---- whole --------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", catalogue().diversions, ids=lambda one: one.key)
def test_each_diversion_answers_every_domain_and_says_why_it_asks_nothing(way: Diversion) -> None:
    answered = {one.domain for one in requirements_of(way) if one.answered}
    assert set(REQUIRED_DOMAINS) <= answered
    assert way.daily
    assert way.standing_note or way.standing == "usual"
    for one in way.exemptions:
        assert one.sentence
        assert set(one.sources) <= set(bibliography())


@pytest.mark.parametrize("way", catalogue().diversions, ids=lambda one: one.key)
def test_each_burden_says_how_often_with_a_source_where_it_gives_a_figure(way: Diversion) -> None:
    for one in way.daily:
        assert one.kind != "other"
        assert set(one.sources) <= set(bibliography())
        if one.every or one.times:
            assert one.sources, one.says
    told = {one.kind for one in way.daily}
    # By definition of the operations: a bag, a catheter or emptying by the person, never none.
    assert told & {"bag", "tube", "catheterising", "emptying"}
    stoma_with_bag = way.key.endswith("conduit") or way.key.startswith(("cutaneous", "trans"))
    assert ("bag" in told) == (stoma_with_bag or way.key == "suprapubic-cystostomy")


def test_a_child_or_an_adult_every_domain_is_named_by_some_criterion_or_exemption_used() -> None:
    held = {one.key for way in catalogue().diversions for one in way.exemptions}
    from importlib.resources import files
    from tomllib import loads

    text = files("thalweg.plan").joinpath("data/catalogue.toml").read_text(encoding="utf-8")
    assert held == set(loads(text)["exemption"])


def test_the_calendar_and_the_chemistry_know_every_diversion_of_the_catalogue() -> None:
    keys = tuple(way.key for way in catalogue().diversions)
    assert set(DIVERSIONS) == set(keys) == set(concept("planned-diversion").choices)
    for way in catalogue().diversions:
        assert (way.key in OF_DIVERSION) == bool(way.bowel)
        assert any(way.key in rule.diversions for rule in calendar_rules())


# Monthly in 17 people (Agarwal 2018, abstract), every 12 weeks in 27 (2013, abstract); a pouch
# every 4 to 6 hours by day (Cancer Research UK, read); a neobladder every 3 to 4 hours and twice a
# night (University of Michigan, read); the refolded rectosigmoid 5.1 times a day and 1.9 a night
# (abstract).
@pytest.mark.parametrize(
    ("key", "kind", "often"),
    [
        ("cutaneous-bilateral", "tube-change", "every 4 to 12 weeks"),
        ("continent-pouch", "catheterising", "every 4 to 6 hours"),
        ("neobladder", "emptying", "every 3 to 4 hours"),
        ("ureterosigmoidostomy", "emptying", "4 to 6 times a day"),
        ("ureterosigmoidostomy", "examination", "every year"),
    ],
)
def test_burdens_are_those_published(key: str, kind: str, often: str) -> None:
    assert often in [one.often for one in catalogue().diversion(key).daily if one.kind == kind]


def test_a_span_of_one_is_said_once() -> None:
    assert Burden("emptying", "x", "often", times=(2, 2), per="night").often == "2 times a night"


# ---- each criterion in all three truths ----------------------------------------------------------


def _put(leaf: Condition, wanted: Truth) -> tuple[list[Fact], list[Finding], Person]:
    """Return what makes one leaf met, not met or unknown."""
    if wanted is Truth.NOT_KNOWN:
        return [], [], ADULT
    yes = wanted is Truth.MET
    match leaf:
        case YesNo():
            return [fact_of(leaf.name, leaf.expected is yes)], [], ADULT
        case OneOf():
            words = [w for w in concept(leaf.name).choices if (w in leaf.words) is yes]
            return [fact_of(leaf.name, words[0])], [], ADULT
        case Bound(name="age", high=high) if high is not None:
            born = date(TODAY.year - int(high) + (1 if yes else -1), 1, 1)
            return [], [], replace(ADULT, born=born)
        case Bound(of=of, low=low) if of is not None:
            assert low is not None
            return [], [gfr_of(low if yes else low - 0.1)], ADULT
        case Bound(low=low, high=high):
            edge = high if low is None else low
            assert edge is not None
            past = edge + (0.01 if low is None else -0.01)
            value = Decimal(str(edge if yes else past))
            return [Fact(leaf.name, value, leaf.unit, RECENT, Origin("by hand"))], [], ADULT
    raise AssertionError(leaf)


def _truth(way: Diversion, criterion: Criterion, wanted: Truth) -> Truth:
    facts: list[Fact] = []
    findings: list[Finding] = []
    routes: list[RouteSummary] = []
    person = ADULT
    for leaf in criterion.holds.leaves():
        if isinstance(leaf, Reaches):
            margin = {Truth.MET: 40.0, Truth.NOT_MET: -40.0}.get(wanted, 0.0)
            facts.append(fact_of("kidneys-present", "both"))
            routes += [
                route_of(way.key, side, site, margin)
                for side in ("left", "right")
                for site in ("L", "R")
            ]
            continue
        more, found, person = _put(leaf, wanted)
        facts, findings = [*facts, *more], [*findings, *found]
    rules = Catalogue((replace(way, criteria=(criterion,)),), 0.0, 18.0)
    row = appraise(Case("x", person, tuple(facts)), findings, routes, rules, TODAY).diversions[0]
    return row.weighed[0].truth


@pytest.mark.parametrize("wanted", list(Truth), ids=lambda one: one.name)
@pytest.mark.parametrize(
    ("way", "criterion"), PAIRS, ids=[f"{way.key}:{one.key}" for way, one in PAIRS]
)
def test_each_criterion_can_be_met_failed_and_unknown(
    way: Diversion, criterion: Criterion, wanted: Truth
) -> None:
    by_age = any(getattr(leaf, "name", "") == "age" for leaf in criterion.holds.leaves())
    if by_age and wanted is Truth.NOT_KNOWN:
        # A person has a date of birth, so an age is always known.
        assert _truth(way, criterion, wanted) is Truth.NOT_MET
        return
    assert _truth(way, criterion, wanted) is wanted


# ---- the rarer diversions ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "gfr", "verdict"),
    [
        # Jejunum only where no other segment is acceptable (teaching chapter, read); GFR below
        # 50 mL/min and a diet low in salt against it (Golimbu 1975, abstract).
        ({"bowel-irradiated": True, "colon-usable": False}, 60.0, CAUTIONED),
        ({"bowel-irradiated": True, "colon-usable": True}, 60.0, CLOSED),
        ({"bowel-irradiated": False, "colon-usable": False}, 60.0, CLOSED),
        ({"bowel-irradiated": True, "colon-usable": False}, 49.0, CLOSED),
        ({"bowel-irradiated": True, "colon-usable": False, "low-salt-diet": True}, 60.0, CLOSED),
        ({"bowel-irradiated": True, "colon-usable": False, "low-salt-diet": None}, 60.0, UNDECIDED),
    ],
)
def test_jejunum_is_the_last_resort(
    changes: dict[str, bool | str | None], gfr: float, verdict: str
) -> None:
    row = row_of(appraised(changes, gfr=gfr_of(gfr)), "jejunal-conduit")
    assert row.verdict == verdict
    assert row.own_cautions[0].startswith("Last resort: jejunum loses salt")


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        # Illustrated surgery of the refolded form, 2007, read: sphincter, irradiation, colon.
        ({}, CAUTIONED),
        ({"anal-sphincter-holds": False}, CLOSED),
        ({"anal-sphincter-holds": None}, UNDECIDED),
        ({"ureters-irradiated": True}, CLOSED),
        ({"colon-usable": False}, CLOSED),
        # Liver: as for every bowel that stores urine.
        ({"liver-failure": True}, CLOSED),
    ],
)
def test_urine_in_the_rectosigmoid_asks_a_sphincter(
    changes: dict[str, bool | str | None], verdict: str
) -> None:
    row = row_of(appraised(changes), "ureterosigmoidostomy")
    assert row.verdict == verdict
    assert row.own_cautions[0].startswith("Historical: infection, acidosis")


@pytest.mark.parametrize(("umol", "verdict"), [("132", CAUTIONED), ("134", CLOSED)])
def test_creatinine_above_one_and_a_half_closes_the_rectosigmoid(umol: str, verdict: str) -> None:
    # 1.5 mg/dL is 132.6 µmol/L.
    later = date(2026, 2, 20)
    high = Fact("creatinine", Decimal(umol), "umol/L", later, Origin("by hand"))
    split = Fact("split-function-left", Decimal(48), "%", RECENT, Origin("by hand"))
    assert row_of(appraised(more=(split, high)), "ureterosigmoidostomy").verdict == verdict


def test_a_join_that_will_be_lived_with_for_decades_is_a_caution() -> None:
    # Cancer after 20 to 26 years on average: abstract of 1999.
    for word, said in (("more than twenty years", True), ("five to twenty years", False)):
        row = row_of(appraised({"life-expectancy": word}), "ureterosigmoidostomy")
        assert any("cancer comes at the join" in text for text in row.cautions) == said


INFANT = Person("T-3", "Invented Infant", date(2025, 3, 1), "male")


@pytest.mark.parametrize(
    ("born", "changes", "verdict"),
    [
        (date(2025, 3, 1), {}, OPEN),
        (date(2023, 1, 1), {}, CAUTIONED),
        (date(2008, 3, 2), {}, CAUTIONED),
        (date(2008, 3, 1), {}, CLOSED),
        (date(2025, 3, 1), {"ureter-dilated": False}, CLOSED),
        (date(2025, 3, 1), {"ureter-dilated": None}, UNDECIDED),
        (date(2025, 3, 1), {"intent": "curative"}, CAUTIONED),
    ],
)
def test_a_loop_is_for_the_dilated_ureter_of_a_small_child(
    born: date, changes: dict[str, bool | str | None], verdict: str
) -> None:
    person = replace(INFANT, born=born)
    assert row_of(appraised(changes, person=person), "cutaneous-loop").verdict == verdict


def test_a_limit_published_for_adults_decides_nothing_for_a_child() -> None:
    for rate in (20.0, 92.0):
        row = row_of(appraised(person=INFANT, gfr=gfr_of(rate)), "neobladder")
        (limit,) = [one for one in row.weighed if one.criterion.key == "gfr-lower-limit"]
        assert limit.truth is Truth.NOT_KNOWN
        assert row.verdict == UNDECIDED
        assert row.missing == ()
        assert any("Published for adults, so not known of a child" in c for c in row.cautions)
    # What holds at any age still closes.
    row = row_of(appraised({"liver-failure": True}, person=INFANT), "neobladder")
    assert row.verdict == CLOSED


def test_the_rarer_diversions_are_never_open_without_a_word_and_never_the_example() -> None:
    for key in NEW[1:]:
        assert catalogue().diversion(key).standing != "usual"
        assert row_of(appraised(), key).verdict != OPEN


def test_jejunum_reaches_where_the_routes_of_an_ileal_conduit_do() -> None:
    changes: dict[str, bool | str | None] = {"bowel-irradiated": True, "colon-usable": False}
    short = [
        route_of("ileal-conduit", "left", "base", -40.0),
        route_of("ileal-conduit", "right", "base", 40.0),
    ]
    row = row_of(appraised(changes, gfr=gfr_of(60.0), routes=short), "jejunal-conduit")
    (reach,) = [one for one in row.weighed if one.criterion.key == "ureters-reach-jejunum"]
    assert reach.truth is Truth.NOT_MET
    assert row.verdict == CAUTIONED


def test_the_joins_are_looked_at_after_five_and_ten_years_and_then_yearly() -> None:
    from thalweg.care.calendar.layout import lay_out

    calendar = lay_out(
        "ureterosigmoidostomy",
        date(2026, 3, 1),
        {},
        calendar_rules(),
        today=TODAY,
        horizon_years=13,
    )
    years = [v.due.year for v in calendar.visits if v.rule.key == "colonoscopy-joins" and v.due]
    assert years == [2031, 2036, 2037, 2038, 2039]
