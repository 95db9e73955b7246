"""Appraise again as if something else were on record."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.evidence.conditions.form import Bound
from thalweg.plan.appraise import appraise
from thalweg.plan.criteria.reaches import RouteSummary
from thalweg.plan.workup.options import facts_read
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin, moment_key

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from datetime import date

    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.appraised import Verdict
    from thalweg.plan.catalogue import Catalogue, Diversion
    from thalweg.plan.workup.ends import Value
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding

__all__ = ["KIDNEY_READS", "Rehearsal"]

KIDNEY_READS = frozenset(
    {
        "creatinine",
        "cystatin-c",
        "measured-gfr",
        "height",
        "weight",
        "muscle-loss",
        "bowel-in-urinary-tract",
        "albumin-creatinine-ratio",
        "urea",
        "urea-nitrogen",
        "on-dialysis",
        "acute-kidney-injury",
        "renal-replacement-started",
        "urine-volume",
        "urine-emptied",
        "operation-date",
    }
)
"""Concepts from which the kidney findings are computed; others leave them as they are."""

SUPPOSED = Origin("supposed", "not on record")
AMPLE_MM = 40.0
"""A margin that reaches whatever the doubt, or, when negative, falls short whatever the doubt."""


@dataclass
class Rehearsal:
    """The appraisal as it would be.

    Parameters
    ----------
    case : Case
        As known on `at`.
    at : date
    findings : tuple of Finding
        All that was computed.
    routes : tuple of RouteSummary
    rules : Catalogue
    base : Appraisal
        As it is.
    assess : callable
        Computes again, from a case, the findings on which criteria rest.
    assessed : frozenset of str
        The concepts that `assess` reads.
    """

    case: Case
    at: date
    findings: tuple[Finding, ...]
    routes: tuple[RouteSummary, ...]
    rules: Catalogue
    base: Appraisal
    assess: Callable[[Case], tuple[Finding, ...]]
    assessed: frozenset[str] = KIDNEY_READS
    _tried: dict[object, Mapping[str, Verdict]] = field(default_factory=dict)
    _again: dict[object, tuple[Finding, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.verdicts: Mapping[str, Verdict] = {
            one.diversion.key: one.verdict for one in self.base.diversions
        }
        self._reads = {way.key: _reads(way) for way in self.rules.diversions}
        self._on_findings = {way.key for way in self.rules.diversions if _computed(way)}

    def matters(self, key: str) -> bool:
        """Return whether any criterion can turn on a concept at all."""
        computed = key in self.assessed and bool(self._on_findings)
        return computed or any(key in read for read in self._reads.values())

    def reads(self, way: str) -> frozenset[str]:
        """Return the concepts on which a diversion's verdict can turn."""
        return self._reads[way] | (self.assessed if way in self._on_findings else frozenset())

    def findings_if(self, answers: Mapping[str, Value]) -> tuple[Finding, ...]:
        """Return what would be computed again from other answers; nothing where nothing would."""
        if not self.assessed & set(answers):
            return ()
        told = tuple(sorted((k, str(v)) for k, v in answers.items() if k in self.assessed))
        if told not in self._again:
            self._again[told] = self.assess(self.case_if(answers))
        return self._again[told]

    def case_if(self, answers: Mapping[str, Value]) -> Case:
        """Return the case as if these answers were recorded on the day, in their own units."""
        supposed = tuple(
            Fact(
                key,
                value,
                concept(key).unit if isinstance(value, Decimal) else None,
                self.at,
                SUPPOSED,
            )
            for key, value in answers.items()
        )
        now = moment_key(self.at)
        kept = tuple(
            fact
            for fact in self.case.facts
            if fact.concept not in answers or moment_key(fact.at) < now
        )
        return replace(self.case, facts=(*kept, *supposed))

    def changed(
        self, answers: Mapping[str, Value], reach: Mapping[str, bool] | None = None
    ) -> Mapping[str, Verdict]:
        """Return the verdicts that would be others than they are, by diversion.

        Parameters
        ----------
        answers : mapping
            Concept to value, a quantity in the concept's own unit; taken as recorded on the day.
        reach : mapping, optional
            Diversions whose ureters would turn out to reach, or to fall short.
        """
        reach = reach or {}
        told = (
            tuple(sorted((key, str(value)) for key, value in answers.items())),
            tuple(sorted(reach.items())),
        )
        if told not in self._tried:
            self._tried[told] = self._appraised(answers, reach)
        return self._tried[told]

    def _appraised(
        self, answers: Mapping[str, Value], reach: Mapping[str, bool]
    ) -> Mapping[str, Verdict]:
        again = self.findings_if(answers)
        touched = tuple(
            way
            for way in self.rules.diversions
            if self._reads[way.key] & set(answers)
            or way.key in reach
            or (again and way.key in self._on_findings)
        )
        if not touched:
            return {}
        routes = (
            *self.routes,
            *(
                route
                for key, reaches in reach.items()
                for route in self._supposed(key, reaches=reaches)
            ),
        )
        rules = replace(self.rules, diversions=touched)
        case = self.case_if(answers)
        appraisal = appraise(case, (*self.findings, *again), routes, rules, self.at)
        return {
            one.diversion.key: one.verdict
            for one in appraisal.diversions
            if one.verdict != self.verdicts[one.diversion.key]
        }

    def _supposed(self, diversion: str, *, reaches: bool) -> Iterable[RouteSummary]:
        """Yield a route for each ureter that has none, to every place tried and two more."""
        keys = self.rules.diversion(diversion).reach_keys
        mine = [route for route in self.routes if route.diversion in keys]
        places = dict.fromkeys([*(route.site for route in mine), "one place", "another place"])
        margin = self.rules.least_margin_mm + (AMPLE_MM if reaches else -AMPLE_MM)
        for side in ("left", "right"):
            if any(route.side == side for route in mine):
                continue
            for place in places:
                yield RouteSummary(diversion, side, place, margin, (margin, margin), float(reaches))


def _computed(way: Diversion) -> bool:
    """Return whether a diversion's criteria ask anything that is computed."""
    return any(
        isinstance(leaf, Bound) and leaf.of is not None
        for one in way.criteria
        for leaf in one.holds.leaves()
    )


def _reads(way: Diversion) -> frozenset[str]:
    return frozenset(key for one in way.criteria for key in facts_read(one.holds))
