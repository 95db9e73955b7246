"""Fitness for the operation from values on the line or from a case."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, cast, get_args

from thalweg.assess.facts import day_of
from thalweg.assess.fitness.inputs import FitnessInputs
from thalweg.assess.fitness.report import FitnessReport, RuleReport, fitness_report
from thalweg.assess.fitness.rulebook import Rulebook, rulebook
from thalweg.assess.injury.now import judge_now
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.evidence.conditions.form import computed
from thalweg.record.case import Chosen, Sex
from thalweg.record.concept import concept, concepts
from thalweg.service.answers import answered
from thalweg.service.protocol import NO_PROTOCOL, read_protocol
from thalweg.service.typed import as_json, fact_from_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date
    from pathlib import Path

    from thalweg.record.case import Case
    from thalweg.record.finding import Finding
    from thalweg.service.answers import Typed
    from thalweg.service.protocol import Protocol

__all__ = [
    "every_item",
    "fitness_json",
    "fitness_of_case",
    "fitness_of_values",
    "fitness_worked_up",
    "own_rulebook",
]

KIDNEY_KEYS = ("creatinine", "cystatin-c", "height", "weight", "measured-gfr", "muscle-loss")


def own_rulebook(protocol: Protocol = NO_PROTOCOL) -> Rulebook:
    """Return the rules, with the unit's in the place of ours."""
    return rulebook(protocol.table("fitness"), protocol.table("contrast"))


def _relied(findings: Iterable[Finding]) -> Finding:
    return next(one for one in findings if one.name == "gfr-to-rely-on")


def fitness_of_values(typed: Typed, *, at: date, protocol: Path | None = None) -> FitnessReport:
    """Return the fitness report for values typed on the line.

    Parameters
    ----------
    typed : Typed
    at : date
        The day of the values.
    protocol : Path, optional
        Folder of the unit's own rules.

    Raises
    ------
    InputError
        If age or sex is missing, or a value cannot be used.
    """
    rules = own_rulebook(read_protocol(protocol))
    if typed.age is None:
        raise InputError("the age is missing", mend="give --age, in years")
    if typed.sex not in get_args(Sex):
        fault = f"{typed.sex!r} is neither female nor male" if typed.sex else "the sex is missing"
        raise InputError(fault, mend="give --sex female or --sex male, as the equations use it")
    sex = cast("Sex", typed.sex)
    age = fact_from_line("age", typed.age, at)
    facts = answered(typed, at)
    chosen = {key: Chosen(fact) for key, fact in facts.items()}
    kidney: dict[str, Any] = {
        key.replace("-", "_"): chosen[key] for key in KIDNEY_KEYS if key in chosen
    }
    inputs = FitnessInputs(
        facts=chosen,
        age=age,
        sex=sex,
        gfr=_relied(kidney_findings(KidneyInputs(age=age, sex=sex, at=at, **kidney))),
        at=at,
        injury=judge_now(at, None, None, None, facts.get("acute-kidney-injury")),
    )
    return fitness_report(inputs, rules)


def fitness_worked_up(
    case: Case, kidney: Sequence[Finding], *, at: date, protocol: Protocol = NO_PROTOCOL
) -> FitnessReport:
    """Return the fitness report of a case as known on a day, whose kidneys are worked up.

    Parameters
    ----------
    case : Case
        Without what is dated later.
    kidney : sequence of Finding
        Of the kidney report.
    at : date
    protocol : Protocol
    """
    thresholds = kidney_rules(protocol.table(KIDNEY_TABLE))
    inputs = FitnessInputs.from_case(case, _relied(kidney), at, thresholds)
    return fitness_report(inputs, own_rulebook(protocol))


def fitness_of_case(
    case_id: str,
    typed: Typed,
    *,
    home: Path | None,
    at: date,
    protocol: Path | None = None,
) -> FitnessReport:
    """Return the fitness report of a case; what is typed on the line is added, not recorded.

    Raises
    ------
    InputError
        If there is no such case, age or sex is given beside it, or a value cannot be used.
    """
    from thalweg.service.keeping import open_store  # noqa: PLC0415 - not for values on the line
    from thalweg.service.workup import require_born  # noqa: PLC0415 - likewise

    own = (("--age", "birth date", typed.age), ("--sex", "sex", typed.sex))
    for option, what, given in own:
        if given is not None:
            raise InputError(
                f"a case has its own {what}", where=option, mend=f"leave {option} out with an ID"
            )
    rules = read_protocol(protocol)
    with open_store(home) as store:
        case = store.get_case(case_id)
    require_born(case, at)
    added = answered(typed, at)
    # What is typed answers in the place of the record; earlier creatinines still show a rise.
    kept = tuple(
        fact
        for fact in case.known_on(at).facts
        if fact.concept not in added or (fact.concept == "creatinine" and day_of(fact.at) < at)
    )
    case = replace(case, facts=(*kept, *added.values()))
    thresholds = kidney_rules(rules.table(KIDNEY_TABLE))
    kidney = kidney_findings(KidneyInputs.from_case(case, at, thresholds), thresholds)
    return fitness_worked_up(case, kidney, at=at, protocol=rules)


def _wanted(report: FitnessReport, only: Sequence[str]) -> FitnessReport:
    known = [one.rule.key for one in report.rules]
    for key in only:
        if key not in known:
            near = get_close_matches(key, known, n=2) or known
            raise InputError(
                f"{key!r} is none of the scores and rules",
                where="--only",
                mend=f"choose {' or '.join(near)}",
            )
    if not only:
        return report
    return replace(
        report,
        scores=tuple(one for one in report.scores if one.rule.key in only),
        contrast=tuple(one for one in report.contrast if one.rule.key in only),
    )


def fitness_json(report: FitnessReport, only: Sequence[str] = ()) -> dict[str, Any]:
    """Return the report for programs: findings as everywhere, and each rule item by item.

    Parameters
    ----------
    report : FitnessReport
    only : sequence of str
        Keys of the scores and rules wanted; empty: all.

    Raises
    ------
    InputError
        If a key is none of them.
    """
    report = _wanted(report, only)
    return {
        "findings": as_json(report.findings),
        "scores": [_rule_json(one) for one in report.scores],
        "contrast": [_rule_json(one) for one in report.contrast],
        "notices": list(report.notices),
    }


def _rule_json(one: RuleReport) -> dict[str, Any]:
    names = [concept(key).name for key in one.result.missing]
    return {**one.to_json(cite), "missing_words": names}


def every_item(protocol: Path | None = None) -> list[dict[str, Any]]:
    """Return every score and rule with its items and the concepts that each asks.

    Parameters
    ----------
    protocol : Path, optional
        Folder of the unit's own rules.
    """
    known = concepts()
    rows = []
    for rule in own_rulebook(read_protocol(protocol)).rules:
        items = [
            {
                "key": item.key,
                "words": item.words,
                "points": sorted({level.points for level in item.levels}),
                "asks": [
                    {
                        "concept": name,
                        "kind": known[name].kind if name in known else "computed",
                        "words": known[name].name if name in known else name,
                        "choices": list(known[name].choices) if name in known else [],
                        "unit": known[name].unit if name in known else computed()[name].unit,
                    }
                    for name in item.asks
                ],
            }
            for item in rule.items
        ]
        rows.append({"key": rule.key, "title": rule.title, "asks": rule.asks, "items": items})
    return rows
