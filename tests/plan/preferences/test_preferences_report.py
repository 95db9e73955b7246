"""Open options in order, closed ones apart whatever is answered, undecided with what they lack."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from tests.support.appraisal_people import FAVOURABLE, TODAY, appraised, case_of
from tests.support.preference_people import LATER, answered

from thalweg.plan.preferences.attributes import matters
from thalweg.plan.preferences.printed import flips_said, preference_lines, preferences_json
from thalweg.plan.preferences.report import Preferences, preferences_of

if TYPE_CHECKING:
    from thalweg.plan.appraise import Appraisal
    from thalweg.record.fact import Fact

KNOWN = matters()
CHANGED = appraised({"bladder-kept": False, "urethral-margin-tumour": None})
AGAINST_BAGS = {
    "no-bag/small-operation": "first",
    "no-bag/steady-blood": "first",
    "no-bag/no-catheter": "first",
    "no-bag/can-be-undone": "first",
    "no-bag/unseen": "first",
    "no-bag/no-tube": "first",
    "no-bag/dry-nights": "first",
}


def found(appraisal: Appraisal = CHANGED, *facts: Fact, **told: str) -> Preferences:
    """Return what an invented person's answers say."""
    given = [answered(key, word) for key, word in told.items()]
    return preferences_of(case_of(FAVOURABLE, *facts, *given), appraisal, KNOWN, TODAY)


def test_open_options_have_places_and_the_others_stand_apart() -> None:
    made = found(CHANGED, answered("no-bag/kidneys", "first"))
    verdicts = {one.diversion.key: one.verdict for one in CHANGED.diversions}
    placed = {one.row.diversion.key for one in made.order}
    assert placed == {key for key, said in verdicts.items() if said.startswith("open")}
    assert {one.diversion.key for one in made.closed} == {
        key for key, said in verdicts.items() if said == "closed"
    }
    (waiting,) = made.undecided
    assert waiting.diversion.key == "neobladder"
    assert waiting.missing == ("urethral-margin-tumour",)
    assert sum(one.first for one in made.order) == pytest.approx(1.0)


def test_whatever_is_answered_what_is_closed_stays_closed() -> None:
    told = [answered(key, word) for key, word in AGAINST_BAGS.items()]
    closed_pouch = appraised({"accepts-catheterisation": False})
    made = found(closed_pouch, *told)
    assert {one.verdict for one in made.closed} == {"closed"}
    named = {one.diversion.key for one in made.closed}
    assert {"continent-pouch", "neobladder"} <= named
    assert not named & {one.row.diversion.key for one in made.order}
    assert not named & {flip.option for flip in made.weight_flips}
    assert not named & {flip.option for flip in made.answer_flips}


def test_answers_against_bags_put_the_pouch_first_where_it_is_open() -> None:
    told = [answered(key, word) for key, word in AGAINST_BAGS.items()]
    before, after = found(), found(CHANGED, *told)
    share = {one.row.diversion.key: one.first for one in after.order}
    earlier = {one.row.diversion.key: one.first for one in before.order}
    assert share["continent-pouch"] > 2 * earlier["continent-pouch"]
    weights = {one.name: one for one in after.findings()}
    bag = weights["preference-weight-no-bag"]
    assert bag.interval is not None
    assert float(str(bag.value)) > 25
    # Even shares of ten matters would be 10 %.
    assert bag.interval[0] > 10


def test_a_closed_option_more_or_less_changes_no_number() -> None:
    told = answered("no-bag/kidneys", "second")
    whole = found(CHANGED, told)
    rows = tuple(one for one in CHANGED.diversions if one.verdict != "closed")
    fewer = found(replace(CHANGED, diversions=rows), told)
    first, second = preferences_json(whole), preferences_json(fewer)
    for each in (first, second):
        del each["closed"]
    assert first == second


def test_answers_that_pull_apart_are_all_counted_and_said_kindly() -> None:
    told = {
        "no-bag/no-catheter": "first",
        "no-catheter/kidneys": "first",
        "no-bag/kidneys": "second",
    }
    made = found(CHANGED, *(answered(key, word) for key, word in told.items()))
    assert len(made.given.answers) == 3
    assert made.circles == (("kidneys", "no-bag", "no-catheter"),)
    (sentence,) = [one for one in made.cautions if "pull in different" in one]
    assert "nobody's mistake" in sentence
    assert "asking one of them again" in sentence


def test_without_a_telling_answer_no_order_is_shown() -> None:
    made = found(CHANGED, answered("no-bag/kidneys", "do not know"))
    assert not made.telling
    assert "no order to show" in made.steadiness
    lines = preference_lines(made)
    assert not [line for line in lines if "mean" in line]
    assert "between “no bag” and “kidneys kept as long as possible”: does not know" in str(lines)


def test_kidneys_first_widens_places_and_says_that_nothing_is_known() -> None:
    keys = [f"{one.key}/kidneys" for one in KNOWN.attributes[:4]]
    keys += [f"kidneys/{one.key}" for one in KNOWN.attributes[5:8]]
    made = found(
        CHANGED,
        *(answered(key, "first" if key.startswith("kidneys") else "second") for key in keys),
    )
    assert made.unknown_weight > 0.25
    assert [one for one in made.cautions if "not known" in one and "wide" in one]
    assert all(one.unknown == ("kidneys kept as long as possible",) for one in made.order)


def test_an_operation_of_the_past_that_is_open_is_said_to_be_one() -> None:
    first = next(one for one in CHANGED.diversions if one.verdict == "open")
    old = replace(first.diversion, standing="historical", standing_note="given up elsewhere")
    rows = tuple(replace(one, diversion=old) if one is first else one for one in CHANGED.diversions)
    made = found(replace(CHANGED, diversions=rows))
    assert f"{old.name} is historical: given up elsewhere." in made.cautions
    assert not [one for one in found().cautions if "given up elsewhere" in one]


def test_words_of_a_firm_a_leaning_and_an_open_first_place() -> None:
    made = found(CHANGED, answered("no-bag/kidneys", "first"))
    one, *others = made.order
    none = tuple(replace(other, shares=(0.0, *other.shares[1:])) for other in others)
    for share, word in ((0.95, "a firm first place"), (0.7, "leaning"), (0.4, "settle no order")):
        told = replace(made, order=(replace(one, shares=(share, *one.shares[1:])), *none))
        assert word in told.steadiness
        assert f"{100 * share:.0f} of 100" in told.steadiness


def test_findings_walk_back_to_the_answers_and_json_is_whole() -> None:
    later = answered("no-bag/kidneys", "second", LATER)
    made = found(CHANGED, answered("no-bag/kidneys", "first"), later)
    for finding in made.findings():
        assert later in finding.all_facts
        assert finding.at == LATER
        assert finding.interval is None or finding.interval[0] <= float(str(finding.value))
    shown = json.loads(json.dumps(preferences_json(made), allow_nan=False))
    assert shown["answers"][0]["fact"]["origin"] == "the person: invented"
    assert [one["value"] for one in shown["answers"][0]["earlier"]] == ["first"]
    for row in shown["order"]:
        assert sum(row["place_shares_percent"]) == pytest.approx(100)
    assert shown["next_question"]["key"] != "no-bag/kidneys"
    assert flips_said(made)


def test_the_same_case_gives_the_same_numbers() -> None:
    told = answered("no-bag/kidneys", "first")
    assert preferences_json(found(CHANGED, told)) == preferences_json(found(CHANGED, told))


def test_no_open_option_and_a_single_one_are_said() -> None:
    none = found(appraised({"kidneys-present": None, "bladder-kept": False}))
    assert none.order == ()
    assert "No option is open" in none.steadiness
    assert [line for line in preference_lines(none) if "waits for" in line]
    one = replace(CHANGED, diversions=CHANGED.diversions[1:2])
    assert "Only one option" in found(one).steadiness
