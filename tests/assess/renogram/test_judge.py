"""Each sign on both sides of its limit; verdicts, and what may mislead them, three-valued."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.judge import criteria_of, doubts_of, verdict_of
from thalweg.assess.renogram.pattern import Shape
from thalweg.assess.renogram.result import (
    Criterion,
    Efficiency,
    Estimate,
    HalfTime,
    Residual,
)
from thalweg.assess.renogram.rules import renogram_rules
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.record.truth import Truth

MET, NOT_MET, NOT_KNOWN = Truth.MET, Truth.NOT_MET, Truth.NOT_KNOWN
RULES = renogram_rules()


def between(low: float, high: float) -> Estimate:
    return Estimate((low + high) / 2, (high - low) / 4, (low, high))


def half(low_min: float, high_min: float) -> HalfTime:
    time = between(60 * low_min, 60 * high_min)
    return HalfTime("reached", "furosemide", time, (1300, 1900), 100.0, between(1e-3, 2e-3), "")


NONE = HalfTime("not looked for", "peak", None, None, None, None, "no")


def truths(
    time: HalfTime = NONE,
    left: Estimate | None = None,
    residuals: tuple[Residual, ...] = (),
    efficiency: Estimate | None = None,
) -> dict[str, Truth]:
    efficiencies = (Efficiency(1800.0, efficiency),) if efficiency else ()
    found = criteria_of(time, Shape("", left), residuals, efficiencies, RULES)
    return {c.key: c.truth for c in found}


@pytest.mark.parametrize(
    ("low", "high", "short", "long"),
    [
        (8.0, 9.99, MET, NOT_MET),
        (9.0, 10.01, NOT_KNOWN, NOT_MET),
        (10.0, 20.0, NOT_MET, NOT_MET),
        (19.0, 20.01, NOT_MET, NOT_KNOWN),
        (20.01, 40.0, NOT_MET, MET),
    ],
)
def test_half_time_below_ten_and_above_twenty_minutes(
    low: float, high: float, short: Truth, long: Truth
) -> None:
    found = truths(half(low, high))
    assert (found["half-time-short"], found["half-time-long"]) == (short, long)


@pytest.mark.parametrize(
    ("fastest_min", "expected", "short"),
    [(20.5, MET, NOT_MET), (19.5, NOT_KNOWN, NOT_MET), (9.5, NOT_KNOWN, NOT_KNOWN)],
)
def test_a_half_time_not_reached_is_long_only_beyond_its_least(
    fastest_min: float, expected: Truth, short: Truth
) -> None:
    fall = Estimate(1e-4, 1e-4, (-1e-4, 0.6931471805599453 / 60 / fastest_min))
    time = HalfTime("not reached", "furosemide", None, (1300, 1900), 100.0, fall, "")
    found = truths(time)
    assert found["half-time-long"] is expected
    assert found["half-time-short"] is short


@pytest.mark.parametrize(
    ("low", "high", "falls", "stays"),
    [
        (0.3, 0.49, MET, NOT_MET),
        (0.4, 0.51, NOT_KNOWN, NOT_MET),
        (0.51, 0.89, NOT_MET, NOT_MET),
        (0.85, 0.91, NOT_MET, NOT_KNOWN),
        (0.91, 1.2, NOT_MET, MET),
    ],
)
def test_curve_at_half_and_nine_tenths(low: float, high: float, falls: Truth, stays: Truth) -> None:
    found = truths(left=between(low, high))
    assert (found["curve-falls"], found["curve-stays"]) == (falls, stays)


@pytest.mark.parametrize(
    ("moment", "normal", "dilated"),
    [("20 min", 0.70, 3.92), ("end of furosemide", 0.23, 2.91), ("after emptying", 0.10, 1.99)],
)
def test_residual_against_published_percentiles(moment: str, normal: float, dilated: float) -> None:
    # Piepsz 2002; a later moment goes before an earlier one.
    def of(low: float, high: float) -> tuple[Truth, Truth]:
        residual = Residual(moment, 1.0, between(low, high), normal, dilated)
        early = Residual("20 min", 0.0, between(1.0, 2.0), 0.70, 3.92)
        found = truths(residuals=(early, residual) if moment != "20 min" else (residual,))
        return found["residual-low"], found["residual-high"]

    assert of(0.01, normal - 0.01) == (MET, NOT_MET)
    assert of(0.01, normal + 0.01) == (NOT_KNOWN, NOT_MET)
    assert of(normal + 0.01, dilated - 0.01) == (NOT_MET, NOT_MET)
    assert of(dilated - 0.1, dilated + 0.1) == (NOT_MET, NOT_KNOWN)
    assert of(dilated + 0.01, dilated + 1) == (NOT_MET, MET)


@pytest.mark.parametrize(
    ("low", "high", "good", "bad"),
    [
        (78.1, 90, MET, NOT_MET),
        (77.9, 90, NOT_KNOWN, NOT_MET),
        (70, 78, NOT_MET, NOT_MET),
        (60, 70.1, NOT_MET, NOT_KNOWN),
        (60, 69.9, NOT_MET, MET),
    ],
)
def test_output_efficiency_at_78_and_70_per_cent(
    low: float, high: float, good: Truth, bad: Truth
) -> None:
    found = truths(efficiency=between(low, high))
    assert (found["efficiency-high"], found["efficiency-low"]) == (good, bad)


def test_what_was_not_measured_is_not_known() -> None:
    assert set(truths().values()) == {NOT_KNOWN}


def signs(*met: str) -> tuple[Criterion, ...]:
    base = criteria_of(NONE, Shape("", None), (), (), RULES)
    return tuple(replace(c, truth=MET if c.key in met else NOT_MET) for c in base)


CLEAR = doubts_of(
    Circumstances(age_years=60, drained=MET, hydrated=MET, reflux=NOT_MET),
    Estimate(45, 2, (41, 49)),
    4.0,
    RULES,
)


def test_no_single_sign_and_no_single_kind_of_sign_decides() -> None:
    keys = [c.key for c in signs()]
    for key in keys:
        assert verdict_of(signs(key), CLEAR, furosemide=True, rules=RULES).words == "equivocal"
    speed = verdict_of(signs("half-time-long", "curve-stays"), CLEAR, furosemide=True, rules=RULES)
    amount = verdict_of(signs("residual-low", "efficiency-high"), CLEAR, True, RULES)
    assert (speed.words, amount.words) == ("equivocal", "equivocal")


def test_signs_of_both_kinds_decide_and_contradiction_does_not() -> None:
    for one, other in product(
        ("half-time-short", "curve-falls"), ("residual-low", "efficiency-high")
    ):
        found = verdict_of(signs(one, other), CLEAR, furosemide=False, rules=RULES)
        assert (found.words, found.firm) == ("drains", MET)
    impaired = signs("half-time-long", "efficiency-low")
    found = verdict_of(impaired, CLEAR, furosemide=True, rules=RULES)
    assert (found.words, found.firm) == ("impaired drainage", MET)
    mixed = signs("half-time-long", "efficiency-low", "residual-low")
    found = verdict_of(mixed, CLEAR, furosemide=True, rules=RULES)
    assert found.words == "equivocal"
    assert "contradict" in found.reasons[0]


def test_retention_without_furosemide_is_equivocal() -> None:
    found = verdict_of(signs("half-time-long", "efficiency-low"), CLEAR, False, RULES)
    assert found.words == "equivocal"
    assert found.missing == ("renogram-furosemide",)


def test_nothing_measured_cannot_be_judged() -> None:
    base = criteria_of(NONE, Shape("", None), (), (), RULES)
    assert verdict_of(base, CLEAR, furosemide=True, rules=RULES).words == "cannot be judged"


@pytest.mark.parametrize(
    ("given", "share", "ratio"),
    [
        ({"drained": NOT_MET}, 45, 4.0),
        ({"hydrated": NOT_MET}, 45, 4.0),
        ({"reflux": MET}, 45, 4.0),
        ({"age_years": 0.2}, 45, 4.0),
        ({}, 19.9, 4.0),
        ({}, 45, 2.0),
    ],
)
def test_each_misleading_circumstance_makes_impairment_equivocal(
    given: dict[str, object], share: float, ratio: float
) -> None:
    stated = {"age_years": 60, "drained": MET, "hydrated": MET, "reflux": NOT_MET, **given}
    about = Circumstances(**stated)  # type: ignore[arg-type]
    doubts = doubts_of(about, Estimate(share, 1, (share - 2, share + 2)), ratio, RULES)
    found = verdict_of(signs("half-time-long", "efficiency-low"), doubts, True, RULES)
    assert (found.words, found.firm) == ("equivocal", NOT_MET)


@pytest.mark.parametrize(("share", "ratio", "age"), [(20.0, 2.01, 0.25)])
def test_limits_of_the_circumstances_are_open(share: float, ratio: float, age: float) -> None:
    about = Circumstances(age_years=age, drained=MET, hydrated=MET, reflux=NOT_MET)
    doubts = doubts_of(about, Estimate(share, 1, (18, 22)), ratio, RULES)
    assert {d.truth for d in doubts} == {NOT_MET}


def test_what_nobody_stated_is_named_and_leaves_the_verdict_not_firm() -> None:
    doubts = doubts_of(Circumstances(), Estimate(45, 2, (41, 49)), 4.0, RULES)
    found = verdict_of(signs("half-time-long", "efficiency-low"), doubts, True, RULES)
    assert (found.words, found.firm) == ("impaired drainage", NOT_KNOWN)
    assert found.missing == ("renogram-drained", "renogram-hydrated", "renogram-reflux")
    assert sum("not stated" in reason for reason in found.reasons) == 4


def test_rules_have_sources_and_a_unit_may_replace_them() -> None:
    for key, row in RULES.rows.items():
        assert row["source"] in bibliography(), key
        assert row["checked"] in {"text", "abstract", "secondary", "memory", "practice"}, key
    ours = {"half-time-short": {"below_min": 12, "source": "local protocol"}}
    rules = renogram_rules(ours)
    found = criteria_of(half(10.5, 11.5), Shape("", None), (), (), rules)
    assert {c.key: c.truth for c in found}["half-time-short"] is MET
    assert rules.replaced == ("half-time-short",)
    with pytest.raises(InputError, match="not a rule of ours"):
        renogram_rules({"half-time": {"source": "x"}})
    with pytest.raises(InputError, match="missing"):
        renogram_rules({"half-time-short": {"source": "x"}})
    with pytest.raises(InputError, match="ends before it begins"):
        renogram_rules(
            {"uptake-window": {"from_s": 120, "to_s": 60, "least_covered": 0.9, "source": "x"}}
        )
