"""On what the conditions of the work-up's own rules are judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.kidney.inputs import AGE_FROM_BIRTH
from thalweg.assess.kidney.shares import SHARE
from thalweg.evidence.conditions.ground import Ground, latest
from thalweg.record.case import age_in_years
from thalweg.record.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from thalweg.record.case import Case

__all__ = ["ground_for"]


def ground_for(case: Case, findings: Iterable[Finding], at: date) -> Ground:
    """Return what is known of a person, for conditions; facts do not age here.

    Whether one is too old is told of each item.

    Parameters
    ----------
    case : Case
        As known on the day.
    findings : iterable of Finding
        Asked by name; ``gfr-to-rely-on`` also answers conditions on ``gfr``.
    at : date
    """
    years = float(age_in_years(case.person.born, at))
    computed = {one.name: one for one in findings}
    computed["age"] = Finding("age", "Age", years, "a", at, AGE_FROM_BIRTH)
    if "gfr-to-rely-on" in computed:
        computed["gfr"] = computed["gfr-to-rely-on"]
    instead = {name: one for name, one in computed.items() if name == SHARE}
    return Ground(latest(case, at), at, findings=computed, instead=instead, sex=case.person.sex)
