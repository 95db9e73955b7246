"""One diversion as it stands for one person: its verdict, and what rests on what."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from thalweg.evidence.bibliography import cite as cite_bibliography
from thalweg.plan.criteria.weighed import Weighed, youngest
from thalweg.plan.requirements import requirements_of
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable

    from thalweg.plan.catalogue import Diversion
    from thalweg.record.fact import Moment

__all__ = ["APPRAISAL", "STANDING", "Appraised", "Verdict"]

Verdict = Literal["open", "open with cautions", "closed", "not yet decidable"]

STANDING = (
    (
        "This supports the judgement of licensed clinicians and does not replace it; "
        "the unit's own protocol takes precedence."
    ),
    "Open means that no recorded criterion speaks against it, not that it is advised.",
)
"""What every appraisal says, whatever its verdict."""

APPRAISAL = Method(
    key="diversion-appraisal",
    title="Appraisal of a diversion by its criteria",
    formula=(
        "closed when any required criterion is not met; else not yet decidable when any is not "
        "known; else open, with cautions when a cautionary criterion is not met or not known or "
        "something relied on is in doubt"
    ),
    valid_for=(
        "adults in whom a urinary diversion is considered; of a child, what was published for "
        "adults alone is not known, and only what holds at any age is judged"
    ),
    sources=("kleene-1952",),
    cautions=STANDING,
)
"""The way from criteria to a verdict; each appraisal adds the sources of its own criteria."""


@dataclass(frozen=True, slots=True)
class Appraised:
    """One diversion as it stands for this person.

    Parameters
    ----------
    diversion : Diversion
        What was appraised.
    at : date or aware datetime
        The moment of the appraisal.
    weighed : tuple of Weighed
        Its criteria, in the catalogue's order.
    general : tuple of str
        Cautions about the person that no single criterion carries.
    """

    diversion: Diversion
    at: Moment
    weighed: tuple[Weighed, ...]
    general: tuple[str, ...] = ()

    def _required(self, truth: Truth) -> tuple[Weighed, ...]:
        return tuple(
            one
            for one in self.weighed
            if one.criterion.strength == "required" and one.truth is truth
        )

    @property
    def verdict(self) -> Verdict:
        """Exactly one of the four."""
        if self._required(Truth.NOT_MET):
            return "closed"
        if self._required(Truth.NOT_KNOWN):
            return "not yet decidable"
        return "open with cautions" if self.own_cautions else "open"

    @property
    def missing(self) -> tuple[str, ...]:
        """Concepts that would decide it; empty unless it is not yet decidable."""
        if self.verdict != "not yet decidable":
            return ()
        unknown = self._required(Truth.NOT_KNOWN)
        return tuple(dict.fromkeys(key for one in unknown for key in one.judged.missing))

    @property
    def would_open(self) -> tuple[str, ...]:
        """What would have to change, all of it, where it is closed; else empty."""
        return tuple(one.would_open for one in self._required(Truth.NOT_MET))

    @property
    def own_cautions(self) -> tuple[str, ...]:
        """Cautions particular to this person and option."""
        return tuple(
            dict.fromkeys((*self.general, *(text for one in self.weighed for text in one.cautions)))
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution, those that every appraisal carries last."""
        return (*self.own_cautions, *STANDING)

    def finding(self) -> Finding:
        """Return the verdict as a finding, resting on those of its criteria."""
        below = tuple(one.finding(self.at) for one in self.weighed)
        cited = [key for one in self.weighed for key in one.criterion.sources]
        sources = tuple(dict.fromkeys((*APPRAISAL.sources, *self.diversion.sources, *cited)))
        return Finding(
            name=f"appraisal-{self.diversion.key}",
            title=f"Appraisal of {self.diversion.name}",
            value=self.verdict,
            unit=None,
            at=youngest((), (one for one in below if one.all_facts), self.at),
            method=replace(APPRAISAL, sources=sources),
            findings=below,
            cautions=self.own_cautions,
            missing=self.missing,
        )

    def to_json(self, cite: Callable[[str], str] = cite_bibliography) -> dict[str, Any]:
        """Return the row in the shape of ``appraise --json``."""
        diversion = self.diversion
        length = diversion.bowel_length_cm
        return {
            "key": diversion.key,
            "name": diversion.name,
            "verdict": self.verdict,
            "standing": diversion.standing,
            "standing_note": diversion.standing_note,
            "published_for": diversion.published_for,
            "description": diversion.description,
            "bowel": diversion.bowel,
            "bowel_length_cm": list(length) if length else None,
            "tubes": diversion.tubes,
            "burdens": list(diversion.burdens),
            "daily": [one.to_json(cite) for one in diversion.daily],
            "requirements": [one.to_json(cite) for one in requirements_of(diversion)],
            "metabolic": diversion.metabolic,
            "follow_up": list(diversion.follow_up),
            "source": diversion.local_source or "; ".join(cite(key) for key in diversion.sources),
            "criteria": [one.to_json(self.at, cite) for one in self.weighed],
            "missing": list(self.missing),
            "would_open": list(self.would_open),
            "cautions": list(self.cautions),
        }
