"""What criteria are judged on, and what a judgement holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding

__all__ = ["Ground", "Judged", "RouteSummary", "all_of_judged", "any_of_judged", "day_of"]


@dataclass(frozen=True, slots=True)
class RouteSummary:
    """Whether one ureter reaches one site in one diversion.

    Where two ureters share a stoma or a conduit, the routes of both carry the name of that
    shared place as `site`.

    Parameters
    ----------
    diversion : str
        Key of the catalogue.
    side : str
        ``"left"`` or ``"right"``: whose ureter.
    site : str
        Name of the candidate stoma, or of the base of the conduit.
    margin_mm : float
        Free length less required length, mm; negative: too short.
    margin_interval_mm : tuple of float
        Its 95 % interval, mm.
    probability_reaches : float
        Between 0 and 1.
    cautions : tuple of str
        Particular to this route, such as redundancy that would buckle. Each makes the option
        one to be taken with caution, so a method's standing cautions do not belong here.
    findings : tuple of Finding
        What the figures rest on.
    """

    diversion: str
    side: str
    site: str
    margin_mm: float
    margin_interval_mm: tuple[float, float]
    probability_reaches: float
    cautions: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Ground:
    """Everything one diversion's criteria are judged on.

    Parameters
    ----------
    case : Case
        The person's facts.
    findings : mapping
        Computed findings by name.
    routes : tuple of RouteSummary
        Those of this diversion only.
    any_routes : bool
        Whether reach was computed at all, for any diversion.
    at : date or aware datetime
        The moment of judging, against which facts age.
    least_margin_mm : float
        The margin that a ureter needs to count as reaching.
    """

    case: Case
    findings: Mapping[str, Finding]
    routes: tuple[RouteSummary, ...]
    any_routes: bool
    at: Moment
    least_margin_mm: float


@dataclass(frozen=True, slots=True)
class Judged:
    """The truth of a condition and what it rests on.

    Parameters
    ----------
    truth : Truth
        Met, not met or not known.
    facts, findings : tuple
        What was used.
    missing : tuple of str
        Where not known: concepts of which any could settle it.
    would_open : str
        Where not met: what would have to change, as a clause.
    doubts : tuple of str
        Sentences that weigh on the verdict: old, questioned, contradictory, too close to call.
    """

    truth: Truth
    facts: tuple[Fact, ...] = ()
    findings: tuple[Finding, ...] = ()
    missing: tuple[str, ...] = ()
    would_open: str = ""
    doubts: tuple[str, ...] = ()


def day_of(moment: Moment) -> date:
    """Return the calendar day of a moment."""
    return moment.date() if isinstance(moment, datetime) else moment


def _gathered(truth: Truth, parts: Iterable[Judged], joiner: str) -> Judged:
    kept = tuple(parts)
    facts = {fact.id: fact for part in kept for fact in part.facts}
    findings = {finding.name: finding for part in kept for finding in part.findings}
    clauses = dict.fromkeys(part.would_open for part in kept if part.would_open)
    return Judged(
        truth,
        tuple(facts.values()),
        tuple(findings.values()),
        tuple(dict.fromkeys(key for part in kept for key in part.missing)),
        joiner.join(clauses) if truth is Truth.NOT_MET else "",
        tuple(dict.fromkeys(doubt for part in kept for doubt in part.doubts)),
    )


def all_of_judged(parts: Iterable[Judged]) -> Judged:
    """Return the judgement that every part holds; one failing part decides."""
    kept = tuple(parts)
    failing = [part for part in kept if part.truth is Truth.NOT_MET]
    if failing:
        return _gathered(Truth.NOT_MET, failing, "; and ")
    known = all(part.truth is Truth.MET for part in kept)
    return _gathered(Truth.MET if known else Truth.NOT_KNOWN, kept, "")


def any_of_judged(parts: Iterable[Judged]) -> Judged:
    """Return the judgement that some part holds, resting on the part least in doubt."""
    kept = tuple(parts)
    holding = [part for part in kept if part.truth is Truth.MET]
    if holding:
        # One witness is enough. Taking the one with fewest doubts means that learning more
        # can never make a settled condition look worse.
        return min(holding, key=lambda part: len(part.doubts))
    known = all(part.truth is Truth.NOT_MET for part in kept)
    return _gathered(Truth.NOT_MET if known else Truth.NOT_KNOWN, kept, "; or ")
