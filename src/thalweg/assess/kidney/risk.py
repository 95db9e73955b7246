"""Risk of kidney failure by the four-variable equation, and where it must not be used."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from thalweg.assess.bounds import within
from thalweg.assess.facts import amount
from thalweg.assess.kidney.checks import is_female
from thalweg.assess.kidney.ckd_epi import ADULT_YEARS
from thalweg.assess.rules import number
from thalweg.errors import InputError
from thalweg.record.fact import Fact, moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.assess.kidney.inputs import KidneyInputs
    from thalweg.evidence.protocol import Rules

__all__ = ["KIDNEY_FAILURE_RISK", "REGIONS", "Region", "kidney_failure_risk", "risk_findings"]

Region = Literal["north-america", "elsewhere"]
REGIONS: tuple[Region, ...] = get_args(Region)

# Share without kidney failure at 2 and 5 years of a person with every variable at its mean.
_BASELINE: dict[tuple[str, int], float] = {
    ("north-america", 2): 0.9750,
    ("north-america", 5): 0.9240,
    ("elsewhere", 2): 0.9832,
    ("elsewhere", 5): 0.9365,
}
YEARS = (2, 5)
_BELOW_60 = (0.0, float(np.nextafter(60.0, 0.0)))
_RATIO_MG_G = (0.1, 50_000.0)

KIDNEY_FAILURE_RISK = Method(
    key="kidney-failure-risk-4",
    title="risk of kidney failure, four variables",
    formula=(
        "1 − S^exp(−0.2201 (age/10 − 7.036) + 0.2467 (male − 0.5642) − 0.5567 (GFR/5 − 7.222) "
        "+ 0.4510 (ln ACR − 5.137)); ACR in mg/g; S at 2 and 5 years 0.9750 and 0.9240 in North "
        "America, 0.9832 and 0.9365 elsewhere"
    ),
    valid_for=(
        "adults with chronic kidney disease and a steady rate below 60 mL/min/1.73 m², not on "
        "dialysis, no bowel in the urinary tract"
    ),
    sources=("tangri-2011", "tangri-2016", "kfre-validation-peru", "ramspek-2021", "grams-2023"),
    cautions=(
        (
            "Coefficients as two public analysis programs print them, outside North America one "
            "alone; the papers were not open to us: verify before relying on the figure."
        ),
        (
            "Death is not counted as an outcome of its own: over 5 years, and in the old and the "
            "ill, the equation reads too high."
        ),
        (
            "Made from people of kidney clinics, not from people with a diversion or with one "
            "working kidney; obstruction can be worse than any risk says, and be mended."
        ),
    ),
)


def kidney_failure_risk(
    age_years: ArrayLike,
    sex: ArrayLike,
    gfr_per_173: ArrayLike,
    ratio_mg_g: ArrayLike,
    *,
    region: Region,
    years: int,
) -> NDArray[np.float64]:
    """Return the risk of kidney failure (dialysis or transplant) within 2 or 5 years.

    Parameters
    ----------
    age_years : array_like
        18 to 120.
    sex : array_like of str
        ``"female"`` or ``"male"``.
    gfr_per_173 : array_like
        mL/min per 1.73 m², from 0 to below 60.
    ratio_mg_g : array_like
        Urine albumin to creatinine, mg/g, 0.1 to 50 000. All arguments broadcast.
    region : "north-america" or "elsewhere"
    years : int
        2 or 5.

    Returns
    -------
    ndarray of float64
        0 to 1; NaN where an array held NaN.

    Raises
    ------
    InputError
        If a value is out of range, or there is no such region or horizon.

    References
    ----------
    Tangri N et al. JAMA 2011;305:1553-9; JAMA 2016;315:164-74; coefficients as in the analysis
    code of a national validation (bibliography: kfre-validation-peru).
    """
    baseline = _BASELINE.get((region, years))
    if baseline is None:
        raise InputError(
            f"there is no baseline for {region!r} at {years} years",
            mend=f"choose {' or '.join(REGIONS)}, and 2 or 5 years",
        )
    age = within("age", age_years, ADULT_YEARS, "years")
    rate = within("filtration rate", gfr_per_173, _BELOW_60, "mL/min/1.73 m²")
    ratio = within("albumin to creatinine ratio", ratio_mg_g, _RATIO_MG_G, "mg/g")
    male = np.where(is_female(sex), 0.0, 1.0)
    score = (
        -0.2201 * (age / 10.0 - 7.036)
        + 0.2467 * (male - 0.5642)
        - 0.5567 * (rate / 5.0 - 7.222)
        + 0.4510 * (np.log(ratio) - 5.137)
    )
    # 1 - S**exp(score), without losing the digits of a small risk.
    return np.asarray(-np.expm1(np.exp(score) * np.log(baseline)))


def _refused(inputs: KidneyInputs, rate: float | None) -> str:
    """Return why there can be no risk, or an empty string."""
    if inputs.truth("bowel-in-urinary-tract") is Truth.MET:
        return (
            "No risk by this equation: bowel in the urinary tract adds protein of its own, so that "
            "the albumin to creatinine ratio it needs says little about the kidneys."
        )
    if inputs.truth("on-dialysis") is Truth.MET:
        return "No risk by this equation: on dialysis, the outcome has come."
    if inputs.age_years < ADULT_YEARS[0]:
        return "No risk by this equation: made for adults."
    if rate is not None and rate > _BELOW_60[1]:
        return "No risk by this equation: made for rates below 60 mL/min/1.73 m²."
    return ""


def _cautions(inputs: KidneyInputs) -> tuple[str, ...]:
    said = []
    if inputs.truth("bowel-in-urinary-tract") is Truth.NOT_KNOWN:
        said.append(
            "Not recorded whether bowel lies in the urinary tract; if it does, this figure is void."
        )
    fact = inputs.albumin_creatinine_ratio.fact
    if fact is not None and fact.value == Decimal(0):
        said.append("A ratio of 0 has no logarithm: the least taken, 0.1 mg/g, stands.")
    return tuple(said)


def risk_findings(
    inputs: KidneyInputs, relied: Finding, rules: Rules, region: Region | None = None
) -> tuple[Finding, ...]:
    """Return the risks at 2 and 5 years; one row saying why, where there can be none.

    Parameters
    ----------
    inputs : KidneyInputs
    relied : Finding
        ``gfr-to-rely-on``.
    rules : Rules
        For the referral band.
    region : "north-america" or "elsewhere", optional
        None shows both, each named.

    Returns
    -------
    tuple of Finding
        Nothing where nobody measured an albumin to creatinine ratio and the rate is 60 or more.
    """
    rate = relied.value if isinstance(relied.value, float) else None
    fact = inputs.albumin_creatinine_ratio.fact
    reason = _refused(inputs, rate)
    if fact is None and (reason or rate is None):
        return ()
    if reason or fact is None or rate is None:
        missing = () if reason else ("albumin-creatinine-ratio",) if rate else ("creatinine",)
        return (_row(inputs, relied, fact, None, 5, None, (reason,) if reason else (), missing),)
    ratio = max(amount(fact, "mg/g"), _RATIO_MG_G[0])
    rows = []
    for place in (region,) if region else REGIONS:
        for years in YEARS:
            risk = kidney_failure_risk(
                inputs.age_years, inputs.sex, rate, ratio, region=place, years=years
            )
            said = [*_cautions(inputs)]
            low = number(rules, "risk-referral", "five_years_from")
            high = number(rules, "risk-referral", "five_years_to")
            if years == YEARS[-1] and float(risk) >= low:
                said.append(
                    f"At or above the 5-year risk of {low:.0%} to {high:.0%} from which referral "
                    "to a kidney specialist is usual (KDIGO 2024)."
                )
            rows.append(
                _row(inputs, relied, fact, 100.0 * float(risk), years, place, tuple(said), ())
            )
    return tuple(rows)


def _row(
    inputs: KidneyInputs,
    relied: Finding,
    fact: Fact | None,
    value: float | None,
    years: int,
    region: Region | None,
    said: tuple[str, ...],
    missing: tuple[str, ...],
) -> Finding:
    where = {"north-america": " (North America)", "elsewhere": " (outside North America)"}
    name = f"kidney-failure-risk-{years}-years"
    age = inputs.age
    dates = [relied.at, *((fact.at,) if fact is not None else ())]
    bowel = inputs.bowel_in_urinary_tract.fact
    used = [one for one in (fact, bowel) if one is not None]
    return Finding(
        name=f"{name}-{region}" if region else name,
        title=f"Risk of kidney failure within {years} years{where.get(region or '', '')}",
        value=value,
        unit="%",
        at=max(dates, key=moment_key),
        method=KIDNEY_FAILURE_RISK,
        facts=(*used, *((age,) if isinstance(age, Fact) else ())),
        findings=(relied, *((age,) if isinstance(age, Finding) else ())),
        cautions=said,
        missing=missing,
    )
