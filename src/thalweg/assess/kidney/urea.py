"""Urea against creatinine: a hint of urine reabsorbed, or of too little fluid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.bounds import within
from thalweg.assess.facts import amount, day_of, youngest
from thalweg.assess.kidney.checks import CREATININE_MG_DL
from thalweg.assess.rules import number
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.assess.kidney.inputs import KidneyInputs
    from thalweg.evidence.protocol import Rules

__all__ = ["UREA_CREATININE", "UREA_CREATININE_MOLAR", "urea_creatinine", "urea_findings"]

UREA_NITROGEN_MG_DL = (0.5, 340.0)
# Two nitrogen atoms (14.0067 each) in a urea of 60.055 g/mol: 2.801 mg/dL of nitrogen a mmol/L.
NITROGEN_MG_DL_PER_MMOL_L = 2 * 14.0067 / 10
MOST_DAYS = 1

UREA_CREATININE = Method(
    key="urea-nitrogen-creatinine",
    title="urea nitrogen to creatinine, by mass",
    formula="urea nitrogen / creatinine, both in mg/dL; urea in mmol/L × 2.801 is its nitrogen",
    valid_for="both from one sample; a hint, never a measure of filtration",
    sources=("common-urea-ratio", "mcdougal-1992"),
    cautions=(
        (
            "Usual 10 to 20 (common practice; some texts say 10 to 15); protein intake, bleeding "
            "into the gut, steroids and little muscle raise it without any fault of the urinary "
            "tract."
        ),
    ),
)
UREA_CREATININE_MOLAR = Method(
    key="urea-creatinine-molar",
    title="urea to creatinine, by amount",
    formula="urea in mmol/L / creatinine in mmol/L",
    valid_for="both from one sample",
    sources=("common-urea-ratio",),
)


def urea_creatinine(
    urea_nitrogen_mg_dl: ArrayLike, creatinine_mg_dl: ArrayLike
) -> NDArray[np.float64]:
    """Return urea nitrogen over creatinine.

    Parameters
    ----------
    urea_nitrogen_mg_dl : array_like
        mg/dL, 0.5 to 340.
    creatinine_mg_dl : array_like
        mg/dL, 0.05 to 34.

    Returns
    -------
    ndarray of float64
        Of the broadcast shape, without unit.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    nitrogen = within("urea nitrogen", urea_nitrogen_mg_dl, UREA_NITROGEN_MG_DL, "mg/dL")
    creatinine = within("creatinine", creatinine_mg_dl, CREATININE_MG_DL, "mg/dL")
    return np.asarray(nitrogen / creatinine)


def _reading(ratio: float, inputs: KidneyInputs, rules: Rules) -> str:
    high, low = number(rules, "urea-ratio", "high"), number(rules, "urea-ratio", "low")
    if ratio > high:
        bowel = inputs.truth("bowel-in-urinary-tract")
        if bowel is Truth.MET:
            return (
                f"Above {high:g}: bowel in the urinary tract takes urea back, as does urine that "
                "leaks into the belly; so do dehydration and bleeding into the gut. Look for urine "
                "that stays too long in the bowel segment, and for a leak."
            )
        return (
            f"Above {high:g}: dehydration, poor blood flow to the kidneys, bleeding into the gut, "
            "or urine leaking into the belly and taken back; after an operation on the ureters "
            "compare the creatinine of drain fluid with that of blood."
        )
    if ratio < low:
        return f"Below {low:g}: little urea made (low protein, liver), or damage in the kidney."
    return f"Within {low:g} to {high:g}."


def urea_findings(inputs: KidneyInputs, rules: Rules) -> tuple[Finding, ...]:
    """Return the ratio by mass and by amount; nothing without both results of one day."""
    creatinine = inputs.creatinine.fact
    urea = inputs.urea.fact or inputs.urea_nitrogen.fact
    if creatinine is None or urea is None:
        return ()
    if abs((day_of(urea.at) - day_of(creatinine.at)).days) > MOST_DAYS:
        return ()
    mass = amount(creatinine, "mg/dL")
    if urea.concept == "urea":
        molar = amount(urea, "mmol/L")
        nitrogen = molar * NITROGEN_MG_DL_PER_MMOL_L
    else:
        nitrogen = amount(urea, "mg/dL")
        molar = nitrogen / NITROGEN_MG_DL_PER_MMOL_L
    ratio = float(urea_creatinine(nitrogen, mass))
    facts = (urea, creatinine)
    bowel = inputs.bowel_in_urinary_tract.fact
    at = youngest(facts).at
    first = Finding(
        name="urea-creatinine-ratio",
        title="Urea nitrogen to creatinine (both mg/dL)",
        value=ratio,
        unit="1",
        at=at,
        method=UREA_CREATININE,
        facts=(*facts, *((bowel,) if bowel is not None else ())),
        cautions=(_reading(ratio, inputs, rules),),
    )
    second = Finding(
        name="urea-creatinine-ratio-molar",
        title="Urea to creatinine (both mmol/L)",
        value=molar / (amount(creatinine, "mmol/L")),
        unit="1",
        at=at,
        method=UREA_CREATININE_MOLAR,
        facts=facts,
        digits=0,
    )
    return first, second
