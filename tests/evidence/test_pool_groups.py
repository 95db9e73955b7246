"""What may stand in one pool: one definition, one unit, each person once, and every reason said."""

from __future__ import annotations

from dataclasses import replace

import pytest

from thalweg.errors import InputError
from thalweg.evidence.pool_groups import PoolGroup, pool_groups, pool_rules
from thalweg.evidence.series import Series, packaged, published

ROWS = {one.key: one for one in packaged()}
ADULTS = published(population="adult")


def only(rows: tuple[Series, ...], diversion: str | None, group: str, unit: str) -> PoolGroup:
    (found,) = (
        one
        for one in pool_groups(rows, diversion=diversion)
        if (one.definition_group, one.unit) == (group, unit)
    )
    return found


def reasons(group: PoolGroup) -> dict[str, str]:
    return {one.series.key: one.why for one in group.left_out}


def test_definitions_units_and_populations_are_never_mixed() -> None:
    for diversion in (None, "ileal-conduit", "cutaneous-bilateral", "neobladder"):
        for group in pool_groups(packaged(), diversion=diversion):
            for name in ("outcome", "definition_group", "unit", "population"):
                kept = {getattr(one, name) for one in group.series}
                assert kept <= {getattr(group, name)}
            assert len(group.events) == len(group.totals) == len(group.series)
            assert not any(one.excluded for one in group.series)


def test_every_series_that_fits_stands_in_a_pool_or_has_its_reason() -> None:
    for diversion in ("ileal-conduit", "neobladder", "continent-pouch", "nephrostomy"):
        rows = published(diversion=diversion)
        groups = pool_groups(rows, diversion=diversion)
        kept = [one.key for group in groups for one in group.series]
        left = [one.series.key for group in groups for one in group.left_out]
        assert sorted(kept + left) == [one.key for one in rows]


def test_tubes_after_cutaneous_ureterostomy() -> None:
    rows = published(outcome="tube-dependence", population="adult")
    groups = [
        only(rows, key, "tube-at-last-look", "renal unit")
        for key in ("cutaneous-single", "cutaneous-bilateral", "cutaneous-double-barrel")
    ]
    for group in groups:
        assert (sum(group.events), sum(group.totals), len(group.series)) == (71, 435, 5)
        assert any("seldom tell" in one for one in group.cautions)
        assert any("independent" in one for one in group.cautions)
    assert pool_groups(rows, diversion="ileal-conduit") == ()


def test_contradictions_reviews_and_bare_shares_stay_out() -> None:
    clinical = only(ADULTS, "ileal-conduit", "hernia-found-clinically", "patient")
    assert "contradict each other" in reasons(clinical)["narang-hernia"]
    # A contradiction that could be resolved stays in, by its counts.
    assert "blanc-2024-hernia" in {one.key for one in clinical.series}
    seen = only(ADULTS, "ileal-conduit", "hernia-on-tomography", "patient")
    assert "share over time" in reasons(seen)["maruo-2020-hernia-5-years"]
    ureters = only(ADULTS, "ileal-conduit", "stricture-as-reported", "ureter")
    assert ureters.series == ()
    assert "adds up series of others" in reasons(ureters)["davis-2015-bricker"]


def test_people_who_stand_twice_are_pooled_once() -> None:
    strictures = only(ADULTS, None, "stricture-as-reported", "patient")
    assert "mayo-malignant-stricture-2016" in reasons(strictures)["yang-2020-stricture"]
    assert "mayo-2016-stricture" in {one.key for one in strictures.series}
    night = only(ADULTS, "neobladder", "incontinence-night", "patient")
    why = reasons(night)["five-years-2006-night-early"]
    assert "five-years-2006-night-late" in why
    # Arms of one study are different people.
    assert {"bricker-2019-stricture", "wallace-2019-stricture"} <= {
        one.key for one in strictures.series
    }


def test_the_groups_of_a_study_go_before_its_whole() -> None:
    row = ROWS["bricker-2019-stricture"]
    whole = replace(row, key="whole", arm="", n=140, events=24, printed="")
    group = only(
        (row, ROWS["wallace-2019-stricture"], whole),
        "ileal-conduit",
        "stricture-as-reported",
        "patient",
    )
    assert sum(group.totals) == 140
    assert list(reasons(group)) == ["whole"]


def test_two_studies_that_name_each_other_do_not_both_vanish() -> None:
    one = replace(ROWS["kouba-2007-hernia"], overlaps=("che-2024",))
    other = replace(ROWS["che-2024-hernia"], overlaps=("kouba-2007",))
    group = only((one, other), "ileal-conduit", "hernia-found-clinically", "patient")
    assert len(group.series) == 1


def test_mixed_people_stand_in_the_pool_of_all_only() -> None:
    rows = published(outcome="ureteroenteric-stricture", population="adult")
    conduit = only(rows, "ileal-conduit", "stricture-as-reported", "patient")
    assert "not told apart" in reasons(conduit)["mayo-2016-stricture"]
    everyone = only(rows, None, "stricture-as-reported", "patient")
    assert "mayo-2016-stricture" in {one.key for one in everyone.series}
    assert any("different diversions" in one for one in everyone.cautions)
    # Mostly ileum, some colon: pooled with conduits of ileum, and said.
    stomas = published(outcome="stoma-complication", population="adult")
    stoma = only(
        stomas,
        "ileal-conduit",
        "stoma-any",
        "patient",
    )
    assert "shimko-2011-stoma" in {one.key for one in stoma.series}
    assert "Some of the people had a conduit of colon." in stoma.cautions
    colon = only(
        stomas,
        "colon-conduit",
        "stoma-any",
        "patient",
    )
    assert "not told apart" in reasons(colon)["shimko-2011-stoma"]


def test_figures_from_memory_stay_out_unless_the_unit_says_otherwise() -> None:
    rows = (ROWS["kouba-2007-hernia"], replace(ROWS["che-2024-hernia"], read="memory"))
    group = only(rows, "ileal-conduit", "hernia-found-clinically", "patient")
    assert "remembered" in reasons(group)["che-2024-hernia"]
    own = pool_rules(
        {"leave-out": {"memory": {"applies": False, "says": "kept", "source": "our audit, 2026"}}}
    )
    (group,) = pool_groups(rows, diversion="ileal-conduit", rules=own)
    assert len(group.series) == 2
    assert any("leave-out.memory" in one for one in group.cautions)
    assert any("remembered" in one for one in group.cautions)


def test_a_missing_or_very_different_follow_up_is_said() -> None:
    group = only(ADULTS, "ileal-conduit", "stoma-any", "patient")
    assert any("improved-2019-conventional" in one for one in group.cautions)
    assert any("12 to 98 months" in one for one in group.cautions)


@pytest.mark.parametrize(
    ("theirs", "sentence"),
    [
        ({"nonsense": {}}, "not a part of the rules"),
        ({"leave-out": {"memory": {"applies": True, "says": "x"}}}, "names no source"),
        ({"leave-out": {"new": {"applies": True, "says": "x", "source": "y"}}}, "no such rule"),
        ({"leave-out": {"memory": {"says": "x", "source": "y"}}}, "whether it applies"),
        ({"together": {"all": {"says": "x", "source": "y"}}}, "names no diversions"),
        ({"company": {"neobladder": {"diversions": [], "source": "y"}}}, "no words"),
    ],
)
def test_a_unit_s_rules_are_checked(theirs: dict[str, object], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        pool_rules(theirs)
