"""The form of conditions: what it takes, what it refuses, how it is said."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from thalweg.assess.chemistry.rules import FORMS as CHEMISTRY_FORMS
from thalweg.errors import InputError
from thalweg.evidence.conditions.form import Bound, computed
from thalweg.evidence.conditions.reading import FORMS, parse
from thalweg.plan.criteria.reaches import FORMS as REACH_FORMS
from thalweg.record.concept import concepts
from thalweg.record.units import parse_unit

FINDING = {
    "finding": "pulse",
    "called": "pulse wave",
    "at_least": 5,
    "unit": "m",
    "needs": ["creatinine"],
    "settled_by": ["measured-gfr"],
}


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("bowel-disease", "is not a table"),
        ({}, "has none"),
        ({"fact": "bowel-disease", "choice": "dexterity"}, "has fact and choice"),
        ({"fact": "bowel-disease"}, "does not say what it must be"),
        ({"fact": "bowel-disease", "is": "no"}, "does not say what it must be"),
        ({"fact": "bowel-diseases", "is": False}, "perhaps bowel-disease"),
        ({"fact": "dexterity", "is": True}, "is a choice, not a yes-no"),
        ({"fact": "bowel-disease", "is": False, "unit": "mg/dL"}, "unit does not go with"),
        ({"fact": "bowel-disease", "is": False, "max_age_days": 0}, "not a number of days"),
        ({"choice": "dexterity", "one_of": ["nimble"]}, "cannot be 'nimble'"),
        ({"choice": "dexterity"}, "cannot be nothing"),
        ({"quantity": "creatinine", "at_most": 150}, "a number without a unit"),
        ({"quantity": "creatinine", "at_most": 150, "unit": "kg"}, "cannot be in kg"),
        ({"quantity": "creatinine", "unit": "umol/L"}, "has no bounds"),
        ({"quantity": "creatinine", "at_most": "150", "unit": "umol/L"}, "is not a number"),
        (
            {"quantity": "creatinine", "at_least": 9, "at_most": 5, "unit": "umol/L"},
            "no value lies from 9 to 5",
        ),
        ({"finding": "gfr", "at_least": 5, "unit": "kg"}, "which facts would settle it"),
        ({"quantity": "creatinine", "at_least": 1, "above": 1, "unit": "umol/L"}, "one bound"),
        ({"quantity": "creatinine", "above": 5, "at_most": 5, "unit": "umol/L"}, "no value lies"),
        ({"quantity": "gfr", "below": 30, "unit": "mL/min"}, "'gfr' cannot be in mL/min"),
        ({"quantity": "gfr", "below": 30, "unit": "mL/min", "close_share": 0.2}, "does not go"),
        ({**FINDING, "close_share": 1.0}, "is not a share"),
        ({**FINDING, "needs": ["pigeon"]}, "'pigeon' is not something"),
        ({"sex": "f"}, "sex = "),
        ({"reach": True}, "has none"),
        ({"all_of": []}, "has no parts"),
        ({"any_of": [{"fact": "bowel-disease"}]}, "does not say what it must be"),
    ],
)
def test_a_condition_of_no_known_form_is_refused_in_one_sentence(row: Any, fault: str) -> None:
    with pytest.raises(InputError, match=fault) as refused:
        parse(row)
    assert str(refused.value).count("\n") == 0
    assert refused.value.mend


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            {"fact": "bowel-disease", "is": False},
            "'bowel disease (inflammatory, radiation injury)' no",
        ),
        (
            {"choice": "dexterity", "one_of": ["full", "limited"]},
            "'use of the hands' full or limited",
        ),
        (
            {"quantity": "split-function-left", "at_least": 15, "at_most": 85, "unit": "%"},
            "left kidney's share of function at least 15 and at most 85 %",
        ),
        (
            {"quantity": "gfr", "above": 30, "below": 45, "unit": "mL/min/{1.73_m2}"},
            "GFR above 30 and below 45 mL/min/1.73 m²",
        ),
        (FINDING, "pulse wave at least 5 m"),
        (
            {"all_of": [{"sex": "male"}, {"fact": "short-bowel", "is": True}]},
            "(male; and 'short bowel or earlier extensive resection' yes)",
        ),
        (
            {"any_of": [{"sex": "male"}, {"sex": "female"}]},
            "(male; or female)",
        ),
    ],
)
def test_a_condition_can_be_said(row: Any, words: str) -> None:
    assert parse(row).said() == words


def conditions_in(value: Any) -> Iterator[Mapping[str, Any]]:
    """Yield every table of a data file that stands where a condition does."""
    if isinstance(value, Mapping):
        for key, part in value.items():
            if key in ("when", "holds"):
                yield from parts_of(part)
            else:
                yield from conditions_in(part)
    elif isinstance(value, list):
        for part in value:
            yield from conditions_in(part)


def parts_of(row: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    yield row
    for part in (*row.get("all_of", ()), *row.get("any_of", ())):
        yield from parts_of(part)


def test_every_key_of_the_form_is_used_by_the_data_files_or_by_these_tests() -> None:
    package = Path(str(files("thalweg")))
    rows = [
        row
        for path in sorted(package.rglob("*.toml"))
        for row in conditions_in(tomllib.loads(path.read_text(encoding="utf-8")))
    ]
    for row in rows:
        parse(row, {**CHEMISTRY_FORMS, **REACH_FORMS})
    used = {key for row in rows for key in row}
    # `above` with `below`, an age limit, a share of its own: the tests beside this one.
    assert used == {
        *("fact", "is", "choice", "one_of", "quantity", "finding", "sex", "all_of", "any_of"),
        *("at_least", "at_most", "above", "below", "unit", "max_age_days", "called", "needs"),
        *("settled_by", "close_share", "reach", "side", "sites"),
        *("disturbance", "touched_by_bowel"),
    }


def test_the_page_on_conditions_names_every_form_and_key() -> None:
    page = Path(__file__).parents[3].joinpath("docs/conditions.md").read_text(encoding="utf-8")
    keys = {key for head, form in FORMS.items() for key in (head, *form.keys)}
    own = {key for forms in (CHEMISTRY_FORMS, REACH_FORMS) for key in forms}
    missing = [key for key in sorted({*keys, *own, "all_of", "any_of"}) if key not in page]
    assert missing == []


def test_what_is_computed_is_no_concept_and_says_what_would_make_it() -> None:
    for key, row in computed().items():
        # An age may be typed; it is computed from the date of birth where there is one.
        assert key not in concepts() or key == "age"
        assert parse_unit(row.unit) == row.unit
        assert {*row.needs, *row.settled_by} <= set(concepts())
        assert row.needs or key == "age"
    condition = parse({"quantity": "gfr", "below": 30, "unit": "mL/min/{1.73_m2}"})
    assert isinstance(condition, Bound)
    assert condition.of is computed()["gfr"]
