"""Risk of kidney failure, urea to creatinine, and each kidney's part.

The risk is checked by fifty-digit arithmetic (mpmath) with the coefficients that the analysis code
of a national validation prints (kfre-validation-peru), and where that form's own means give the
baseline back.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.kidney_case import kidney_case, known

from thalweg.assess.kidney.course import kidney_course
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.kidney.risk import kidney_failure_risk
from thalweg.assess.kidney.urea import urea_creatinine
from thalweg.errors import InputError
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.kidney.risk import Region
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

DAY = date(2026, 3, 10)


def found_in(*facts: Fact) -> dict[str, Finding]:
    """Return every kidney finding by name."""
    case = kidney_case(*facts)
    now = kidney_findings(KidneyInputs.from_case(case, DAY))
    relied = next(one for one in now if one.name == "gfr-to-rely-on")
    return {one.name: one for one in (*now, *kidney_course(case, DAY, relied))}


def precise_risk(age: str, male: int, rate: str, ratio: str, baseline: str) -> float:
    """Return the risk in percent by fifty-digit arithmetic."""
    with mpmath.workdps(50):
        number = mpmath.mpf
        score = number("-0.2201") * (number(age) / 10 - number("7.036"))
        score += number("0.2467") * (male - number("0.5642"))
        score -= number("0.5567") * (number(rate) / 5 - number("7.222"))
        score += number("0.4510") * (mpmath.log(number(ratio)) - number("5.137"))
        return float(100 * (1 - number(baseline) ** mpmath.exp(score)))


@pytest.mark.parametrize(
    ("region", "years", "baseline"),
    [
        ("north-america", 2, "0.9750"),
        ("north-america", 5, "0.9240"),
        ("elsewhere", 2, "0.9832"),
        ("elsewhere", 5, "0.9365"),
    ],
)
def test_risk_by_high_precision(region: Region, years: int, baseline: str) -> None:
    rows = (("60", 1, "30", "300"), ("70", 0, "25", "1000"), ("44", 1, "59", "3"))
    for age, male, rate, ratio in rows:
        sex = "male" if male else "female"
        risk = kidney_failure_risk(
            float(age),
            sex,
            float(rate),
            float(ratio),
            region=region,
            years=years,
        )
        expected = precise_risk(age, male, rate, ratio, baseline)
        assert 100 * float(risk) == pytest.approx(expected, rel=1e-12)


def test_risk_worked_by_hand() -> None:
    # Score 1.2714: 1 - 0.9240 ** e**1.2714 = 24.56 %; 1 - 0.9750 ** e**1.2714 = 8.63 %.
    risks = [
        float(kidney_failure_risk(60, "male", 30, 300, region="north-america", years=years))
        for years in (2, 5)
    ]
    assert risks == pytest.approx([0.0863, 0.2456], abs=5e-5)


ages = st.floats(18, 100)
rates = st.floats(5, 59.9)
ratios = st.floats(0.1, 20_000)


@given(ages, rates, ratios, st.floats(0.01, 5))
def test_risk_rises_with_albumin_and_falls_with_rate_and_age(
    age: float, rate: float, ratio: float, more: float
) -> None:
    def risk(a: float, g: float, r: float) -> float:
        return float(kidney_failure_risk(a, "female", g, r, region="elsewhere", years=5))

    plain = risk(age, rate, ratio)
    assert 0 <= plain <= 1
    assert risk(age, rate, min(ratio + more, 50_000)) >= plain
    assert risk(age, max(rate - more, 0), ratio) >= plain
    assert risk(age + more, rate, ratio) <= plain


@pytest.mark.parametrize(
    ("age", "rate", "ratio"), [(17.9, 40, 30), (50, 60, 30), (50, 40, 0), (50, -1, 30)]
)
def test_risk_outside_its_range_is_refused(age: float, rate: float, ratio: float) -> None:
    with pytest.raises(InputError, match="outside"):
        kidney_failure_risk(age, "male", rate, ratio, region="elsewhere", years=5)
    with pytest.raises(InputError, match="no baseline"):
        kidney_failure_risk(50, "male", 40, 30, region="elsewhere", years=3)


CREATININE = known("creatinine", "1.8", "mg/dL", DAY)
NO_BOWEL = known("bowel-in-urinary-tract", False, None, DAY)


def ratio_of(value: str, unit: str = "mg/g") -> Fact:
    """Return an albumin to creatinine ratio."""
    return known("albumin-creatinine-ratio", value, unit, DAY)


def test_both_regions_are_named_and_units_do_not_matter() -> None:
    grams = found_in(CREATININE, NO_BOWEL, ratio_of("300"))
    names = {name for name in grams if name.startswith("kidney-failure-risk")}
    assert names == {
        f"kidney-failure-risk-{years}-years-{region}"
        for years in (2, 5)
        for region in ("north-america", "elsewhere")
    }
    # 113.118 g/mol: 300 mg/g is 33.9354 mg/mmol.
    moles = found_in(CREATININE, NO_BOWEL, ratio_of("33.9354", "mg/mmol"))
    for name in names:
        assert moles[name].value == pytest.approx(grams[name].value, rel=1e-9)
    five = grams["kidney-failure-risk-5-years-elsewhere"]
    assert "Death is not counted" in " ".join(five.all_cautions)
    assert "referral" in " ".join(five.cautions)


def test_bowel_in_the_urinary_tract_voids_the_risk() -> None:
    bowel = known("bowel-in-urinary-tract", True, None, DAY)
    found = found_in(CREATININE, bowel, ratio_of("300"))
    (row,) = [one for name, one in found.items() if name.startswith("kidney-failure")]
    assert row.value is None
    assert "bowel in the urinary tract" in row.cautions[0]
    unknown = found_in(CREATININE, ratio_of("300"))["kidney-failure-risk-2-years-elsewhere"]
    assert "this figure is void" in " ".join(unknown.cautions)


def test_risk_without_its_ratio_says_so_and_above_60_is_not_offered() -> None:
    found = found_in(CREATININE, NO_BOWEL)
    assert found["kidney-failure-risk-5-years"].missing == ("albumin-creatinine-ratio",)
    healthy = known("creatinine", "0.7", "mg/dL", DAY)
    assert not [name for name in found_in(healthy, NO_BOWEL) if name.startswith("kidney-fail")]
    refused = found_in(healthy, NO_BOWEL, ratio_of("30"))["kidney-failure-risk-5-years"]
    assert refused.value is None
    dialysed = known("on-dialysis", True, None, DAY)
    row = found_in(CREATININE, NO_BOWEL, ratio_of("30"), dialysed)["kidney-failure-risk-5-years"]
    assert "on dialysis" in row.cautions[0]


def test_urea_by_mass_and_by_amount() -> None:
    # By hand: 20/1.0 = 20, 40/1.6 = 25, 30/2.0 = 15.
    assert list(urea_creatinine([20, 40, 30], [1.0, 1.6, 2.0])) == [20, 25, 15]
    assert np.isnan(urea_creatinine([np.nan], [1.0])[0])
    urea = known("urea", "10", "mmol/L", DAY)
    creatinine = known("creatinine", "100", "umol/L", DAY)
    found = found_in(urea, creatinine)
    # 10 mmol/L of urea is 28.01 mg/dL of its nitrogen; 100 µmol/L is 1.1312 mg/dL.
    assert found["urea-creatinine-ratio"].value == pytest.approx(28.0134 / 1.13118, rel=1e-6)
    assert found["urea-creatinine-ratio-molar"].value == pytest.approx(100, rel=1e-9)
    nitrogen = known("urea-nitrogen", "28.0134", "mg/dL", DAY)
    same = found_in(nitrogen, creatinine)
    for name in ("urea-creatinine-ratio", "urea-creatinine-ratio-molar"):
        assert same[name].value == pytest.approx(found[name].value, rel=1e-6)


@pytest.mark.parametrize(
    ("bowel", "expected"), [(True, "takes urea back"), (False, "creatinine of drain fluid")]
)
def test_a_high_ratio_is_read_with_the_bowel_in_mind(bowel: bool, expected: str) -> None:
    facts = (
        known("urea", "20", "mmol/L", DAY),
        known("creatinine", "120", "umol/L", DAY),
        known("bowel-in-urinary-tract", bowel, None, DAY),
    )
    assert expected in found_in(*facts)["urea-creatinine-ratio"].cautions[0]


def test_urea_of_another_day_is_not_compared() -> None:
    old = known("urea", "20", "mmol/L", DAY - timedelta(days=3))
    assert "urea-creatinine-ratio" not in found_in(old, known("creatinine", "120", "umol/L", DAY))


def shares(first: str, last: str) -> tuple[Fact, Fact]:
    """Return two renograms two years apart."""
    return (
        known("split-function-left", first, "%", DAY - timedelta(days=730)),
        known("split-function-left", last, "%", DAY),
    )


def totals(first: str, last: str) -> tuple[Fact, ...]:
    """Return creatinine at both renograms and between."""
    return (
        known("creatinine", first, "mg/dL", DAY - timedelta(days=725)),
        known("creatinine", first, "mg/dL", DAY - timedelta(days=400)),
        known("creatinine", last, "mg/dL", DAY),
    )


def test_a_kidney_lost_behind_a_steady_total_is_told() -> None:
    found = found_in(*totals("1.0", "1.0"), *shares("50", "30"))
    change = found["gfr-split-change"]
    assert change.value is Truth.MET
    assert "obstruction on the left" in " ".join(change.cautions)
    whole = found["gfr-to-rely-on"].value
    assert isinstance(whole, float)
    assert found["gfr-left-kidney"].value == pytest.approx(0.30 * whole)
    assert found["gfr-right-kidney"].value == pytest.approx(0.70 * whole)


@pytest.mark.parametrize(
    ("blood", "share", "expected"),
    [
        (("1.0", "1.0"), ("50", "45"), Truth.NOT_MET),  # within what repeats differ by
        (("1.0", "1.0"), ("50", "56"), Truth.MET),  # the right fell
        (("1.0", "1.6"), ("50", "30"), Truth.NOT_MET),  # the total shows it
    ],
)
def test_what_is_no_hidden_loss(
    blood: tuple[str, str], share: tuple[str, str], expected: Truth
) -> None:
    assert found_in(*totals(*blood), *shares(*share))["gfr-split-change"].value is expected


def test_without_rates_at_both_renograms_it_is_not_known() -> None:
    now = known("creatinine", "1.0", "mg/dL", DAY)
    assert found_in(now, *shares("50", "30"))["gfr-split-change"].value is Truth.NOT_KNOWN
    assert found_in(now, shares("50", "30")[1]).keys() >= {"gfr-left-kidney", "gfr-right-kidney"}


def test_parts_make_the_whole() -> None:
    found = found_in(known("creatinine", "1.0", "mg/dL", DAY), shares("50", "37.5")[1])
    parts = [found[f"gfr-{side}-kidney"].value for side in ("left", "right")]
    assert sum(float(str(part)) for part in parts) == pytest.approx(
        float(str(found["gfr-to-rely-on"].value))
    )
    assert Decimal("37.5") in [fact.value for fact in found["gfr-left-kidney"].facts]
