"""What goes into a plan."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

    from thalweg.assess.decline.report import Decline
    from thalweg.assess.fitness.report import FitnessReport
    from thalweg.care.calendar import Calendar
    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.preferences.report import Preferences
    from thalweg.plan.reach import RouteResult, Scene
    from thalweg.plan.staging import FreedUreter, MeasuredSite
    from thalweg.plan.workup.report import Completeness
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding
    from thalweg.sheets.document import Picture
    from thalweg.sheets.plan.chemistry import PlannedChemistry
    from thalweg.sheets.plan.lifecourse import PlannedLives
    from thalweg.sheets.plan.published import PlannedPublished
    from thalweg.sheets.plan.radiograph import PlannedRadiograph
    from thalweg.sheets.plan.renogram import PlannedRenogram
    from thalweg.sheets.plan.second_phase import PlannedPhase

__all__ = ["PlanContent", "PlannedUreter"]


@dataclass(frozen=True, eq=False)
class PlannedUreter:
    """One ureter's part of the plan: findings, picture, what is freed, or why it was not traced."""

    side: str
    findings: tuple[Finding, ...]
    freed: FreedUreter | None
    picture: Picture | None
    problem: str = ""
    second: PlannedPhase | None = None


@dataclass(frozen=True, eq=False)
class PlanContent:
    """Everything a plan says.

    Parameters
    ----------
    case : Case
        As known on `at`.
    at : date
        The day the plan speaks of.
    kidney : tuple of Finding
    fitness : FitnessReport
    ureters : tuple of PlannedUreter
    sites : tuple of MeasuredSite
    scene : Scene or None
    routes : tuple of RouteResult
    margins : tuple of Finding
    appraisal : Appraisal
    calendar : Calendar or None
    calendar_reason : str
        For which diversion the calendar is laid out, and why that one; or why there is none.
    problems : tuple of str
        What could not be worked out.
    notices : tuple of str
        Which rules the unit's own protocol replaced.
    radiographs : tuple of PlannedRadiograph
    front : Picture or None
        The map of margins over the front of the abdomen.
    map_cautions : tuple of str
        What the map must say.
    chemistry : PlannedChemistry or None
    kidney_course : tuple of Finding
        The kidneys over time.
    decline : Decline or None
        The course of the filtration rate, to be drawn.
    completeness : Completeness or None
        Of the work-up.
    renograms : tuple of PlannedRenogram
        Oldest first.
    preferences : Preferences or None
        What matters to the person, and which order it gives.
    published : tuple of PlannedPublished
        What was published after each diversion that is not closed.
    lives : PlannedLives or None
        What each open diversion would mean over a life.
    """

    case: Case
    at: date
    kidney: tuple[Finding, ...]
    fitness: FitnessReport
    ureters: tuple[PlannedUreter, ...]
    sites: tuple[MeasuredSite, ...]
    scene: Scene | None
    routes: tuple[RouteResult, ...]
    margins: tuple[Finding, ...]
    appraisal: Appraisal
    calendar: Calendar | None
    calendar_reason: str
    problems: tuple[str, ...] = ()
    notices: tuple[str, ...] = field(default=())
    radiographs: tuple[PlannedRadiograph, ...] = ()
    front: Picture | None = None
    map_cautions: tuple[str, ...] = ()
    chemistry: PlannedChemistry | None = None
    kidney_course: tuple[Finding, ...] = ()
    decline: Decline | None = None
    completeness: Completeness | None = None
    renograms: tuple[PlannedRenogram, ...] = ()
    preferences: Preferences | None = None
    published: tuple[PlannedPublished, ...] = ()
    lives: PlannedLives | None = None
