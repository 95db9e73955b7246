"""The kidney report: every estimate for this person, which to rely on, and the categories."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.assess.facts import youngest
from thalweg.assess.kidney import body, categories
from thalweg.assess.kidney.choice import gfr_to_rely_on
from thalweg.assess.kidney.estimates import body_surface, estimates
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.risk import risk_findings
from thalweg.assess.kidney.urea import urea_findings
from thalweg.assess.rules import kidney_rules
from thalweg.record.finding import Finding
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.kidney.risk import Region
    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Fact

__all__ = ["KidneyInputs", "kidney_findings"]


def _absolute(relied: Finding, surface: Finding | None) -> Finding | None:
    if surface is None or not isinstance(surface.value, float):
        return None
    if not isinstance(relied.value, float):
        return None
    return Finding(
        name="gfr-absolute",
        title="Filtration rate of this body",
        value=float(body.absolute_gfr(relied.value, surface.value)),
        unit="mL/min",
        at=relied.at,
        method=body.ABSOLUTE_GFR,
        findings=(relied, surface),
        digits=0,
    )


def _category(relied: Finding, inputs: KidneyInputs) -> Finding | None:
    if not isinstance(relied.value, float):
        return None
    value: str | None = str(categories.gfr_category(relied.value))
    cautions = []
    unrounded = str(categories.gfr_category(relied.value, rounded=False))
    if inputs.age_years < categories.CATEGORY_YEARS:
        value = None
        cautions.append(
            "Under 2 years the filtration rate is still rising to its adult level and has no "
            "category: compare it with the norm for the age."
        )
    elif value != unrounded:
        cautions.append(
            f"{relied.value:.1f} is reported as {float(categories.reported(relied.value)):.0f}, "
            f"hence {value}; unrounded it would be {unrounded}."
        )
    return Finding(
        name="gfr-category",
        title="Category of filtration rate (KDIGO)",
        value=value,
        unit=None,
        at=relied.at,
        method=categories.GFR_CATEGORY,
        findings=(relied,),
        cautions=tuple(cautions),
    )


def _albuminuria(inputs: KidneyInputs) -> Finding | None:
    chosen = inputs.albumin_creatinine_ratio
    fact = chosen.fact
    rivals = (fact,) if fact is not None else chosen.conflict
    if not rivals:
        return None
    value: str | None = None
    because: tuple[Fact, ...] = ()
    cautions = [chosen.caution] if chosen.conflict else []
    if inputs.truth("bowel-in-urinary-tract") is Truth.MET:
        because = tuple(f for f in (inputs.bowel_in_urinary_tract.fact,) if f is not None)
        cautions.append(
            "Not put into a category: bowel in the urinary tract adds mucus and protein of its "
            "own, and the ratio then says little about the kidneys."
        )
    elif fact is not None and isinstance(fact.value, Decimal):
        value = categories.albuminuria_category(float(fact.value), fact.unit or "")
    return Finding(
        name="albuminuria-category",
        title="Category of albuminuria (KDIGO)",
        value=value,
        unit=None,
        at=youngest(rivals).at,
        method=categories.ALBUMINURIA_CATEGORY,
        facts=(*rivals, *because),
        cautions=tuple(cautions),
        missing=() if value or cautions else ("albumin-creatinine-ratio",),
    )


def kidney_findings(
    inputs: KidneyInputs, rules: Rules | None = None, *, region: Region | None = None
) -> tuple[Finding, ...]:
    """Return all that the recorded results say of the kidneys' function.

    Parameters
    ----------
    inputs : KidneyInputs
        The facts; none is guessed.
    rules : Rules, optional
        Thresholds; default: ours.
    region : "north-america" or "elsewhere", optional
        For the risk of kidney failure; None shows both, each named.

    Returns
    -------
    tuple of Finding
        The age where it was computed; every estimate made for this age; body surface;
        ``gfr-to-rely-on``; ``gfr-absolute``; ``gfr-category``; ``albuminuria-category``;
        ``urea-creatinine-ratio``; ``kidney-failure-risk-…``. What cannot be made stands without
        value and says what is missing, where that matters. No estimate has an interval: the
        publications give the share of estimates within 30 % of a measured rate, from which no
        95 % interval follows; that share is among the cautions.

    Raises
    ------
    InputError
        If a result or the age is outside what an equation may be used for.
    UnitError
        If a result's unit does not fit.
    """
    rules = rules or kidney_rules()
    found = estimates(inputs)
    surface = body_surface(inputs)
    relied = gfr_to_rely_on(inputs, found)
    every = (
        inputs.age if isinstance(inputs.age, Finding) else None,
        *found.values(),
        surface,
        relied,
        _absolute(relied, surface),
        _category(relied, inputs),
        _albuminuria(inputs),
        *urea_findings(inputs, rules),
        *risk_findings(inputs, relied, rules, region),
    )
    return tuple(finding for finding in every if finding is not None)
