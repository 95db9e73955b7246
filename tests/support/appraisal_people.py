"""Invented people to appraise: one whom nothing speaks against, and changes to them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.plan.appraise import Appraisal, RouteSummary, appraise
from thalweg.plan.catalogue import catalogue
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, Origin
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.plan.appraised import Appraised

TODAY = date(2026, 3, 1)
RECENT = date(2026, 2, 10)
ADULT = Person("T-1", "Invented Person", date(1960, 5, 4), "male")
GFR_METHOD = Method("gfr-given", "A GFR given to the test", "given", "the test", ("kleene-1952",))

# Everything known, and nothing speaking against any option that this person could have.
FAVOURABLE: Mapping[str, bool | str] = {
    "indication": "neurogenic bladder",
    "intent": "temporary",
    "kidneys-present": "both",
    "bladder-kept": True,
    "obstruction": False,
    "bowel-disease": False,
    "short-bowel": False,
    "bowel-irradiated": False,
    "colon-usable": True,
    "ureters-irradiated": False,
    "liver-failure": False,
    "urethral-margin-tumour": False,
    "upper-tract-tumour": False,
    "urinary-stones": False,
    "retroperitoneal-fibrosis": False,
    "urinary-tuberculosis": False,
    "stress-incontinence": False,
    "dexterity": "full",
    "helper-at-home": False,
    "cognition-sufficient": True,
    "accepts-catheterisation": True,
    "fit-for-bowel-surgery": True,
    "ureter-dilated": True,
    "pelvis-dilated": True,
    "bleeding-disorder": False,
    "lower-abdominal-surgery": False,
    "life-expectancy": "five to twenty years",
    "anal-sphincter-holds": True,
    "low-salt-diet": False,
}
CREATININE = Fact("creatinine", Decimal(90), "umol/L", RECENT, Origin("by hand"))
SPLIT = Fact("split-function-left", Decimal(48), "%", RECENT, Origin("by hand"))

OPEN, CAUTIONED, CLOSED, UNDECIDED = (
    "open",
    "open with cautions",
    "closed",
    "not yet decidable",
)


def fact_of(key: str, value: bool | str, at: date = RECENT) -> Fact:
    return Fact(key, value, None, at, Origin("by hand"))


def case_of(values: Mapping[str, bool | str], *more: Fact, person: Person = ADULT) -> Case:
    facts = tuple(fact_of(key, value) for key, value in values.items())
    return Case("c1", person, (*facts, CREATININE, *more))


def gfr_of(
    value: float | None, interval: tuple[float, float] | None = None, at: date = RECENT
) -> Finding:
    missing = () if value is not None else ("creatinine",)
    return Finding(
        "gfr-to-rely-on",
        "Filtration rate to rely on",
        value,
        "mL/min/{1.73_m2}",
        at,
        GFR_METHOD,
        interval=interval,
        missing=missing,
        digits=0,
    )


def route_of(
    diversion: str, side: str, site: str, margin: float, doubt: float = 10.0, **more: Any
) -> RouteSummary:
    interval = (margin - doubt, margin + doubt)
    chance = 1.0 if interval[0] >= 0 else 0.0 if interval[1] < 0 else 0.5
    return RouteSummary(diversion, side, site, margin, interval, chance, **more)


def plenty() -> list[RouteSummary]:
    """Every ureter reaching every site with 40 mm to spare, as invented."""
    sites = ("left lower", "right lower")
    diversions = [one.key for one in catalogue().diversions]
    return [
        route_of(key, side, site, 40.0)
        for key in diversions
        for side in ("left", "right")
        for site in sites
    ]


def appraised(
    changes: Mapping[str, bool | str | None] | None = None,
    *,
    gfr: Finding | None = None,
    routes: list[RouteSummary] | None = None,
    more: tuple[Fact, ...] = (SPLIT,),
    person: Person = ADULT,
) -> Appraisal:
    values: dict[str, bool | str] = dict(FAVOURABLE)
    for key, value in (changes or {}).items():
        if value is None:
            del values[key]
        else:
            values[key] = value
    findings = [gfr if gfr is not None else gfr_of(92.0)]
    chosen = plenty() if routes is None else routes
    return appraise(case_of(values, *more, person=person), findings, chosen, catalogue(), TODAY)


def row_of(appraisal: Appraisal, key: str) -> Appraised:
    return next(one for one in appraisal.diversions if one.diversion.key == key)


def verdicts_of(appraisal: Appraisal) -> dict[str, str]:
    return {one.diversion.key: one.verdict for one in appraisal.diversions}
