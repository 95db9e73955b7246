"""What the fitness report needs, and how it is drawn from a case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount
from thalweg.assess.injury.now import kidneys_now
from thalweg.assess.kidney.inputs import AGE_FROM_BIRTH
from thalweg.record.case import age_in_years
from thalweg.record.concept import concepts
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case, Chosen, Sex
    from thalweg.record.fact import Fact

__all__ = ["AGE_AS_GIVEN", "FitnessInputs"]

KINDS = ("quantity", "yes-no", "choice")
AGE_AS_GIVEN = Method(
    key="age-as-given",
    title="age as given",
    formula="the age that was typed; scores use completed years",
    valid_for="the day it was given for",
    sources=("thalweg-engineering",),
)


@dataclass(frozen=True, slots=True)
class FitnessInputs:
    """Facts for the fitness report; whatever is not given is not guessed.

    Parameters
    ----------
    facts : mapping
        The latest fact of each concept, or the conflict, by concept.
    age : Fact or Finding
        The fact ``age`` (typed) or the finding ``age`` (from the date of birth).
    sex : "female" or "male"
    gfr : Finding
        ``gfr-to-rely-on`` of the kidney report, with or without value.
    at : date
        The day the question is asked.
    injury : Finding
        ``injury-now``: whether the kidneys are being injured.
    weights : tuple of Fact
        All of them, oldest first.
    """

    facts: Mapping[str, Chosen]
    age: Fact | Finding
    sex: Sex
    gfr: Finding
    at: date
    injury: Finding
    weights: tuple[Fact, ...] = ()

    @property
    def age_finding(self) -> Finding:
        """The age as a finding, in years."""
        if isinstance(self.age, Finding):
            return self.age
        years = amount(self.age, "a")
        return Finding("age", "Age", years, "a", self.age.at, AGE_AS_GIVEN, facts=(self.age,))

    @classmethod
    def from_case(
        cls, case: Case, gfr: Finding, at: date, rules: Rules | None = None
    ) -> FitnessInputs:
        """Draw the inputs from a case as it was known on a day.

        Parameters
        ----------
        case : Case
            Facts after `at` must have been left out already.
        gfr : Finding
        at : date
        rules : Rules, optional
            Thresholds of acute injury; default: ours.
        """
        born = float(age_in_years(case.person.born, at))
        recorded = {fact.concept for fact in case.facts}
        wanted = [key for key, row in concepts().items() if row.kind in KINDS and key in recorded]
        return cls(
            facts={key: case.latest(key) for key in wanted},
            age=Finding("age", "Age", born, "a", at, AGE_FROM_BIRTH),
            sex=case.person.sex,
            gfr=gfr,
            at=at,
            injury=kidneys_now(case, at, rules),
            weights=case.series("weight"),
        )
