"""Write the plan of a case: HTML, PDF, and the calendar for calendar programs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING, Any

from thalweg.assess.chemistry.rules import chemistry_rules
from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.evidence.bibliography import cite
from thalweg.progress import silent
from thalweg.service.completeness import completeness_of
from thalweg.service.following import (
    calendar_for,
    chosen_diversion,
    issued_file,
    own_calendar_rules,
)
from thalweg.service.handouts import handouts
from thalweg.service.lifecourse import planned_lives
from thalweg.service.preferences import preferences_for
from thalweg.service.protocol import read_protocol
from thalweg.service.published import own_pooling_rules, planned_published
from thalweg.service.renogram_course import own_renogram_rules, planned_renograms
from thalweg.service.safefile import replace_files
from thalweg.service.ureters import Draw
from thalweg.service.workup import work_up
from thalweg.sheets.html import to_html
from thalweg.sheets.messages import ENGLISH, wording
from thalweg.sheets.pdf import to_pdf
from thalweg.sheets.pictures.course import course_picture
from thalweg.sheets.pictures.radiograph import radiograph_picture
from thalweg.sheets.pictures.refused import refused_picture
from thalweg.sheets.plan import (
    PlanContent,
    PlannedPhase,
    PlannedRadiograph,
    PlannedUreter,
    plan_document,
)
from thalweg.sheets.plan.chemistry import PlannedChemistry

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from thalweg.measure.course import Course
    from thalweg.plan.workup.report import Completeness
    from thalweg.progress import Progress
    from thalweg.record.image import ImageVolume
    from thalweg.service.marked_phase import SeenAgain
    from thalweg.service.protocol import Protocol
    from thalweg.service.workup import Workup
    from thalweg.sheets.document import Picture
    from thalweg.store.store import Store

__all__ = ["WrittenPlan", "plan_content", "write_plan"]


def _course(
    volume: ImageVolume, course: Course, side: str, pivot_mm: float | None, cut_mm: float | None
) -> Picture:
    return course_picture(volume, course, side, pivot_mm=pivot_mm, division_mm=cut_mm)


def _second(again: SeenAgain | None) -> PlannedPhase | None:
    if again is None:
        return None
    at = again.findings[-1].at if again.findings else None
    return PlannedPhase(again.phases, at, again.problem)


DRAW = Draw(_course, refused_picture)
"""The pictures of a plan."""


@dataclass(frozen=True)
class WrittenPlan:
    """Where a plan lies, and what it rests on."""

    case_id: str
    files: tuple[Path, ...]
    workup: Workup
    completeness: Completeness | None
    reason: str

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        rows = [
            f"{row.diversion.titled}: {row.verdict}" for row in self.workup.appraisal.diversions
        ]
        rows += [f"! {problem}" for problem in self.workup.problems]
        return [*rows, *(f"Written: {path}" for path in self.files)]

    def to_json(self) -> dict[str, Any]:
        """Return files, findings, routes and appraisal."""
        whole = () if self.completeness is None else (self.completeness.finding(),)
        return {
            "case": self.case_id,
            "files": [str(path) for path in self.files],
            "findings": [finding.to_json(cite) for finding in (*self.workup.findings, *whole)],
            "routes": [route.to_json() for route in self.workup.routes],
            "appraisal": self.workup.appraisal.to_json(),
            "calendar": self.reason,
            "problems": list(self.workup.problems),
            "map": None if self.workup.front is None else self.workup.front.summary(),
        }


def own_kidney_rules(protocol: Protocol) -> tuple[str, ...]:
    """Return which thresholds of the kidneys the unit's own protocol replaced."""
    notice = kidney_rules(protocol.table(KIDNEY_TABLE)).notice
    return (notice,) if notice else ()


def plan_content(workup: Workup, protocol: Protocol) -> PlanContent:
    """Return what the plan says of a work-up."""
    diversion, reason = chosen_diversion(workup.case, workup.appraisal)
    calendar = None
    if diversion is not None:
        calendar = calendar_for(workup.case, diversion, at=workup.at, protocol=protocol)
    ranges = chemistry_rules(protocol.table("chemistry"))
    completeness = completeness_of(workup, protocol)
    preferences = preferences_for(workup, protocol)
    local = () if calendar is None else own_calendar_rules(protocol)
    return PlanContent(
        case=workup.case,
        at=workup.at,
        kidney=workup.kidney,
        fitness=workup.fitness,
        ureters=tuple(
            PlannedUreter(
                one.side, one.findings, one.freed, one.picture, one.problem, _second(one.again)
            )
            for one in workup.ureters
        ),
        sites=workup.sites,
        scene=workup.scene,
        front=None if workup.front is None else workup.front.picture(),
        map_cautions=() if workup.front is None else workup.front.front.cautions,
        routes=workup.routes,
        margins=workup.margins,
        appraisal=workup.appraisal,
        calendar=calendar,
        calendar_reason=reason,
        problems=workup.problems,
        notices=(
            *workup.appraisal.notices,
            *workup.fitness.notices,
            *ranges.notices,
            *local,
            *own_kidney_rules(protocol),
            *completeness.rules.notices,
            *own_renogram_rules(workup.renograms),
            *preferences.known.notices,
            *own_pooling_rules(protocol),
        ),
        kidney_course=workup.kidney_course,
        completeness=completeness,
        preferences=preferences,
        published=planned_published(workup, protocol),
        lives=planned_lives(workup, protocol),
        decline=workup.decline,
        chemistry=PlannedChemistry(workup.chemistry, ranges.references),
        radiographs=tuple(
            PlannedRadiograph(
                one.side, one.label, one.findings, one.picture, one.scale, one.said, one.problem
            )
            for one in workup.films
        ),
        renograms=planned_renograms(workup.renograms),
    )


def write_plan(
    case_id: str,
    store: Store,
    out: Path,
    *,
    at: date,
    protocol: Path | None = None,
    language: str = ENGLISH,
    progress: Progress = silent,
) -> WrittenPlan:
    """Work a case up and write its plan.

    Parameters
    ----------
    case_id : str
    store : Store
    out : Path
        Folder for ``plan-ID``, ``consent-ID`` and a ``leaflet-DIVERSION`` for each option that is
        not closed, each as HTML and PDF, and, where the operation has a date, ``calendar-ID.ics``.
    at : date
        Work with what was known on this day.
    protocol : Path, optional
        Folder of the unit's own rules.
    language : str
        Of the sheets for the person; the plan itself is in English.
    progress : Progress

    Raises
    ------
    InputError
        If there is no such case or language, or a file cannot be written.
    """
    own = read_protocol(protocol)
    words = wording(language, own.translations)
    workup = work_up(
        case_id,
        store,
        at=at,
        protocol=own,
        draw=DRAW,
        draw_film=radiograph_picture,
        with_map=True,
        progress=progress,
    )
    content = plan_content(workup, own)
    documents = {f"plan-{case_id}": plan_document(content)}
    documents |= handouts(content, own, words)
    files: dict[Path, bytes] = {}
    for number, (name, document) in enumerate(documents.items()):
        progress("Writing the plan", number, len(documents))
        files[out / f"{name}.html"] = to_html(document)
        files[out / f"{name}.pdf"] = to_pdf(document)
    if content.calendar is not None and content.calendar.operation_date is not None:
        path = out / f"calendar-{case_id}.ics"
        # Issued at the start of the plan's day, so that the same plan is the same file.
        issued_at = datetime.combine(at, time.min, UTC)
        files[path] = issued_file(case_id, content.calendar, path, issued_at=issued_at)
    replace_files(files)
    progress("Writing the plan", len(documents), len(documents))
    store.note("plan written", case_id=case_id, on=at.isoformat())
    return WrittenPlan(case_id, tuple(files), workup, content.completeness, content.calendar_reason)
