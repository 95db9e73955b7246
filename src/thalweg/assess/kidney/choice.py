"""Which filtration rate to rely on here, and why."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.assess.kidney.children import U25_YEARS
from thalweg.assess.kidney.estimates import adult, doubts_creatinine
from thalweg.assess.kidney.reasons import (
    ADULT,
    CHILD,
    COMBINED_DAYS,
    DISAGREEMENT,
    cautions_about,
    marker_days,
)
from thalweg.assess.kidney.recipes import INDEXED
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.assess.kidney.inputs import KidneyInputs
    from thalweg.record.fact import Fact

__all__ = ["GFR_TO_RELY_ON", "gfr_to_rely_on"]

# Ours, not published: after so long a measured rate gives way to a younger estimate; it is said.
MEASURED_DAYS = 180
INJURY_DAYS = 7

GFR_TO_RELY_ON = Method(
    key="gfr-to-rely-on",
    title="which filtration rate to rely on",
    formula=(
        "a measured rate (unless an estimate is more than 180 days younger), else creatinine with "
        "cystatin C (unless more than 90 days apart), else the one there is; with muscle loss or "
        "bowel in the urinary tract cystatin C alone first; under 18 years the equations made for "
        "children; none of them while an acute kidney injury of the last 7 days is on record"
    ),
    valid_for="choosing among the figures shown; the clinician may choose otherwise",
    sources=(
        "niddk-gfr-adults",
        "kdigo-ckd-2024",
        "kdigo-aki-2012",
        "fu-2023",
        "ng-2018",
        "fox-2014",
        "kawamorita-2020",
        "cystatin-diversion-2015",
        "mcdougal-1992",
        "thalweg-engineering",
    ),
    cautions=(
        (
            "A choice among estimates supports and does not replace clinical judgement; where a "
            "decision hangs on the figure, have the rate measured. Local protocol comes first."
        ),
    ),
)

_WHY = {
    "combined": "Relied on: creatinine and cystatin C together, more accurate than either alone.",
    "cystatin": "Relied on: cystatin C.",
    "creatinine": (
        "Relied on: creatinine alone. Cystatin C from the same sample would make the estimate "
        "more accurate, above all near a limit that decides."
    ),
    "schwartz": "Relied on: the bedside equation for children.",
}


def _order(inputs: KidneyInputs) -> tuple[str, ...]:
    days = marker_days(inputs)
    if doubts_creatinine(inputs):
        return ("cystatin", "combined", "creatinine", "schwartz")
    if abs(days) > COMBINED_DAYS:
        younger = ("cystatin", "creatinine") if days > 0 else ("creatinine", "cystatin")
        return (*younger, "combined", "schwartz")
    return ("combined", "cystatin", "creatinine", "schwartz")


def _best(inputs: KidneyInputs, made: Mapping[str, Finding]) -> tuple[str, Finding] | None:
    names = ADULT if adult(inputs) else CHILD
    for kind in _order(inputs):
        finding = made.get(names.get(kind, ""))
        if finding is not None and isinstance(finding.value, float):
            return kind, finding
    return None


def _nothing(inputs: KidneyInputs, found: Mapping[str, Finding]) -> Finding:
    cautions = [inputs.measured_gfr.caution] if inputs.measured_gfr.conflict else []
    missing = tuple(dict.fromkeys(key for f in found.values() for key in f.missing))
    if inputs.age_years < U25_YEARS[0]:
        cautions.append(
            "No equation here holds in the first year of life: have the rate measured, and ask a "
            "kidney specialist for children."
        )
        missing = ("measured-gfr",)
    conflicts = [inputs.chosen(k).caution for k in ("creatinine", "cystatin-c", "height")]
    cautions += [caution for caution in conflicts if caution]
    rivals = (*inputs.measured_gfr.conflict,)
    return Finding(
        name="gfr-to-rely-on",
        title="Filtration rate to rely on",
        value=None,
        unit=INDEXED,
        at=youngest(rivals).at if rivals else inputs.at,
        method=GFR_TO_RELY_ON,
        facts=rivals,
        cautions=tuple(cautions),
        missing=missing if missing or cautions else ("measured-gfr",),
        digits=0,
    )


def _measured(fact: Fact, best: tuple[str, Finding] | None) -> Finding:
    value = amount(fact, INDEXED)
    cautions = ["Relied on: the measured rate, which needs no equation."]
    if best is not None and isinstance(best[1].value, float):
        estimate = best[1].value
        if abs(estimate - value) > DISAGREEMENT * value:
            cautions.append(
                f"{best[1].title} gives {estimate:.0f} mL/min/1.73 m², more than 30 % from the "
                "measured rate: find out which is right."
            )
    return Finding(
        name="gfr-to-rely-on",
        title="Filtration rate to rely on: measured",
        value=value,
        unit=INDEXED,
        at=fact.at,
        method=GFR_TO_RELY_ON,
        facts=(fact,),
        cautions=tuple(cautions),
        digits=0,
    )


def _days_behind(measured: Fact | None, best: tuple[str, Finding] | None) -> int:
    """Return by how many days the best estimate is younger than the measured rate."""
    if measured is None or best is None:
        return 0
    return (day_of(best[1].at) - day_of(measured.at)).days


def _injured(inputs: KidneyInputs) -> bool:
    return inputs.injury_now is not None and inputs.injury_now.value is Truth.MET


def _since_injury(measured: Fact, inputs: KidneyInputs) -> bool:
    """Return whether the rate was measured within the week of which the injury speaks."""
    day = inputs.at.date() if isinstance(inputs.at, datetime) else inputs.at
    return (day - day_of(measured.at)).days <= INJURY_DAYS


def _unsteady(inputs: KidneyInputs, found: Mapping[str, Finding]) -> Finding:
    injury = inputs.injury_now
    below = tuple(one for one in found.values() if isinstance(one.value, float))
    return Finding(
        name="gfr-to-rely-on",
        title="Filtration rate to rely on",
        value=None,
        unit=INDEXED,
        at=injury.at if injury is not None else inputs.at,
        method=GFR_TO_RELY_ON,
        findings=(*below, *((injury,) if injury is not None else ())),
        cautions=(
            (
                "No estimate holds now: the kidneys are unsteady (acute kidney injury in the last "
                "7 days). While creatinine rises an estimate reads too high, while it falls too "
                "low. Find and treat the cause; estimate again once two results agree."
            ),
        ),
        missing=("measured-gfr",),
        digits=0,
    )


def gfr_to_rely_on(inputs: KidneyInputs, found: Mapping[str, Finding]) -> Finding:
    """Return the filtration rate to rely on: the chosen figure, pointing to where it comes from.

    Parameters
    ----------
    inputs : KidneyInputs
        The facts.
    found : mapping of str to Finding
        The estimates, by name.

    Returns
    -------
    Finding
        With the chosen estimate among its findings (or the measured fact among its facts), the
        reason as its first caution; without value where nothing can be relied on.
    """
    made = {name: f for name, f in found.items() if isinstance(f.value, float)}
    best = _best(inputs, made)
    measured = inputs.measured_gfr
    if measured.conflict:
        return _nothing(inputs, found)
    if _injured(inputs) and (measured.fact is None or not _since_injury(measured.fact, inputs)):
        return _unsteady(inputs, found)
    behind = _days_behind(measured.fact, best)
    if measured.fact is not None and behind <= MEASURED_DAYS:
        return _measured(measured.fact, best)
    if best is None:
        return _nothing(inputs, found)
    stale: list[str] = []
    if measured.fact is not None:
        rate = amount(measured.fact, INDEXED)
        stale.append(
            f"A measured rate of {rate:.0f} mL/min/1.73 m² is {behind} days older than this "
            "estimate and was not used; have it measured again."
        )
    kind, chosen = best
    return Finding(
        name="gfr-to-rely-on",
        title=f"Filtration rate to rely on: {chosen.title}",
        value=chosen.value,
        unit=INDEXED,
        at=chosen.at,
        method=GFR_TO_RELY_ON,
        facts=(measured.fact,) if measured.fact is not None else (),
        findings=(chosen,),
        cautions=(
            _WHY[kind],
            *stale,
            *cautions_about(kind, inputs, made),
        ),
        digits=0,
    )
