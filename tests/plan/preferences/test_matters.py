"""The packaged matters agree with the catalogue, and a unit's own are read or refused."""

from __future__ import annotations

from typing import Any

import pytest

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.plan.catalogue import catalogue
from thalweg.plan.preferences.attributes import matters

OURS = matters()
CLINIC = "Our clinic, 2026"
DIVERSIONS = {one.key: one for one in catalogue().diversions}


def word(diversion: str, attribute: str) -> tuple[str, str] | None:
    """Return the keys of the best and the worst level that a diversion may have."""
    known = OURS.attribute(attribute)
    assert known is not None
    span = OURS.span(diversion, known)
    return None if span is None else (known.levels[span[0]][0], known.levels[span[1]][0])


def test_every_diversion_of_the_catalogue_has_its_row_and_every_source_exists() -> None:
    assert set(DIVERSIONS) <= set(OURS.holdings)
    named = [one.sources for one in OURS.attributes]
    named += [one.sources for one in OURS.holdings.values()]
    for sources in named:
        assert sources
        assert set(sources) <= set(bibliography())


@pytest.mark.parametrize("key", list(DIVERSIONS))
def test_levels_say_what_the_catalogue_says(key: str) -> None:
    diversion = DIVERSIONS[key]
    criteria = {criterion.key for criterion in diversion.criteria}
    operation = word(key, "small-operation")
    assert operation is not None
    # No bowel opened, and urine that touches none, are one thing.
    assert (operation[1] in {"tube", "no-bowel"}) == (diversion.bowel == "")
    assert (word(key, "steady-blood") == ("untouched", "untouched")) == (diversion.bowel == "")
    if diversion.bowel_length_cm is not None and diversion.bowel_length_cm[0] >= 30:
        assert operation == ("long-bowel", "long-bowel")
    # A catheter that the person must accept is one that may have to be passed.
    catheter = word(key, "no-catheter")
    assert catheter is not None
    assert (catheter[1] == "daily") == ("accepts-catheter" in criteria)
    # Hands for a bag are asked where one may be worn.
    bag = word(key, "no-bag")
    assert bag is not None
    if "hands-for-bag" in criteria:
        assert bag[1] != "none"
    if any("bag" in burden for burden in diversion.burdens):
        assert bag[1] != "none"


def test_nothing_claims_to_know_which_diversion_keeps_the_kidneys() -> None:
    assert {word(key, "kidneys") for key in OURS.holdings} == {None}
    kidneys = OURS.attribute("kidneys")
    assert kidneys is not None
    assert "No diversion is placed" in kidneys.note


def test_a_units_own_rows_take_the_place_of_ours_and_are_said() -> None:
    own = matters(
        {
            "attribute": {
                "no-noise": {
                    "name": "no noise",
                    "levels": [["quiet", "quiet"], ["loud", "loud"]],
                    "source": CLINIC,
                },
                "unseen": {"asked": False, "source": CLINIC},
            },
            "diversion": {
                "ileal-conduit": {
                    "no-bag": "one",
                    "no-noise": "quiet",
                    "source": CLINIC,
                }
            },
            "setting": {"asking": {"most": 4, "least_gain_bit": 0.02, "source": CLINIC}},
        }
    )
    noise = own.attribute("no-noise")
    assert noise is not None
    assert noise.local_source == "Our clinic, 2026"
    assert own.span("ileal-conduit", noise) == (0, 0)
    assert own.attribute("unseen") is None
    assert own.settings.most == 4
    assert len(own.notices) == 3


@pytest.mark.parametrize(
    ("theirs", "what"),
    [
        ({"matter": {}}, "matter is not a part"),
        ({"attribute": {"x": {"source": "s", "name": "x", "levels": [["a", "b"]]}}}, "levels"),
        ({"attribute": {"x": {"source": "s", "levels": [["a", "b"], ["c", "d"]]}}}, "'name'"),
        ({"attribute": {"x/y": {"source": "s"}}}, "'/'"),
        (
            {"attribute": {"x": {"source": "s", "name": "x", "levels": [["a", "b"], ["a", "d"]]}}},
            "two levels have one key",
        ),
        ({"diversion": {"x": {"source": "s", "no-bga": "none"}}}, "'no-bga' is not a matter"),
        ({"diversion": {"x": {"source": "s", "no-bag": "three"}}}, "no-bag = 'three'"),
        ({"diversion": {"x": {"source": "s", "no-bag": ["two", "none"]}}}, "wrong way round"),
        ({"setting": {"asking": {"source": "s", "most": 0, "least_gain_bit": 0.1}}}, "most is 0"),
        (
            {"setting": {"answers": {"source": "s", "twice_is_said": 0.4, "equal_is_said": 0.3}}},
            "twice_is_said is 0.4",
        ),
    ],
)
def test_a_units_row_of_another_form_is_refused(theirs: dict[str, Any], what: str) -> None:
    with pytest.raises(InputError) as refused:
        matters(theirs)
    assert what in str(refused.value)
