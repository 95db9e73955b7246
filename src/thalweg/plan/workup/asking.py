"""On what the conditions of the work-up's own rules are judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.fitness.conditions import DERIVED, leaves
from thalweg.assess.fitness.ground import FactAges, Ground
from thalweg.assess.kidney.inputs import AGE_FROM_BIRTH
from thalweg.record.case import age_in_years
from thalweg.record.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from thalweg.assess.fitness.conditions import Condition
    from thalweg.record.case import Case

__all__ = ["asked_concepts", "ground_for"]

AGELESS = FactAges(usual_days=10**6)
"""Whether a fact is too old is told of each item; here only what it says counts."""


def asked_concepts(condition: Condition) -> tuple[str, ...]:
    """Return the recorded concepts that a condition reads, each once."""
    return tuple(dict.fromkeys(leaf.name for leaf in leaves(condition) if leaf.name not in DERIVED))


def ground_for(case: Case, findings: Iterable[Finding], at: date) -> Ground:
    """Return what is known of a person, for conditions.

    Parameters
    ----------
    case : Case
        As known on the day.
    findings : iterable of Finding
        ``gfr-to-rely-on`` among them answers conditions on ``gfr``.
    at : date
    """
    age = Finding("age", "Age", float(age_in_years(case.person.born, at)), "a", at, AGE_FROM_BIRTH)
    computed = {"age": age}
    relied = next((one for one in findings if one.name == "gfr-to-rely-on"), None)
    if relied is not None:
        computed["gfr"] = relied
    facts = {key: case.latest(key) for key in dict.fromkeys(one.concept for one in case.facts)}
    return Ground(facts, computed, case.person.sex, at, AGELESS)
