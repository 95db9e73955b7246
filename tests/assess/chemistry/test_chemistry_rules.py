"""The report as a whole: sources, units, a unit's own rules, and whatever the living can have."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.chemistry_people import (
    DAY,
    HERE,
    URINE,
    arterial,
    chem_fact,
    ions,
    report,
    told,
)

from thalweg.assess.chemistry.report import ChemistryInputs, chemistry_findings, chemistry_rules
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography, cite
from thalweg.record.concept import concept
from thalweg.record.fact import Fact


def test_every_finding_says_source_unit_and_facts() -> None:
    given = ions(138, 112, 14) | arterial(7.31, 29) | URINE
    more: dict[str, str | bool] = {
        "weight": "70kg",
        "calcium": "2.2mmol/L",
        "potassium": "3.4mmol/L",
    }
    osmoles: dict[str, str | bool] = {
        "glucose": "5mmol/L",
        "urea": "9mmol/L",
        "osmolality": "305mOsm/kg",
        "bowel-segment": "none",
    }
    found = report(given | more | osmoles)
    assert found["osmolal-gap"].value == pytest.approx(305 - (2 * 138 + 5 + 9))
    assert found["calcium-adjusted"].value == pytest.approx(2.2)
    for finding in found.values():
        row = finding.to_json(cite)
        assert row["source"]
        assert set(finding.method.sources) <= set(bibliography())
        if finding.name not in ("traps-not-known", "segment-mimics"):
            assert row["facts"], finding.name
        if isinstance(finding.value, float):
            assert finding.unit


@settings(max_examples=15, deadline=None)
@given(
    st.floats(110, 160), st.floats(85, 125), st.floats(5, 40), st.floats(15, 50), st.floats(15, 80)
)
def test_units_do_not_change_what_is_found(
    sodium: float, chloride: float, base: float, albumin: float, pco2: float
) -> None:
    first = {
        "sodium": f"{sodium:.3f}mmol/L",
        "chloride": f"{chloride:.3f}mmol/L",
        "bicarbonate": f"{base:.3f}mmol/L",
        "albumin": f"{albumin:.3f}g/L",
        "ph-arterial": "7.33",
        "pco2-arterial": f"{pco2:.3f}mmHg",
    }
    second = {
        **{key: text.replace("mmol/L", "meq/L") for key, text in first.items()},
        "albumin": f"{Decimal(f'{albumin:.3f}') / 10}g/dL",
        "pco2-arterial": f"{round(pco2, 3) * 0.1333223684:.9f}kPa",
    }
    one, other = report(first), report(second)
    assert list(one) == list(other)
    for name, finding in one.items():
        if isinstance(finding.value, float):
            assert other[name].value == pytest.approx(finding.value, rel=1e-6, abs=1e-6), name
        else:
            assert other[name].value == finding.value, name


def test_a_unit_s_own_limit_goes_before_ours() -> None:
    own = {
        "threshold": {
            "bicarbonate-below-22": {
                "level": "urgent",
                "sentence": "Bicarbonate is below 23 mmol/L",
                "when": {"quantity": "bicarbonate", "below": 23, "unit": "mmol/L"},
                "source": "Own protocol of 2026",
            }
        }
    }
    inputs = ChemistryInputs.from_facts([chem_fact("bicarbonate", "22.5mmol/L")], DAY)
    found = {f.name: f for f in chemistry_findings(inputs, chemistry_rules(own))}
    assert found["chemistry-level"].value == "urgent"
    assert "Own protocol of 2026" in told(found["limit-bicarbonate-below-22"])
    assert "own protocol is used for chemistry (threshold)" in told(found["acid-base-disturbance"])


@pytest.mark.parametrize(
    ("own", "said"),
    [
        ({"limits": {}}, "limits is not a part"),
        ({"reference": {"gold": {"unit": "mmol/L", "low": 1, "high": 2, "source": "x"}}}, "'gold'"),
        ({"setting": {"old-days": {"value": 10}}}, "names no source"),
        ({"setting": {"old-days": {"value": "ten", "source": "x"}}}, "old-days"),
        ({"setting": {"old-days": {"value": 1, "valeu": 2, "source": "x"}}}, "valeu"),
        (
            {"reference": {"sodium": {"unit": "mmol/L", "low": 9, "high": 2, "source": "x"}}},
            "low = 9 lies above high = 2",
        ),
        (
            {"trap": {"t": {"when": {"fact": "gold", "is": True}, "sentence": "s", "source": "x"}}},
            "[trap.t]: 'gold' is not something Thalweg records",
        ),
        (
            {"trap": {"t": {"when": {}, "sentence": "s", "source": "x"}}},
            "exactly one of",
        ),
        (
            {
                "threshold": {
                    "t": {
                        "level": "flag",
                        "sentence": "s",
                        "when": {"quantity": "sodium", "unit": "kPa", "below": 1},
                        "source": "x",
                    }
                }
            },
            "'sodium' cannot be in kPa",
        ),
        (
            {
                "threshold": {
                    "t": {
                        "level": "flag",
                        "sentence": "s",
                        "when": {"fact": "diarrhoea", "is": True},
                        "source": "x",
                    }
                }
            },
            "not one bound on a recorded quantity",
        ),
        (
            {"trap": {"t": {"when": {"disturbance": "gout"}, "sentence": "s", "source": "x"}}},
            "'gout' is not a disturbance",
        ),
        (
            {"trap": {"t": {"when": {"touched_by_bowel": 1}, "sentence": "s", "source": "x"}}},
            "neither true nor false",
        ),
    ],
)
def test_a_unit_s_bad_entry_is_said(own: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as refused:
        chemistry_rules(own)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_whatever_a_living_person_can_have_makes_a_report(data: st.DataObject) -> None:
    facts = []
    for key in (
        "sodium",
        "chloride",
        "bicarbonate",
        "potassium",
        "albumin",
        "base-excess",
        "ph-arterial",
        "pco2-arterial",
        "weight",
        "calcium",
        "magnesium",
    ):
        if data.draw(st.booleans()):
            row = concept(key)
            assert row.possible is not None
            value = data.draw(st.decimals(*map(Decimal, row.possible), places=2))
            facts.append(Fact(key, value, row.unit, DAY, HERE))
    found = report({}, *facts)
    assert "acid-base-disturbance" in found
    for finding in found.values():
        finding.to_json(cite)
