"""Every total against scores added up by hand, and every range against trying all completions."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support import fitness_witness as witness
from tests.support.fitness_witness import CAPRINI, CHARLSON, one, person, span

from thalweg.assess.fitness.rulebook import rulebook

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from tests.support.fitness_witness import Answer

YES_NO = st.booleans()
# Either side of every limit of any of these scores, and on it.
CREATININE = tuple((text, "mg/dL") for text in ("0.8", "2.0", "2.01", "3.0", "3.1"))
SATURATION = tuple((text, "%") for text in ("90", "91", "95", "96"))
HAEMOGLOBIN = tuple((text, "g/dL") for text in ("9.9", "10", "10.1"))
HOURS = tuple((text, "h") for text in ("0.5", "0.75", "0.8", "2", "2.1", "3", "3.1"))
WEIGHT = tuple((text, "kg") for text in ("40", "60", "72.25", "72.3", "110"))
HEIGHT = tuple((text, "cm") for text in ("150", "170", "200"))

OPTIONS: Mapping[str, Mapping[str, tuple[Answer, ...]]] = {
    "rcri": {
        **dict.fromkeys(
            (
                "operation-intraperitoneal",
                "ischaemic-heart-disease",
                "heart-failure",
                "cerebrovascular-disease",
                "insulin-treated-diabetes",
            ),
            (True, False),
        ),
        "creatinine": CREATININE,
    },
    "ariscat": {
        "oxygen-saturation": SATURATION,
        "respiratory-infection-month": (True, False),
        "haemoglobin": HAEMOGLOBIN,
        "operation-incision": (
            "peripheral or lower abdominal",
            "upper abdominal",
            "intrathoracic",
        ),
        "operation-hours": HOURS,
        "operation-emergency": (True, False),
    },
    "charlson": {
        **dict.fromkeys(CHARLSON, (True, False)),
        "liver-disease": ("none", "mild", "moderate or severe"),
        "diabetes": ("none", "without organ damage", "with organ damage"),
        "on-dialysis": (True, False),
        "kidney-transplant": (True, False),
        "creatinine": CREATININE,
        "metastases": (True, False),
        "other-tumour": (True, False),
    },
    "caprini": {
        **dict.fromkeys(CAPRINI, (True, False)),
        "weight": WEIGHT,
        "height": HEIGHT,
        "bed-rest": ("no", "medical patient at bed rest", "in bed for more than 72 hours"),
        "operation-way": ("open", "laparoscopic or robotic", "endoscopic or through the skin"),
        "operation-hours": HOURS,
    },
}
BY_HAND: Mapping[str, Callable[[Mapping[str, Answer], int], int]] = {
    "rcri": lambda answers, _: witness.rcri(answers),
    "ariscat": witness.ariscat,
    "charlson": lambda answers, _: witness.charlson(answers),
    "caprini": witness.caprini,
}


def complete(key: str) -> st.SearchStrategy[dict[str, Answer]]:
    """Return people all of whose answers to a score are known."""
    return st.fixed_dictionaries(
        {name: st.sampled_from(choices) for name, choices in OPTIONS[key].items()}
    )


@pytest.mark.parametrize("key", sorted(OPTIONS))
@given(data=st.data())
@settings(max_examples=30, deadline=None)
def test_known_totals_are_those_added_up_by_hand(key: str, data: st.DataObject) -> None:
    answers = data.draw(complete(key))
    age = data.draw(st.sampled_from((30, 40, 41, 50, 51, 60, 61, 74, 75, 80, 81)))
    # No rate, so that nothing follows from it; a woman, so that nothing follows from sex.
    woman = person(answers, age=str(age), sex="female", gfr=None)
    expected = BY_HAND[key](answers, age)
    assert span(woman, key) == (expected, expected)
    assert one(woman, key).result.missing == ()


@pytest.mark.parametrize("key", sorted(OPTIONS))
@given(data=st.data())
@settings(max_examples=15, deadline=None)
def test_ranges_are_those_of_every_completion(key: str, data: st.DataObject) -> None:
    answers = data.draw(complete(key))
    # Weight and height stay known: no few values of one lie on both sides of 25 kg/m² for every
    # value of the other. What a lack of them does is tested below.
    may_be_open = sorted(set(OPTIONS[key]) - {"weight", "height"})
    open_names = data.draw(st.lists(st.sampled_from(may_be_open), max_size=4, unique=True))
    known = {name: answer for name, answer in answers.items() if name not in open_names}
    totals = [
        BY_HAND[key]({**answers, **dict(zip(open_names, tried, strict=True))}, 45)
        for tried in product(*(OPTIONS[key][name] for name in open_names))
    ]
    woman = person(known, age="45", sex="female", gfr=None)
    assert span(woman, key) == (min(totals), max(totals))


@pytest.mark.parametrize("key", sorted(OPTIONS))
@given(data=st.data())
@settings(max_examples=15, deadline=None)
def test_learning_more_never_widens_a_range(key: str, data: st.DataObject) -> None:
    answers = data.draw(complete(key))
    some = data.draw(st.sets(st.sampled_from(sorted(answers))))
    fewer = data.draw(st.sets(st.sampled_from(sorted(some)))) if some else set()

    def known(names: set[str]) -> tuple[float, float]:
        # 45 years: from 60 on a pregnancy is excluded by age, against the answer that is drawn.
        woman = person({k: answers[k] for k in names}, age="45", sex="female", gfr=None)
        return span(woman, key)

    wide, narrow = known(fewer), known(some)
    assert wide[0] <= narrow[0] <= narrow[1] <= wide[1]


def test_a_body_mass_that_cannot_be_computed_is_open() -> None:
    whole: dict[str, Answer] = {"weight": ("90", "kg"), "height": ("170", "cm")}
    low, high = span(person(whole), "caprini")
    for lacking in whole:
        rest = {name: answer for name, answer in whole.items() if name != lacking}
        assert span(person(rest), "caprini") == (low - 1, high)
        assert lacking in one(person(rest), "caprini").result.missing


def test_nothing_known_spans_the_whole_score() -> None:
    # The published ranges: RCRI 0 to 6; ARISCAT's greatest sum 123 (16+24+17+11+24+23+8).
    nobody = person({}, age="40", sex="female", gfr=None)
    assert span(nobody, "rcri") == (0, 6)
    assert span(nobody, "ariscat") == (0, 107)
    assert span(person({}, age="90", gfr=None), "ariscat") == (16, 123)
    # Charlson's weights add up to 8 + 3 + 2 + 2 + 2 + 6 + 2 + 2 + 6; the worse of each pair.
    assert span(nobody, "charlson") == (0, 8 + 3 + 2 + 2 + 2 + 6 + 2 + 2 + 6)


def test_what_would_narrow_most_comes_first() -> None:
    result = one(person({}, age="40", gfr=None), "ariscat").result
    spreads = [item.most - item.least for item in result.narrowing]
    assert spreads == sorted(spreads, reverse=True)
    assert {"oxygen-saturation", "operation-incision"} == set(result.missing[:2])


def test_every_rule_has_distinct_items_and_ascending_bands() -> None:
    for rule in rulebook().rules:
        keys = [item.key for item in rule.items]
        assert len(keys) == len(set(keys)), rule.key
        asked = [name for item in rule.items for name in item.asks if name != "age"]
        assert len(asked) == len(set(asked)), rule.key
