"""The person of a life course, from what is on record; what is not known is said."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt
from typing import TYPE_CHECKING, Literal

from thalweg.assess.rules import kidney_rules, number
from thalweg.errors import InputError
from thalweg.evidence.lifetables import life_table
from thalweg.plan.lifecourse.quantity import Basis, Quantity, certain, ranged
from thalweg.plan.lifecourse.rates import Excess, Start
from thalweg.plan.lifecourse.rulebook import basis_of
from thalweg.record.case import age_in_years

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from thalweg.evidence.lifetables import LifeTable
    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["LivingPerson", "person_of"]

Z_95 = 1.959963984540054
UNIT_GFR = "mL/min/{1.73_m2}"


@dataclass(frozen=True)
class LivingPerson:
    """The start of a life course, with what it rests on.

    Parameters
    ----------
    start : Start
    facts : tuple of Fact
    findings : tuple of Finding
    says : tuple of str
        What is in it and what is not.
    no_gfr : tuple of str
        Why the filtration rate cannot be followed; empty where it can.
    """

    start: Start
    facts: tuple[Fact, ...]
    findings: tuple[Finding, ...]
    says: tuple[str, ...]
    no_gfr: tuple[str, ...]


@dataclass
class _Gathered:
    """What is collected on the way."""

    facts: list[Fact]
    findings: list[Finding]
    says: list[str]
    no_gfr: list[str]


def person_of(
    case: Case,
    at: date,
    findings: Iterable[Finding],
    rules: Rules,
    *,
    table: LifeTable | None = None,
    kidney: Rules | None = None,
) -> LivingPerson:
    """Return the person as they stand on the day of the operation, taken to be `at`.

    Parameters
    ----------
    case : Case
        As known on `at`.
    at : date
    findings : iterable of Finding
        ``gfr-to-rely-on``, ``gfr-slope`` and ``charlson`` are used where they are there.
    rules : Rules
        From `thalweg.plan.lifecourse.rulebook.life_rules`.
    table : LifeTable, optional
        The unit's own; else the packaged one of the person's sex.
    kidney : Rules, optional
        Thresholds of the kidneys; ours where None.

    Raises
    ------
    InputError
        If it is not on record which kidneys are present.
    """
    got = _Gathered([], [], [], [])
    named = {finding.name: finding for finding in findings}
    units = _units(case, got)
    table = table or life_table(case.person.sex)
    got.says.append(
        f"Deaths without any illness on record: {table.population} {table.year}, {table.sex}; "
        "another country's differ."
    )
    setting = rules.rows["setting.compensation"]
    start = Start(
        age=age_in_years(case.person.born, at),
        table=table,
        units=units,
        first_share=_share(case, units, got),
        gfr=_level(named.get("gfr-to-rely-on"), rules, got),
        gfr_per_year=_course(case, at, named.get("gfr-slope"), rules, kidney, got),
        compensation=ranged_from_nothing(
            "compensation",
            float(setting["low"]),
            float(setting["high"]),
            basis_of("setting.compensation", rules),
        ),
        excess=tuple(
            one
            for one in (_cancer(case, rules, got), _comorbidity(named.get("charlson"), rules, got))
            if one
        ),
    )
    return LivingPerson(
        start, tuple(got.facts), tuple(got.findings), tuple(got.says), tuple(got.no_gfr)
    )


def ranged_from_nothing(key: str, low: float, high: float, basis: Basis) -> Quantity:
    """Return a figure between two bounds that it cannot leave."""
    middle, spread = (low + high) / 2, (high - low) / (2 * Z_95)
    return Quantity(key, "plain", middle, spread, least=low, most=high, basis=basis)


def _units(case: Case, got: _Gathered) -> Literal[1, 2]:
    chosen = case.latest("kidneys-present")
    if chosen.fact is None:
        raise InputError(
            "a life course needs the kidneys that are present",
            mend=chosen.caution or "record kidneys-present: both, left only or right only",
        )
    got.facts.append(chosen.fact)
    return 2 if chosen.fact.value == "both" else 1


def _share(case: Case, units: int, got: _Gathered) -> Quantity:
    if units == 1:
        return certain("share of the left kidney", 1.0)
    percent, chosen = case.quantity("split-function-left")
    if percent is not None and chosen.fact is not None and 0 < percent < 100:
        got.facts.append(chosen.fact)
        return certain("share of the left kidney", percent / 100.0)
    got.says.append("How the kidneys share the work is not known: 35 to 65 % was taken.")
    basis = Basis(("thalweg-engineering",))
    return ranged("share of the left kidney", 0.35, 0.65, basis, middle=0.5)


def _level(found: Finding | None, rules: Rules, got: _Gathered) -> Quantity | None:
    if found is None or not isinstance(found.value, float) or found.unit != UNIT_GFR:
        got.no_gfr.append("The filtration rate today is not known: record a creatinine.")
        return None
    got.findings.append(found)
    basis = Basis(found.method.sources)
    if found.interval is not None:
        spread = (found.interval[1] - found.interval[0]) / (2 * Z_95)
    else:
        percent = float(rules.rows["setting.gfr-level-doubt"]["percent"])
        got.says.append(f"The filtration rate today is an estimate, doubtful by {percent:g} %.")
        spread = found.value * percent / 100.0
    return Quantity("gfr today", "plain", found.value, spread, least=0.0, basis=basis)


def _course(
    case: Case,
    at: date,
    slope: Finding | None,
    rules: Rules,
    kidney: Rules | None,
    got: _Gathered,
) -> Quantity | None:
    """Return the yearly change: the person's own where known, else that of healthy ageing."""
    key, spread = "gfr a year", float(rules.rows["setting.gfr-course-doubt"]["per_year"])
    if slope is not None and isinstance(slope.value, float):
        got.findings.append(slope)
        basis = Basis(slope.method.sources)
        if slope.interval is not None:
            spread = (slope.interval[1] - slope.interval[0]) / (2 * Z_95)
        else:
            got.says.append("The person's own course has too few results for an interval.")
        if slope.value > 0:
            got.says.append("The filtration rate has been rising: a rise is not carried on.")
        return Quantity(key, "plain", slope.value, spread, basis=basis)
    kidney = kidney or kidney_rules()
    if age_in_years(case.person.born, at) < number(kidney, "decline-ageing", "from_years"):
        got.no_gfr.append(
            "The person's own course of the filtration rate is not known, and under 50 years no "
            "rate of ageing is on file: record earlier creatinines."
        )
        return None
    usual = number(kidney, "decline-ageing", f"{case.person.sex}_per_year")
    got.says.append(
        f"The person's own course of the filtration rate is not known: healthy ageing "
        f"({usual:+g} mL/min/1.73 m² a year) was taken."
    )
    return Quantity(key, "plain", usual, spread, basis=Basis(("eriksen-2020",)))


def _cancer(case: Case, rules: Rules, got: _Gathered) -> Excess | None:
    """Return deaths by bladder cancer where its spread is on record."""
    why, chosen = case.word("indication")
    if chosen.fact is not None:
        got.facts.append(chosen.fact)
    if why == "other pelvic cancer":
        got.says.append("Deaths by the cancer are NOT in it: survival is better than it will be.")
    if why != "bladder cancer":
        if why is None:
            got.says.append("Why the bladder cannot be used is not known: no cancer was counted.")
        return None
    spread, recorded = case.word("bladder-cancer-spread")
    metastases = case.latest("metastases").fact
    if spread is None and metastases is not None and metastases.value is True:
        spread, recorded = "distant", case.latest("metastases")
    row = rules.rows["excess.bladder-cancer"]
    if spread is None or recorded.fact is None:
        got.says.append(
            "Deaths by the bladder cancer are NOT in it: its spread is not on record "
            "(bladder-cancer-spread). Survival is better than it will be."
        )
        return None
    got.facts.append(recorded.fact)
    got.says.append(
        f"Deaths by bladder cancer ({spread}) are in it for {row['until_years']:g} years, by "
        "relative survival of all people with it, however treated."
    )
    rate = -log(float(row["relative_survival_percent"][spread]) / 100.0) / 5.0
    basis = basis_of("excess.bladder-cancer", rules)
    quantity = Quantity(f"cancer {spread}", "log", log(rate), float(row["spread_log"]), basis=basis)
    return Excess("bladder-cancer", row["name"], quantity, float(row["until_years"]))


def _comorbidity(found: Finding | None, rules: Rules, got: _Gathered) -> Excess | None:
    """Return deaths by other illness, from the score without the cancer operated on."""
    if found is None or not isinstance(found.value, float):
        got.says.append(
            "Deaths by other illness beyond the average are not in it: the Charlson index is not "
            "complete."
        )
        return None
    got.findings.append(found)
    row = rules.rows["excess.comorbidity"]
    place = min(int(found.value), len(row["scores"]) - 1)
    if place == 0:
        return None
    summed, spread = zip(
        *(_summed(row["died_of_100"][n], row["of"][n]) for n in (0, place)), strict=True
    )
    years = float(row["until_years"])
    got.says.append(
        f"Deaths by other illness (Charlson index {found.value:g}) are in it for {years:g} years, "
        "by rates of 1962 to 1979 that treatment has lowered."
    )
    quantity = Quantity(
        f"illness {place}",
        "plain",
        (summed[1] - summed[0]) / years,
        sqrt(spread[0] + spread[1]) / years,
        least=0.0,
        basis=basis_of("excess.comorbidity", rules),
    )
    return Excess("other-illness", row["name"], quantity, years)


def _summed(percent: float, of: int) -> tuple[float, float]:
    """Return the summed rate of a share that died, and its variance."""
    share = percent / 100.0
    return -log(1.0 - share), share / (of * (1.0 - share))
