"""One criterion as judged for one person, and what it says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import bibliography
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from thalweg.evidence.conditions.ground import Judged
    from thalweg.plan.catalogue import Criterion
    from thalweg.record.fact import Fact, Moment

__all__ = ["CRITERION", "Weighed", "youngest"]

CRITERION = Method(
    key="diversion-criterion",
    title="A criterion of the catalogue of diversions",
    formula="as the catalogue states it",
    valid_for="adults in whom a urinary diversion is considered, and children where it says so",
    sources=("kleene-1952",),
)
"""The way from facts to a criterion's truth; each criterion puts its own condition and sources."""


def youngest(facts: Iterable[Fact], findings: Iterable[Finding], otherwise: Moment) -> Moment:
    """Return the moment of the youngest of these, or `otherwise` where there is none."""
    moments = [fact.at for fact in facts] + [finding.at for finding in findings]
    return max(moments, key=moment_key) if moments else otherwise


@dataclass(frozen=True, slots=True)
class Weighed:
    """One criterion as judged for this person.

    Parameters
    ----------
    criterion : Criterion
        What must hold.
    judged : Judged
        Whether it does, and what that rests on.
    """

    criterion: Criterion
    judged: Judged

    @property
    def truth(self) -> Truth:
        """Met, not met or not known."""
        return self.judged.truth

    @property
    def would_open(self) -> str:
        """What would have to change, where it is not met; else empty."""
        if self.truth is not Truth.NOT_MET:
            return ""
        extra = f"; {self.criterion.opens}" if self.criterion.opens else ""
        return f"{self.judged.would_open}{extra}"

    @property
    def cautions(self) -> tuple[str, ...]:
        """Sentences that keep the option from being simply open."""
        own: tuple[str, ...] = ()
        sentence = self.criterion.sentence
        if self.criterion.strength == "caution" and self.truth is Truth.NOT_MET:
            own = (f"Not met: {sentence} ({self.would_open}).",)
        elif self.criterion.strength == "caution" and self.truth is Truth.NOT_KNOWN:
            own = (f"Not known: {sentence}.",)
        return (*own, *self.judged.doubts)

    def finding(self, at: Moment) -> Finding:
        """Return the criterion's truth as a finding.

        Parameters
        ----------
        at : date or aware datetime
            Its moment where it rests on nothing dated.
        """
        criterion = self.criterion
        local = (
            (f"By this unit's own protocol: {criterion.local_source}.",)
            if criterion.local_source
            else ()
        )
        method = replace(
            CRITERION,
            key=f"criterion-{criterion.key}",
            title=criterion.sentence,
            formula=criterion.holds.said(),
            sources=criterion.sources,
            cautions=(*local, *((criterion.note,) if criterion.note else ())),
        )
        return Finding(
            name=f"criterion-{criterion.key}",
            title=criterion.sentence,
            value=self.truth,
            unit=None,
            at=youngest(self.judged.facts, self.judged.findings, at),
            method=method,
            facts=self.judged.facts,
            findings=self.judged.findings,
            cautions=self.judged.doubts,
            missing=self.judged.missing,
        )

    def to_json(self, at: Moment, cite: Callable[[str], str]) -> dict[str, Any]:
        """Return the criterion in the shape of ``appraise --json``."""
        shared = self.finding(at).to_json(cite)
        return {
            "key": self.criterion.key,
            "sentence": self.criterion.sentence,
            "strength": self.criterion.strength,
            "domains": list(self.criterion.domains),
            "ages": self.criterion.ages,
            "condition": self.criterion.holds.said(),
            "truth": self.truth.value,
            "facts": shared["facts"],
            "findings": shared["from"],
            "date": shared["date"],
            "source": self.criterion.local_source or shared["source"],
            "checked": [bibliography()[key].read for key in self.criterion.sources],
            "note": self.criterion.note,
            "missing": list(self.judged.missing),
            "would_open": self.would_open,
            "cautions": list(dict.fromkeys((*self.cautions, *shared["cautions"]))),
        }
