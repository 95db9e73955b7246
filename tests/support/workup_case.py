"""Invented people whose work-up is complete, or lacks what a test takes away."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.plan.appraise import appraise
from thalweg.plan.catalogue import catalogue
from thalweg.plan.criteria.reaches import RouteSummary
from thalweg.plan.workup.clashes import clashes
from thalweg.plan.workup.rehearse import Rehearsal
from thalweg.plan.workup.report import completeness
from thalweg.plan.workup.rulebook import workup_rules
from thalweg.plan.workup.standing import Measured, Question, standings
from thalweg.record.case import Case, ImageRecord, Person
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Mark, Origin

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from thalweg.plan.workup.report import Completeness, Open
    from thalweg.plan.workup.standing import Standing
    from thalweg.record.fact import FactValue, Moment
    from thalweg.record.finding import Finding

TODAY = date(2026, 3, 1)
RECENT = date(2026, 2, 20)
WOMAN = Person("W-1", "Invented Person", date(1952, 5, 4), "female")
BY_HAND = Origin("by hand", "invented")
PLACE = Mark(((0.0, 0.0, 0.0),))

ANSWERS: Mapping[str, FactValue] = {
    "indication": "neurogenic bladder",
    "intent": "functional",
    "planned-diversion": "ileal-conduit",
    "operation-date": "2026-03-20",
    "wishes": "to travel",
    "options-discussed": True,
    "can-decide": True,
    "needs-interpreter": False,
    "muscle-loss": True,
    "bowel-in-urinary-tract": False,
    "kidneys-present": "both",
    "contrast-reaction": False,
    "bowel-disease": False,
    "short-bowel": False,
    "bowel-irradiated": False,
    "colon-usable": True,
    "ureters-irradiated": False,
    "lower-abdominal-surgery": False,
    "life-expectancy": "five to twenty years",
    "anal-sphincter-holds": True,
    "low-salt-diet": False,
    "liver-failure": False,
    "obstruction": False,
    "ureter-dilated": True,
    "pelvis-dilated": True,
    "upper-tract-tumour": False,
    "urinary-stones": False,
    "retroperitoneal-fibrosis": False,
    "urinary-tuberculosis": False,
    "bladder-kept": False,
    "urethral-margin-tumour": False,
    "stress-incontinence": False,
    "urine-culture": "no growth",
    "fit-for-bowel-surgery": True,
    "asa-class": "II",
    "food-intake-week": "over 75 %",
    "g8-food": "no less",
    "g8-weight-loss": "none",
    "g8-mobility": "goes out",
    "g8-mind": "none",
    "g8-medicines": False,
    "g8-health-felt": "as good",
    "ischaemic-heart-disease": False,
    "heart-failure": False,
    "cerebrovascular-disease": False,
    "diabetes": "without organ damage",
    "malignancy-ever": True,
    "bleeding-disorder": False,
    "thrombosis-ever": False,
    "thrombosis-family": False,
    "thrombophilia-known": False,
    "dexterity": "full",
    "helper-at-home": True,
    "cognition-sufficient": True,
    "accepts-catheterisation": True,
    "sight": "sees to care for a stoma",
    "spinal-lesion": "incomplete",
    "walking": "walks with aids",
    "stoma-checked-lying": True,
    "stoma-checked-sitting": True,
    "stoma-checked-standing": True,
}
RESULTS: Mapping[str, str] = {
    "creatinine": "70",
    "cystatin-c": "0.9",
    "urea": "5",
    "height": "168",
    "weight": "64",
    "albumin-creatinine-ratio": "12",
    "split-function-left": "48",
    "sodium": "139",
    "potassium": "4.2",
    "chloride": "104",
    "bicarbonate": "25",
    "vitamin-b12": "300",
    "haemoglobin": "131",
    "albumin": "41",
    "weight-loss-3-months": "0",
    "hba1c": "52",
}
MARKS = (
    *("ureter-left", "ureter-right", "lower-pole-left", "lower-pole-right", "umbilicus"),
    *("conduit-base", "sigmoid-passage", "stoma-site"),
)
URETERS = {
    "ureter-left": Measured("250 mm", RECENT),
    "ureter-right": Measured("245 mm", RECENT),
    "wall": Measured("24 to 30 mm", RECENT),
}
UROGRAM = ImageRecord("1.2.3", "CT", "2026-02-20", ("0" * 64,), "ct", phantom=True)


def stated(key: str, value: Any, at: Moment = RECENT, unit: str | None = None) -> Fact:
    """Return a fact; text of a quantity becomes a number in the concept's own unit."""
    if concept(key).kind == "quantity":
        return Fact(key, Decimal(str(value)), unit or concept(key).unit, at, BY_HAND)
    return Fact(key, value, None, at, BY_HAND)


def whole_case(
    changes: Mapping[str, Any] | None = None,
    *more: Fact,
    person: Person = WOMAN,
    images: tuple[ImageRecord, ...] = (UROGRAM,),
) -> Case:
    """Return a person of whom everything is known; None among `changes` leaves one out."""
    values: dict[str, Any] = {**ANSWERS, **RESULTS, **dict.fromkeys(MARKS, PLACE)}
    values.update(changes or {})
    facts = [stated(key, value) for key, value in values.items() if value is not None]
    return Case("w1", person, (*facts, *more), images)


def ample_routes() -> tuple[RouteSummary, ...]:
    """Return routes that all reach with room to spare, as invented."""
    return tuple(
        RouteSummary(way.key, side, place, 40.0, (30.0, 50.0), 1.0)
        for way in catalogue().diversions
        for side in ("left", "right")
        for place in ("left lower", "right lower")
    )


def kidneys_of(case: Case, at: date = TODAY) -> tuple[Finding, ...]:
    """Return the kidney findings of a case."""
    return kidney_findings(KidneyInputs.from_case(case, at))


def rehearsal_of(
    case: Case, routes: Sequence[RouteSummary] | None = None, at: date = TODAY
) -> Rehearsal:
    """Return the appraisal of a case, ready to be repeated on other answers."""
    found, ways = kidneys_of(case, at), ample_routes() if routes is None else tuple(routes)
    base = appraise(case, found, ways, catalogue(), at)
    return Rehearsal(case, at, found, ways, catalogue(), base, lambda other: kidneys_of(other, at))


def told(
    case: Case,
    *,
    routes: Sequence[RouteSummary] | None = None,
    measured: Mapping[str, Measured] | None = None,
    operation: date | None = None,
    protocol: Mapping[str, Any] | None = None,
    at: date = TODAY,
) -> Completeness:
    """Return how complete a case's work-up is."""
    return completeness(
        rehearsal_of(case, routes, at),
        workup_rules(protocol),
        Question(at, operation),
        URETERS if measured is None else measured,
    )


def one_of(whole: Completeness, key: str) -> Standing:
    """Return how one item stands."""
    return next(one for one in whole.standings if one.item.key == key)


def open_one(whole: Completeness, key: str) -> Open:
    """Return what one open item could change."""
    return next(one for one in whole.open if one.standing.item.key == key)


def states(case: Case) -> dict[str, str]:
    """Return the state of every item, without rehearsing what each could change."""
    rehearsal, rules = rehearsal_of(case), workup_rules()
    found = clashes(case, rehearsal.findings, rules, TODAY)
    stand = standings(
        case, rehearsal.findings, rehearsal.base, found, URETERS, rules, Question(TODAY)
    )
    return {one.item.key: one.state for one in stand}
