"""The caseload, and one case as a course."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.evidence.bibliography import cite
from thalweg.exchange.casefile.marks import COURSES, URETERS
from thalweg.plan.workup.printed import completeness_lines
from thalweg.progress import silent
from thalweg.record.concept import concepts
from thalweg.record.fact import moment_key
from thalweg.service.completeness import completeness_of
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.service.workup import worked_up

if TYPE_CHECKING:
    from datetime import date

    from thalweg.plan.workup.report import Completeness
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding
    from thalweg.service.protocol import Protocol
    from thalweg.store.rows import CaseSummary
    from thalweg.store.store import Store

__all__ = ["CaseRow", "Course", "caseload", "course_of", "lacking"]

WANTED = (
    "indication",
    "creatinine",
    "ureter-left",
    "ureter-right",
    "lower-pole-left",
    "lower-pole-right",
    "stoma-site",
)
"""Without these no plan can say much; a solitary kidney needs only its own side."""


def _either(key: str) -> tuple[str, ...]:
    """Return the keys that serve for one that is wanted: a course by hand for a ureter to trace."""
    by_hand = {URETERS[side]: course for side, course in COURSES.items()}
    return (key, by_hand[key]) if key in by_hand else (key,)


def lacking(case: Case) -> tuple[str, ...]:
    """Return the names of what a plan would still want, in the order of the work-up."""
    kidneys, _ = case.word("kidneys-present")
    absent = {"left only": "-right", "right only": "-left"}.get(kidneys or "", "")
    wanted = [key for key in WANTED if not absent or not key.endswith(absent)]
    missing = [key for key in wanted if not any(map(case.series, _either(key)))]
    names = [concepts()[key].name for key in missing]
    return (*names, *(() if any(one.is_volume for one in case.images) else ("images",)))


@dataclass(frozen=True)
class CaseRow:
    """One line of the caseload."""

    summary: CaseSummary
    lacks: tuple[str, ...]

    def line(self) -> str:
        """Return the case in one line: id, number, what it lacks."""
        artificial = "  (phantom)" if self.summary.phantom else ""
        lacks = f"lacks {', '.join(self.lacks)}" if self.lacks else "ready to plan"
        person = self.summary.person
        return f"{self.summary.id}  {person.reference}  {person.name}{artificial}: {lacks}"

    def to_json(self) -> dict[str, Any]:
        """Return the line for programs."""
        return {
            "id": self.summary.id,
            "reference": self.summary.person.reference,
            "name": self.summary.person.name,
            "born": self.summary.person.born.isoformat(),
            "sex": self.summary.person.sex,
            "facts": self.summary.facts,
            "series": self.summary.series,
            "opened": self.summary.opened,
            "changed": self.summary.changed,
            "phantom": self.summary.phantom,
            "lacks": list(self.lacks),
        }


def caseload(store: Store, *, at: date) -> list[CaseRow]:
    """Return every case on record, with what each still lacks for a plan."""
    return [
        CaseRow(summary, lacking(store.get_case(summary.id).known_on(at)))
        for summary in store.list_cases()
    ]


@dataclass(frozen=True)
class Course:
    """One case: every fact with its origin, every finding with its reasons."""

    case: Case
    facts: tuple[Fact, ...]
    findings: tuple[Finding, ...]
    conflicts: tuple[str, ...]
    problems: tuple[str, ...]
    completeness: Completeness

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads: facts in order of time, then findings."""
        lines = ["Facts (id, what, when, from where)"]
        for fact in self.facts:
            lines.append(f"  {fact.id}  {fact}   [{fact.origin}]")
            lines += [f"                    ? {question}" for question in fact.questions]
        lines.append("Images")
        lines += [
            f"  {one.acquired[:10] or 'date not known'}  {one.modality}, {len(one.files)} files"
            f"{' (phantom)' if one.phantom else ''}"
            for one in self.case.images
        ]
        lines.append("Findings (thalweg case ID --explain NAME walks one back to its source)")
        lines += [f"  {finding}   [{finding.name}]" for finding in self.findings]
        lines += completeness_lines(self.completeness)
        clashing = [clash.sentence for clash in self.completeness.clashes]
        said = (*self.conflicts, *clashing, *self.completeness.cautions, *self.problems)
        lines += [f"! {sentence}" for sentence in dict.fromkeys(said)]
        return lines

    def to_json(self) -> dict[str, Any]:
        """Return the course for programs."""
        person = self.case.person
        return {
            "id": self.case.id,
            "person": {
                "reference": person.reference,
                "name": person.name,
                "born": person.born.isoformat(),
                "sex": person.sex,
            },
            "facts": [fact.to_json() for fact in self.facts],
            "images": [
                {
                    "series_uid": one.series_uid,
                    "modality": one.modality,
                    "acquired": one.acquired,
                    "files": len(one.files),
                    "phantom": one.phantom,
                    "cautions": list(one.cautions),
                }
                for one in self.case.images
            ],
            "findings": [finding.to_json(cite) for finding in self.findings],
            "completeness": self.completeness.to_json(cite),
            "conflicts": list(self.conflicts),
            "problems": list(self.problems),
        }


def course_of(
    case_id: str,
    store: Store,
    *,
    at: date,
    protocol: Protocol = NO_PROTOCOL,
    progress: Progress = silent,
) -> Course:
    """Return one case as a course: its facts, and everything worked out from them.

    Raises
    ------
    InputError
        If there is no such case.
    """
    worked = worked_up(store.get_case(case_id), store, at=at, protocol=protocol, progress=progress)
    case = worked.case
    facts = tuple(sorted(case.facts, key=lambda fact: (moment_key(fact.at), fact.concept, fact.id)))
    conflicts = [
        case.latest(key, label=label).caution for key in concepts() for label in case.labels(key)
    ]
    whole = completeness_of(worked, protocol)
    findings = (*worked.findings, whole.finding())
    told = tuple(filter(None, conflicts))
    return Course(case, facts, findings, told, worked.problems, whole)
