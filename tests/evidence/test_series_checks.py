"""Each entry check refuses what it is there for, by a sentence that names row, fault and mend."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from thalweg.errors import InputError
from thalweg.evidence.series import Series
from thalweg.evidence.series_checks import check_one_unit, check_series

GOOD = Series(
    key="good",
    source="terai-2006",
    year=2006,
    setting="invented",
    population="adult",
    diversions=("ileal-conduit",),
    outcome="stone",
    definition_group="stone-anywhere",
    unit="patient",
    n=131,
    events=12,
    follow_up_months=98,
    follow_up_kind="median",
    printed="9",
    enrolled=(1971, 1995),
    read="abstract",
)


def said(row: Series, **others: Any) -> list[str]:
    return [str(one) for one in check_series([row], this_year=2026, **others)]


def test_a_sound_row_passes() -> None:
    assert said(GOOD, diversions={"ileal-conduit"}) == []


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"outcome": "happiness"}, "'happiness' is not an outcome"),
        ({"definition_group": "stenosis-treated"}, "is not a definition of 'stone'"),
        ({"unit": "person"}, "'person' is not a unit of counting"),
        ({"source": "nobody-2001"}, "not in the bibliography"),
        ({"events": 132, "printed": ""}, "132 events of 131 cannot be"),
        ({"events": -1, "printed": ""}, "-1 events of 131 cannot be"),
        ({"n": 0, "events": None}, "n is 0"),
        ({"printed": "10"}, "12 of 131 is not the printed 10 %, however it is rounded"),
        ({"printed": "9.1"}, None),
        ({"printed": "9.16"}, None),
        ({"printed": "9.17"}, "is not the printed 9.17 %"),
        ({"events": None, "n": 41, "printed": "61.5"}, "no whole count of 41 gives"),
        ({"printed": "9 %"}, "not a percentage as printed"),
        ({"printed": "92", "printed_without": True}, "119 of 131"),
        ({"printed": "91", "printed_without": True}, None),
        ({"discrepancy": "it does not fit"}, "the figures agree"),
        ({"printed": "10", "discrepancy": "it does not fit"}, None),
        ({"follow_up_months": None}, "given without a follow-up"),
        ({"follow_up_months": None, "follow_up_unknown": True}, None),
        ({"follow_up_months": None, "at_months": 60.0}, None),
        ({"follow_up_kind": ""}, "does not say what the follow-up is"),
        ({"follow_up_months": 0.0}, "a follow-up of 0 months cannot be"),
        ({"follow_up_months": 1176.0, "enrolled": None}, "a follow-up of 1176 months cannot be"),
        ({"follow_up_months": 440.0}, "does not fit between 1971 and 2006"),
        ({"enrolled": (1995, 1971)}, "operations from 1995 to 1971 cannot be"),
        ({"enrolled": (1971, 2007)}, "operations until 2007 cannot stand"),
        ({"year": 2027}, "the year 2027 is yet to come"),
        ({"survival_percent": 101.0, "at_months": 60.0}, "a share of 101 %"),
        ({"survival_percent": 90.0}, "a share free of the outcome has no time"),
        (
            {"survival_percent": 90.0, "at_months": 60.0, "survival_interval": (91.0, 95.0)},
            "a share of 90 % (91 to 95) cannot be",
        ),
        ({"survival_interval": (91.0, 95.0)}, "an interval of a share and no share"),
        (
            {"outcome": "metabolic-acidosis", "definition_group": "acidosis-year-1"},
            "given without its time",
        ),
        (
            {
                "outcome": "metabolic-acidosis",
                "definition_group": "acidosis-year-1",
                "at_months": 24.0,
            },
            "24 months lies outside its definition (9 to 15)",
        ),
    ],
)
def test_each_fault_has_its_sentence(change: dict[str, Any], sentence: str | None) -> None:
    found = said(replace(GOOD, **change))
    if sentence is None:
        assert found == []
    else:
        assert len(found) == 1, found
        assert sentence in found[0]
        assert found[0].startswith("series good: ")
        assert "; " in found[0] or found[0].count(".") >= 1


def test_a_diversion_must_be_in_the_catalogue() -> None:
    (one,) = said(
        replace(GOOD, diversions=("ileal-conduit", "magic")), diversions={"ileal-conduit"}
    )
    assert "'magic' is not a diversion" in one


def pair(**change: Any) -> list[str]:
    other = replace(GOOD, key="other", source="kouba-2007", year=2007, **change)
    first = replace(GOOD, cohort="here")
    return [str(one) for one in check_series([first, other])]


def test_people_of_one_hospital_in_two_studies_must_be_declared() -> None:
    (one,) = pair(cohort="here", enrolled=(1990, 2000))
    assert "may hold the people of terai-2006" in one
    assert pair(cohort="here", enrolled=(1990, 2000), overlaps=("terai-2006",)) == []
    assert pair(cohort="here", enrolled=(1996, 2000)) == []
    assert pair(cohort="there", enrolled=(1990, 2000)) == []
    assert pair(cohort="here", enrolled=(1990, 2000), diversions=("neobladder",)) == []
    # Years that are not given may overlap: the doubt is not resolved in silence.
    assert len(pair(cohort="here", enrolled=None)) == 1


def test_one_count_entered_twice_comes_to_light() -> None:
    again = replace(GOOD, key="again")
    assert "counts the same as good" in str(check_series([GOOD, again])[0])
    assert check_series([GOOD, replace(again, arm="women")]) == ()
    assert "stands twice" in str(check_series([GOOD, GOOD])[0])


def test_units_and_outcomes_are_never_mixed() -> None:
    check_one_unit([GOOD, replace(GOOD, key="other")])
    with pytest.raises(InputError, match="mix units of counting: patient, renal unit"):
        check_one_unit([GOOD, replace(GOOD, key="other", unit="renal unit")])
    with pytest.raises(InputError, match="mix outcomes: leak, stone"):
        check_one_unit([GOOD, replace(GOOD, key="other", outcome="leak")])
