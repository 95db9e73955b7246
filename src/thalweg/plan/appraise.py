"""Appraise every diversion of the catalogue for one person."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from thalweg.assess.kidney.inputs import AGE_FROM_BIRTH
from thalweg.assess.kidney.shares import SHARE
from thalweg.evidence.bibliography import cite as cite_bibliography
from thalweg.evidence.conditions.ground import Ground, latest
from thalweg.evidence.conditions.judge import judge
from thalweg.plan.appraised import STANDING, Appraised
from thalweg.plan.criteria.reaches import Reaches, ReachGround, RouteSummary
from thalweg.plan.criteria.reaching import judge_reach
from thalweg.plan.criteria.weighed import Weighed
from thalweg.plan.settles import Settler, ranked
from thalweg.record.case import age_in_years
from thalweg.record.finding import Finding
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from thalweg.evidence.conditions.ground import Judged
    from thalweg.plan.catalogue import Catalogue, Criterion, Diversion
    from thalweg.plan.nearest import Nearest
    from thalweg.record.case import Case
    from thalweg.record.fact import Moment

__all__ = [
    "Appraisal",
    "RouteSummary",
    "appraise",
    "judged_of",
    "known_of",
    "reach_of",
    "with_reach",
]


@dataclass(frozen=True, slots=True)
class Appraisal:
    """Every diversion of the catalogue as it stands for this person.

    Parameters
    ----------
    at : date or aware datetime
        The moment of the appraisal.
    diversions : tuple of Appraised
        In the catalogue's order.
    notices : tuple of str
        Which rules the unit's own protocol replaced.
    nearest : mapping
        By key of a closed diversion, the nearest change that would open it, where it was sought.
    """

    at: Moment
    diversions: tuple[Appraised, ...]
    notices: tuple[str, ...] = ()
    nearest: Mapping[str, Nearest] = field(default_factory=dict)

    @property
    def settles(self) -> tuple[Settler, ...]:
        """The missing facts, the one that would settle most undecided options first."""
        return ranked({one.diversion.key: one.missing for one in self.diversions if one.missing})

    @property
    def opens(self) -> Mapping[str, tuple[str, ...]]:
        """For each closed option, what would have to change."""
        return {one.diversion.key: one.would_open for one in self.diversions if one.would_open}

    def _nearest(self, one: Appraised, cite: Callable[[str], str]) -> dict[str, Any] | None:
        found = self.nearest.get(one.diversion.key)
        return None if found is None else found.to_json(cite)

    def findings(self) -> tuple[Finding, ...]:
        """Return each verdict as a finding."""
        return tuple(one.finding().with_cautions(self.notices) for one in self.diversions)

    def to_json(self, cite: Callable[[str], str] = cite_bibliography) -> dict[str, Any]:
        """Return the appraisal in the shape of ``appraise --json``.

        Parameters
        ----------
        cite : callable
            Turns a bibliography key into a citation.
        """
        return {
            "date": self.at.isoformat(),
            "diversions": [
                {**one.to_json(cite), "nearest": self._nearest(one, cite)}
                for one in self.diversions
            ],
            "would_settle_most": [
                {
                    "concept": one.concept,
                    "name": one.name,
                    "settles_alone": list(one.alone),
                    "helps_to_settle": list(one.waiting),
                }
                for one in self.settles
            ],
            "protocol": list(self.notices),
            "cautions": list(STANDING),
        }


def appraise(
    case: Case,
    findings: Iterable[Finding],
    routes: Sequence[RouteSummary],
    rules: Catalogue,
    at: Moment,
) -> Appraisal:
    """Appraise every diversion of the catalogue for one person.

    Parameters
    ----------
    case : Case
        The person's facts.
    findings : iterable of Finding
        What was computed from them, such as ``gfr-to-rely-on``; taken by name.
    routes : sequence of RouteSummary
        What reaches what; empty when no ureter was traced.
    rules : Catalogue
        From `thalweg.plan.catalogue.catalogue`.
    at : date or aware datetime
        The moment of judging, against which facts age.

    Returns
    -------
    Appraisal
        A verdict on every diversion. Learning a fact that nobody had recorded can decide an
        undecided option, and never undecides or reopens a decided one.
    """
    known = known_of(case, findings, at)
    child = age_in_years(case.person.born, at) < rules.adult_from_years
    rows = []
    for diversion in rules.diversions:
        reach = reach_of(diversion, case, routes, rules)
        ground = with_reach(known, reach)
        weighed = tuple(
            Weighed(criterion, judged_of(criterion, ground, child=child))
            for criterion in diversion.criteria
        )
        rows.append(Appraised(diversion, at, weighed, _general(diversion, rules, child=child)))
    return Appraisal(at, tuple(rows), rules.notices)


def known_of(case: Case, findings: Iterable[Finding], at: Moment) -> Ground:
    """Return what every diversion's conditions are judged on; reach comes with each diversion."""
    years = float(age_in_years(case.person.born, at))
    by_name = {
        "age": Finding("age", "Age", years, "a", at, AGE_FROM_BIRTH),
        **{finding.name: finding for finding in findings},
    }
    return Ground(
        facts=latest(case, at),
        at=at,
        findings=by_name,
        # The share of a renogram whose counts are on record, already held against what was entered.
        instead={name: one for name, one in by_name.items() if name == SHARE},
        sex=case.person.sex,
    )


def reach_of(
    diversion: Diversion, case: Case, routes: Sequence[RouteSummary], rules: Catalogue
) -> ReachGround:
    """Return what a diversion's reach is judged on."""
    return ReachGround(
        kidneys=case.latest("kidneys-present"),
        routes=tuple(route for route in routes if route.diversion in diversion.reach_keys),
        any_routes=bool(routes),
        least_margin_mm=rules.least_margin_mm,
    )


def with_reach(known: Ground, reach: ReachGround) -> Ground:
    """Return the ground of one diversion."""
    return replace(known, own={Reaches: partial(judge_reach, ground=reach)})


def judged_of(criterion: Criterion, ground: Ground, *, child: bool) -> Judged:
    """Return a criterion's truth; of a child, what was published for adults is not known."""
    judged = judge(criterion.holds, ground)
    if not child or criterion.ages == "any":
        return judged
    said = f"Published for adults, so not known of a child: {criterion.sentence}."
    return replace(judged, truth=Truth.NOT_KNOWN, missing=(), would_open="", doubts=(said,))


def _general(diversion: Diversion, rules: Catalogue, *, child: bool) -> tuple[str, ...]:
    """Return what must be said of a diversion before any criterion."""
    said: tuple[str, ...] = ()
    if diversion.standing != "usual":
        said = (f"{diversion.standing.capitalize()}: {diversion.standing_note}.",)
    if child and diversion.published_for == "adults":
        adults = (
            "This diversion's criteria were published for adults and the person is under "
            f"{rules.adult_from_years:g} years old: decide with a children's service."
        )
        return (*said, adults)
    return said
