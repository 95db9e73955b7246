"""The catalogue's data: every reference resolves, every number stands as its source prints it."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import pytest

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.form import Asked, Bound
from thalweg.evidence.conditions.reading import parse
from thalweg.plan.appraised import APPRAISAL
from thalweg.plan.catalogue import catalogue
from thalweg.plan.criteria.reaches import FORMS, Reaches
from thalweg.plan.criteria.weighed import CRITERION
from thalweg.record.concept import concepts

if TYPE_CHECKING:
    from thalweg.plan.catalogue import Criterion

KEYS = [
    "cutaneous-single",
    "cutaneous-bilateral",
    "cutaneous-double-barrel",
    "transuretero-cutaneous",
    "ileal-conduit",
    "colon-conduit",
    "continent-pouch",
    "neobladder",
    "suprapubic-cystostomy",
    "nephrostomy",
    "cutaneous-loop",
    "jejunal-conduit",
    "ureterosigmoidostomy",
]


def every_criterion() -> list[Criterion]:
    found = {
        criterion.key: criterion
        for diversion in catalogue().diversions
        for criterion in diversion.criteria
    }
    return list(found.values())


def criterion_named(key: str) -> Criterion:
    return next(criterion for criterion in every_criterion() if criterion.key == key)


def test_the_diversions_are_those_of_the_command_contract() -> None:
    assert [diversion.key for diversion in catalogue().diversions] == KEYS


@pytest.mark.parametrize("diversion", catalogue().diversions, ids=lambda one: one.key)
def test_each_diversion_says_what_it_is_and_rests_on_sources(diversion: Any) -> None:
    assert len(diversion.description.split()) > 20
    assert diversion.burdens
    assert diversion.follow_up
    cut_out = bool(diversion.bowel) and "left in its place" not in diversion.bowel
    assert cut_out == (diversion.bowel_length_cm is not None)
    assert set(diversion.sources) <= set(bibliography())
    keys = [criterion.key for criterion in diversion.criteria]
    assert len(keys) == len(set(keys))
    assert any(criterion.strength == "required" for criterion in diversion.criteria)


@pytest.mark.parametrize("criterion", every_criterion(), ids=lambda one: one.key)
def test_each_criterion_resolves(criterion: Criterion) -> None:
    assert criterion.sources
    assert set(criterion.sources) <= set(bibliography())
    assert not criterion.sentence.endswith(".")
    for leaf in criterion.holds.leaves():
        if isinstance(leaf, Bound) and leaf.of is not None:
            named = {*leaf.of.needs, *leaf.of.settled_by}
        elif isinstance(leaf, Asked):
            named = {leaf.name}
        else:
            assert isinstance(leaf, Reaches)
            named = set(leaf.needs)
        assert named <= set(concepts())


def test_every_criterion_of_the_file_is_used_by_some_diversion() -> None:
    text = files("thalweg.plan").joinpath("data/catalogue.toml").read_text(encoding="utf-8")
    assert set(tomllib.loads(text)["criterion"]) == {one.key for one in every_criterion()}


def test_the_methods_cite_entries_of_the_bibliography() -> None:
    for method in (APPRAISAL, CRITERION):
        assert set(method.sources) <= set(bibliography())


# Canadian Urinary Diversions Position Statement 2022, p. 21 (neobladder 40 to 60 cm), read; ileal
# conduit 15 to 20 cm as in the cohort on vitamin B12 after reconstruction, abstract; jejunal loops
# of 10 to 12 cm in a series of 50 people, 1997, abstract.
@pytest.mark.parametrize(
    ("key", "length"),
    [("neobladder", (40, 60)), ("ileal-conduit", (15, 20)), ("jejunal-conduit", (10, 12))],
)
def test_bowel_lengths_are_those_published(key: str, length: tuple[float, float]) -> None:
    assert catalogue().diversion(key).bowel_length_cm == length


# 35 to 40 as lower limit and 50 preferred: ICUD-EAU consultation 2012, from memory; 50 also in a
# urology examination text, read; 60 in Campbell-Walsh 10th edition chapter 86, read.
@pytest.mark.parametrize(
    ("key", "strength", "limit"),
    [
        ("gfr-lower-limit", "required", 35),
        ("gfr-tubules", "caution", 40),
        ("gfr-preferred", "caution", 50),
        ("gfr-pouch-textbook", "caution", 60),
    ],
)
def test_kidney_limits_are_those_published(key: str, strength: str, limit: float) -> None:
    criterion = criterion_named(key)
    assert criterion.strength == strength
    assert isinstance(criterion.holds, Bound)
    assert (criterion.holds.low, criterion.holds.low_counts) == (limit, True)
    assert criterion.holds.unit == "mL/min/{1.73_m2}"


def test_only_the_ureter_and_bag_diversions_need_no_bowel() -> None:
    # By definition of the operations.
    without = {one.key for one in catalogue().diversions if not one.bowel}
    assert without == {
        key for key in KEYS if key.startswith(("cutaneous", "trans", "supra", "neph"))
    }


def test_ureters_in_one_stoma_must_share_a_site_and_two_stomas_may_not() -> None:
    # By definition of the operations.
    sites = {
        diversion.key: leaf.sites
        for diversion in catalogue().diversions
        for criterion in diversion.criteria
        for leaf in criterion.holds.leaves()
        if isinstance(leaf, Reaches)
    }
    assert sites == {
        "cutaneous-single": "own",
        "cutaneous-bilateral": "apart",
        "cutaneous-double-barrel": "shared",
        "transuretero-cutaneous": "shared",
        "ileal-conduit": "shared",
        "colon-conduit": "shared",
        "jejunal-conduit": "shared",
    }


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ({"reach": True, "side": "middle"}, "not of its form"),
        ({"reach": True, "sites": "any"}, "not of its form"),
        ({"reach": False}, "not of its form"),
        ({"reach": True, "unit": "mm"}, "unit does not go with 'reach'"),
        ({"reach": True, "fact": "short-bowel"}, "has fact and reach"),
        ({"any_of": [{"reach": True, "needs": ["pigeon"]}]}, "'pigeon' is not something"),
    ],
)
def test_a_condition_on_reach_is_refused_in_one_sentence(row: Any, fault: str) -> None:
    with pytest.raises(InputError, match=fault) as refused:
        parse(row, FORMS)
    assert refused.value.mend


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            {"reach": True, "side": "each", "sites": "shared"},
            "each ureter reaches at one and the same site",
        ),
        ({"reach": True, "side": "left"}, "the left ureter reaches"),
        (
            {"any_of": [{"reach": True, "side": "left"}, {"reach": True, "side": "right"}]},
            "(the left ureter reaches; or the right ureter reaches)",
        ),
    ],
)
def test_a_condition_on_reach_can_be_said(row: Any, words: str) -> None:
    assert parse(row, FORMS).said() == words


LOCAL = {
    "sentence": "Kidney function is high enough for this unit",
    "strength": "required",
    "source": "Invented Hospital, diversion protocol 4, 2026-02-01",
    "holds": {
        "finding": "gfr-to-rely-on",
        "called": "GFR",
        "at_least": 45,
        "unit": "mL/min/{1.73_m2}",
        "needs": ["creatinine"],
        "settled_by": ["measured-gfr"],
    },
}


OWN = {
    "source": "Invented Hospital, protocol 4",
    "criteria": ["two-kidneys"],
    "name": "Own",
    "description": "Own way",
    "metabolic": "None",
}
BAG = {"kind": "bag", "says": "a bag", "certainty": "always"}


def test_a_units_burdens_may_be_words_alone_or_data() -> None:
    rows = ["a bag at night", {**BAG, "every": [2, 3], "unit": "d", "night": False}]
    own = catalogue({"diversion": {"own": {**OWN, "burdens": rows}}}).diversion("own")
    words, data = own.daily
    assert (words.kind, words.says, words.often) == ("other", "a bag at night", "")
    assert (data.kind, data.night, data.often) == ("bag", False, "every 2 to 3 days")
    assert own.burdens == ("a bag at night", "a bag")
    assert own.standing == "usual"


def test_a_units_criterion_takes_the_place_of_ours_wherever_it_is_named() -> None:
    own = catalogue({"criterion": {"gfr-lower-limit": LOCAL}})
    for key in ("neobladder", "continent-pouch"):
        changed = next(c for c in own.diversion(key).criteria if c.key == "gfr-lower-limit")
        assert isinstance(changed.holds, Bound)
        assert changed.holds.low == 45
        assert changed.sources == ("unit-protocol",)
        assert "Invented Hospital" in changed.local_source
    assert len(own.notices) == 1
    assert "gfr-lower-limit" in own.notices[0]
    ours = {c.key: c for d in catalogue().diversions for c in d.criteria}
    for diversion in own.diversions:
        for criterion in diversion.criteria:
            if criterion.key != "gfr-lower-limit":
                assert criterion == ours[criterion.key]
    assert catalogue().notices == ()


def test_a_unit_may_set_the_least_margin_and_cite_our_bibliography() -> None:
    own = catalogue(
        {
            "setting": {"reach": {"least_margin_mm": 20, "source": "local"}},
            "criterion": {"two-kidneys": {**LOCAL, "source": "manski-tuu"}},
        }
    )
    assert own.least_margin_mm == 20
    changed = next(
        c for c in own.diversion("cutaneous-bilateral").criteria if c.key == "two-kidneys"
    )
    assert changed.sources == ("manski-tuu",)
    assert changed.local_source == ""


@pytest.mark.parametrize(
    ("theirs", "fault"),
    [
        ({"criteria": {}}, "criteria is not a part of the catalogue"),
        ({"criterion": {"own": {**LOCAL, "source": ""}}}, "names no source"),
        ({"criterion": {"own": {**LOCAL, "strength": "maybe"}}}, r"\[criterion.own\]: strength"),
        ({"criterion": {"own": {**LOCAL, "sentence": " "}}}, "'sentence' is missing"),
        ({"criterion": {"own": {**LOCAL, "holds": {"fact": "x"}}}}, r"\[criterion.own\]"),
        ({"setting": {"reach": {"source": "local"}}}, "least_margin_mm is None"),
        ({"diversion": {"own": {"source": "local", "criteria": []}}}, "criteria are missing"),
        (
            {"diversion": {"own": {"source": "local", "criteria": ["not-there"]}}},
            "criteria not-there",
        ),
        ({"criterion": {"own": {**LOCAL, "domains": ["moon"]}}}, "moon is not a domain"),
        ({"criterion": {"own": {**LOCAL, "ages": "cats"}}}, "ages = 'cats'"),
        ({"exemption": {"own": {"source": "local", "sentence": "None"}}}, "'domains' is missing"),
        (
            {"diversion": {"own": {**OWN, "exemptions": ["not-there"]}}},
            "exemptions not-there",
        ),
        ({"diversion": {"own": {**OWN, "standing": "new"}}}, "standing = 'new'"),
        (
            {"diversion": {"own": {**OWN, "standing": "last resort"}}},
            "'standing_note' is missing",
        ),
        ({"diversion": {"own": {**OWN, "burdens": "a bag"}}}, "'burdens' is not a list"),
        ({"diversion": {"own": {**OWN, "burdens": [{"kind": "bag"}]}}}, "a burden says nothing"),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "kind": "hat"}]}}},
            "kind = 'hat'",
        ),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "every": [6, 4], "unit": "h"}]}}},
            "every = .6, 4. is not a span",
        ),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "every": [4, 6]}]}}},
            "every has no unit",
        ),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "count": 0}]}}},
            "count = 0",
        ),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "night": "yes"}]}}},
            "night = 'yes'",
        ),
        (
            {"diversion": {"own": {**OWN, "burdens": [{**BAG, "colour": "red"}]}}},
            "colour does not belong",
        ),
        (
            {"diversion": {"own": {"source": "local", "criteria": "two-kidneys"}}},
            "not a list of words",
        ),
        (
            {
                "diversion": {
                    "own": {"source": "x", "criteria": ["two-kidneys"], "bowel_length_cm": [1]}
                }
            },
            "not a pair",
        ),
    ],
)
def test_a_units_mistake_is_refused_with_its_place(theirs: Any, fault: str) -> None:
    with pytest.raises(InputError, match=fault) as refused:
        catalogue(theirs)
    assert "catalogue" in str(refused.value)


def test_an_unknown_diversion_names_the_nearest() -> None:
    with pytest.raises(InputError, match="ileal-conduit"):
        catalogue().diversion("ileal conduit")
