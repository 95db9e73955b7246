"""Scores of fitness added up by hand, sharing nothing with the engine, and people to score.

The points are those of the tables named beside each in the bibliography: Lee 1999; Canet 2010 as
reproduced in Trials 2019; Caprini 2005 as reproduced in Cancers Head Neck 2016;1:14, table 2;
Charlson 1987 as in BMC Cancer 2008;8:345, table 1; G8 as in BMC Cancer 2018 s12885-018-4001-x,
table 2.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from thalweg.assess.fitness.inputs import FitnessInputs
from thalweg.assess.fitness.report import FitnessReport, RuleReport, fitness_report
from thalweg.assess.fitness.rulebook import Rulebook, rulebook
from thalweg.assess.injury.now import judge_now
from thalweg.assess.kidney.choice import GFR_TO_RELY_ON
from thalweg.record.case import Chosen
from thalweg.record.fact import Fact, Origin
from thalweg.record.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

DAY = date(2026, 3, 1)
WRITTEN = Origin("test")
PER_173 = "mL/min/{1.73_m2}"

Answer = bool | str | tuple[str, str]


def fact(key: str, answer: Answer, at: date | datetime = DAY) -> Fact:
    """Return a fact; a quantity is a pair of number and unit."""
    if isinstance(answer, tuple):
        return Fact(key, Decimal(answer[0]), answer[1], at, WRITTEN)
    return Fact(key, answer, None, at, WRITTEN)


def rate(value: float | None, at: date = DAY) -> Finding:
    """Return a filtration rate to rely on, in mL/min per 1.73 m²."""
    missing = ("creatinine",) if value is None else ()
    return Finding("gfr-to-rely-on", "Rate", value, PER_173, at, GFR_TO_RELY_ON, missing=missing)


def person(
    answers: Mapping[str, Answer],
    *,
    age: str = "70",
    sex: Any = "male",
    gfr: float | None = 80.0,
    at: date = DAY,
) -> FitnessInputs:
    """Return inputs for somebody of whom only this is known."""
    key = "acute-kidney-injury"
    told = fact(key, answers[key]) if key in answers else None
    return FitnessInputs(
        facts={key: Chosen(fact(key, answer)) for key, answer in answers.items()},
        age=Fact("age", Decimal(age), "a", at, WRITTEN),
        sex=sex,
        gfr=rate(gfr),
        at=at,
        injury=judge_now(at, None, None, None, told),
    )


def report_of(inputs: FitnessInputs, rules: Rulebook | None = None) -> FitnessReport:
    """Return the fitness report by the packaged rules, or others."""
    return fitness_report(inputs, rules or rulebook())


def one(inputs: FitnessInputs, key: str, rules: Rulebook | None = None) -> RuleReport:
    """Return one score or category."""
    every = rules or rulebook()
    alone = replace(
        every,
        scores=tuple(rule for rule in every.scores if rule.key == key),
        contrast=tuple(rule for rule in every.contrast if rule.key == key),
    )
    (found,) = report_of(inputs, alone).rules
    return found


def span(inputs: FitnessInputs, key: str) -> tuple[float, float]:
    """Return least and greatest total of a score."""
    result = one(inputs, key).result
    return result.least, result.most


def _number(answers: Mapping[str, Answer], key: str) -> float:
    answer = answers[key]
    assert isinstance(answer, tuple)
    return float(answer[0])


def rcri(answers: Mapping[str, Answer]) -> int:
    """Return the cardiac index; creatinine in mg/dL."""
    factors = (
        "operation-intraperitoneal",
        "ischaemic-heart-disease",
        "heart-failure",
        "cerebrovascular-disease",
        "insulin-treated-diabetes",
    )
    return sum(answers[key] is True for key in factors) + (_number(answers, "creatinine") > 2.0)


def ariscat(answers: Mapping[str, Answer], age: int) -> int:
    """Return the pulmonary index; haemoglobin in g/dL."""
    total = 0 if age <= 50 else 3 if age <= 80 else 16
    saturation = _number(answers, "oxygen-saturation")
    total += 24 if saturation <= 90 else 8 if saturation <= 95 else 0
    total += 17 if answers["respiratory-infection-month"] is True else 0
    total += 11 if _number(answers, "haemoglobin") <= 10 else 0
    total += {"intrathoracic": 24, "upper abdominal": 15}.get(str(answers["operation-incision"]), 0)
    hours = _number(answers, "operation-hours")
    total += 23 if hours > 3 else 16 if hours > 2 else 0
    return total + (8 if answers["operation-emergency"] is True else 0)


CHARLSON = {
    "heart-infarction-ever": 1,
    "heart-failure": 1,
    "peripheral-vascular-disease": 1,
    "cerebrovascular-disease": 1,
    "dementia": 1,
    "chronic-lung-disease": 1,
    "connective-tissue-disease": 1,
    "peptic-ulcer": 1,
    "hemiplegia": 2,
    "leukaemia": 2,
    "lymphoma": 2,
    "aids": 6,
}


def charlson(answers: Mapping[str, Answer]) -> int:
    """Return the comorbidity index; creatinine in mg/dL."""
    total = sum(weight for key, weight in CHARLSON.items() if answers[key] is True)
    total += {"none": 0, "mild": 1, "moderate or severe": 3}[str(answers["liver-disease"])]
    diabetes = {"none": 0, "without organ damage": 1, "with organ damage": 2}
    total += diabetes[str(answers["diabetes"])]
    sick = answers["on-dialysis"] is True or answers["kidney-transplant"] is True
    total += 2 if sick or _number(answers, "creatinine") > 3.0 else 0
    if answers["metastases"] is True:
        return total + 6
    return total + (2 if answers["other-tumour"] is True else 0)


CAPRINI = {
    **dict.fromkeys(
        (
            "swollen-legs",
            "varicose-veins",
            "pregnancy-month",
            "pregnancy-loss",
            "oestrogen-treatment",
            "sepsis-month",
            "serious-lung-disease-month",
            "chronic-lung-disease",
            "heart-infarction-month",
            "heart-failure-month",
            "inflammatory-bowel-disease",
            "major-surgery-month",
        ),
        1,
    ),
    **dict.fromkeys(("malignancy-ever", "plaster-cast-month", "central-venous-access"), 2),
    **dict.fromkeys(
        (
            "thrombosis-ever",
            "thrombosis-family",
            "factor-v-leiden",
            "prothrombin-mutation",
            "lupus-anticoagulant",
            "anticardiolipin-raised",
            "homocysteine-raised",
            "heparin-thrombocytopenia",
            "other-thrombophilia",
        ),
        3,
    ),
    **dict.fromkeys(
        ("stroke-month", "leg-fracture-month", "multiple-trauma-month", "spinal-cord-injury-month"),
        5,
    ),
}


def caprini(answers: Mapping[str, Answer], age: int) -> int:
    """Return the clotting score; height in cm, weight in kg."""
    total = sum(weight for key, weight in CAPRINI.items() if answers[key] is True)
    total += 3 if age >= 75 else 2 if age >= 61 else 1 if age >= 41 else 0
    # Exactly, for 72.25 kg at 170 cm is 25 and not above it.
    weight, height = (Fraction(str(answers[key][0])) for key in ("weight", "height"))  # type: ignore[index]
    body = weight / (height / 100) ** 2
    total += 1 if body > 25 else 0
    beds = {"no": 0, "medical patient at bed rest": 1, "in bed for more than 72 hours": 2}
    total += beds[str(answers["bed-rest"])]
    cut = answers["operation-way"] in ("open", "laparoscopic or robotic")
    return total + (2 if cut and _number(answers, "operation-hours") > 0.75 else 1)
