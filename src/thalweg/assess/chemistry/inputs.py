"""What the chemistry report needs, drawn from a case or from values typed on the line."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.evidence.conditions.ground import Ground, latest
from thalweg.record.case import Chosen
from thalweg.record.concept import concepts
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding

__all__ = ["ANY_BICARBONATE", "USED", "ChemistryInputs", "Reading", "days_between"]

ANY_BICARBONATE = ("bicarbonate", "total-co2")
"""Results that speak of bicarbonate, the better first."""

USED = (
    *("sodium", "potassium", "chloride", "bicarbonate", "total-co2", "albumin", "urea", "weight"),
    *("calcium", "ionised-calcium", "magnesium", "glucose", "osmolality", "lactate", "ammonia"),
    *("pco2", "pco2-arterial", "pco2-capillary", "pco2-venous", "base-excess"),
    *("ph", "ph-arterial", "ph-capillary", "ph-venous"),
    *("haemoglobin", "urine-sodium", "urine-potassium", "urine-chloride", "bowel-segment"),
    *("bowel-in-urinary-tract", "planned-diversion", "operation-date", "diarrhoea", "vomiting"),
    *("carbonic-anhydrase-inhibitor", "saline-infusion", "urine-leak", "renal-tubular-acidosis"),
    *("diuretic", "alkali-taken", "lithium-taken", "phenytoin-taken", "methotrexate-taken"),
    *("confusion-new", "liver-failure", "obstruction"),
)
"""Concepts that the report looks at."""

_NOTHING = Chosen(None)


@dataclass(frozen=True, slots=True)
class Reading:
    """A number with what it was read from, in the unit that was asked for."""

    value: float
    facts: tuple[Fact, ...] = ()
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def at(self) -> Moment:
        """The moment it speaks of."""
        return youngest(self.facts).at if self.facts else self.findings[0].at


def days_between(first: Moment, second: Moment) -> int:
    """Return the number of days between two moments, never negative."""
    return abs((day_of(first) - day_of(second)).days)


@dataclass(frozen=True, slots=True)
class ChemistryInputs:
    """Facts for the chemistry report; whatever is not given is not guessed.

    Parameters
    ----------
    at : date
        The day the question is asked.
    chosen_by_key : mapping of str to Chosen
        The fact that answers each concept, or why none does.
    history : mapping of str to tuple of Fact
        All results of a concept, oldest first, for trends and second results.
    gfr : Finding, optional
        The filtration rate to rely on, where it was worked out.
    """

    at: date
    chosen_by_key: Mapping[str, Chosen]
    history: Mapping[str, tuple[Fact, ...]] = field(default_factory=dict)
    gfr: Finding | None = None

    @property
    def ground(self) -> Ground:
        """What conditions of the rules are judged on."""
        findings = {} if self.gfr is None else {"gfr": self.gfr}
        return Ground(self.chosen_by_key, self.at, findings)

    def chosen(self, key: str) -> Chosen:
        """Return the choice made for a concept."""
        return self.chosen_by_key.get(key, _NOTHING)

    def reading(self, key: str, unit: str | None = None) -> Reading | None:
        """Return the latest result of a quantity, or None where there is none to use."""
        fact = self.chosen(key).fact
        if fact is None or not isinstance(fact.value, Decimal):
            return None
        return Reading(amount(fact, unit or concepts()[key].unit or ""), (fact,))

    def truth(self, key: str) -> Truth:
        """Return what is known of a yes-no concept."""
        fact = self.chosen(key).fact
        value = fact.value if fact is not None else None
        return Truth.of(value) if isinstance(value, bool) else Truth.NOT_KNOWN

    def word(self, key: str) -> str | None:
        """Return the latest value of a choice or text concept."""
        fact = self.chosen(key).fact
        return fact.value if fact is not None and isinstance(fact.value, str) else None

    def because(self, *keys: str) -> tuple[Fact, ...]:
        """Return the facts there are for some concepts, contradicting ones included."""
        found: list[Fact] = []
        for key in keys:
            chosen = self.chosen(key)
            found += [chosen.fact] if chosen.fact is not None else list(chosen.conflict)
        return tuple(found)

    def conflicts(self, *keys: str) -> tuple[str, ...]:
        """Return a sentence for each concept whose latest results contradict each other."""
        return tuple(self.chosen(key).caution for key in keys if self.chosen(key).conflict)

    @classmethod
    def from_case(cls, case: Case, at: date, gfr: Finding | None = None) -> ChemistryInputs:
        """Draw the inputs from a case as it was known on a day; later facts are left out."""
        then = case.known_on(at)
        history = {key: then.series(key) for key in USED}
        return cls(at, latest(case, at), {key: one for key, one in history.items() if one}, gfr)

    @classmethod
    def from_facts(cls, facts: Iterable[Fact], at: date) -> ChemistryInputs:
        """Draw the inputs from facts of one moment, one for each concept."""
        by_key = {fact.concept: fact for fact in facts}
        return cls(
            at,
            {key: Chosen(fact) for key, fact in by_key.items()},
            {key: (fact,) for key, fact in by_key.items()},
        )
