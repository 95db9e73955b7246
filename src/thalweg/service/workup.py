"""Work a case up: kidneys, ureters, reach and appraisal, from what is on record on a day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from thalweg.assess.decline.report import decline_of
from thalweg.assess.kidney.course import kidney_course
from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.kidney.shares import SHARE
from thalweg.assess.renogram.rules import RENOGRAM_TABLE, renogram_rules
from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.errors import InputError
from thalweg.plan.appraise import appraise
from thalweg.plan.catalogue import catalogue
from thalweg.plan.nearest import nearest_changes
from thalweg.plan.nearest.changeable import CHANGEABLE_TABLE
from thalweg.plan.reach import solve_scene
from thalweg.plan.reached import Ground, margin_finding, summarised
from thalweg.plan.staging import staged
from thalweg.progress import silent
from thalweg.service.chemistry import chemistry_of
from thalweg.service.films import measured_films
from thalweg.service.fitness import fitness_worked_up
from thalweg.service.images import Images
from thalweg.service.margins import map_of
from thalweg.service.obstacles import obstacles_for
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.service.renogram_course import computed_shares, worked_renograms
from thalweg.service.sites import measured_sites
from thalweg.service.ureters import traced_ureters

if TYPE_CHECKING:
    from datetime import date

    from thalweg.assess.decline.report import Decline
    from thalweg.assess.fitness.report import FitnessReport
    from thalweg.measure.obstacles import FoundObstacles
    from thalweg.plan.appraise import Appraisal, RouteSummary
    from thalweg.plan.reach import RouteResult, Scene
    from thalweg.plan.staging import MeasuredSite
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding
    from thalweg.service.films import DrawFilm, Film
    from thalweg.service.margins import PersonMap
    from thalweg.service.protocol import Protocol
    from thalweg.service.renogram_course import WorkedRenogram
    from thalweg.service.ureters import Draw, TracedUreter
    from thalweg.store.store import Store

__all__ = ["Workup", "require_born", "work_up", "worked_up"]


NO_MIDLINE = (
    "The umbilicus is not marked: x = 0 of the images was taken for the midline, which decides on "
    "whose side a site lies. Mark it."
)


@dataclass(frozen=True)
class Workup:
    """Everything worked out for one person on one day.

    Parameters
    ----------
    case : Case
        As known on that day.
    at : date
    kidney : tuple of Finding
    fitness : FitnessReport
        Scores before the operation, and what contrast the kidneys allow.
    ureters : tuple of TracedUreter
        Each renal unit that was marked, traced or not.
    sites : tuple of MeasuredSite
    scene : Scene or None
        What reach was computed on.
    routes : tuple of RouteResult
    margins : tuple of Finding
    appraisal : Appraisal
    problems : tuple of str
        Why parts of it could not be worked out.
    films : tuple of Film
        Ureters on radiographs.
    front : PersonMap or None
        The map of margins, where it was asked for.
    chemistry : tuple of Finding
        Acid-base and electrolytes.
    kidney_course : tuple of Finding
        The kidneys over time.
    decline : Decline or None
        The course of the filtration rate, to be drawn.
    reached : tuple of RouteSummary
        The routes as the appraisal judged them.
    renograms : tuple of WorkedRenogram
        Oldest first.
    """

    case: Case
    at: date
    kidney: tuple[Finding, ...]
    fitness: FitnessReport
    ureters: tuple[TracedUreter, ...]
    sites: tuple[MeasuredSite, ...]
    scene: Scene | None
    routes: tuple[RouteResult, ...]
    margins: tuple[Finding, ...]
    appraisal: Appraisal
    problems: tuple[str, ...]
    films: tuple[Film, ...] = ()
    front: PersonMap | None = None
    chemistry: tuple[Finding, ...] = ()
    kidney_course: tuple[Finding, ...] = ()
    decline: Decline | None = None
    reached: tuple[RouteSummary, ...] = ()
    renograms: tuple[WorkedRenogram, ...] = ()

    @property
    def measures(self) -> tuple[Finding, ...]:
        """Every finding but the verdicts, those of the kidneys first."""
        traced = [finding for ureter in self.ureters for finding in ureter.findings]
        thrown = [finding for film in self.films for finding in film.findings]
        own = [*self.kidney, *self.kidney_course]
        own += [finding for study in self.renograms for finding in study.findings]
        own += [*self.chemistry, *self.fitness.findings]
        return (*own, *traced, *thrown, *self.margins)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, the verdicts last."""
        return (*self.measures, *(row.finding() for row in self.appraisal.diversions))


def require_born(case: Case, day: date) -> None:
    """Refuse a day on which nothing can have been known.

    Raises
    ------
    InputError
        If the day lies before the person's birth.
    """
    if day < case.person.born:
        raise InputError(
            f"{day.isoformat()} lies before the person's birth", mend="give a later day"
        )


def _routes(
    case: Case,
    images: Images,
    ureters: tuple[TracedUreter, ...],
    sites: tuple[MeasuredSite, ...],
    progress: Progress,
) -> tuple[Scene | None, tuple[RouteResult, ...], list[str], FoundObstacles | None]:
    freed = tuple(one.freed for one in ureters if one.freed is not None)
    if not freed or not sites:
        lacking = "no ureter could be freed on paper" if not freed else "no stoma site is marked"
        return None, (), [f"Reach was not computed: {lacking}."], None
    obstacles = obstacles_for(case, images, freed, sites, progress=progress)
    base, _ = case.mark("conduit-base")
    passage, _ = case.mark("sigmoid-passage")
    umbilicus, _ = case.mark("umbilicus")
    try:
        scene = staged(
            freed,
            sites,
            obstacles.marks,
            None if base is None else base.points_mm[0],
            midline_x_mm=0.0 if umbilicus is None else umbilicus.points_mm[0][0],
            left_passage_mm=None if passage is None else passage.points_mm[0],
        )
        scene = replace(scene, cautions=(*obstacles.cautions, *scene.cautions))
        routes = solve_scene(scene, progress=progress)
    except InputError as refused:
        return None, (), [f"Reach was not computed: {refused}"], obstacles.found
    said = [] if umbilicus is not None else [NO_MIDLINE]
    return scene, tuple(routes), said, obstacles.found


def _mapped(
    case: Case,
    images: Images,
    ureters: tuple[TracedUreter, ...],
    sites: tuple[MeasuredSite, ...],
    found: FoundObstacles | None,
    progress: Progress,
) -> tuple[PersonMap | None, list[str]]:
    """Return the map of margins, or why there is none."""
    freed = tuple(one.freed for one in ureters if one.freed is not None)
    if not freed:
        return None, []
    try:
        return map_of(case, images, freed, sites, found=found, progress=progress), []
    except InputError as refused:
        return None, [f"The map of margins was not made: {refused}"]


def _ground(
    route: RouteResult,
    ureters: tuple[TracedUreter, ...],
    sites: tuple[MeasuredSite, ...],
    at: date,
) -> Ground:
    site = next((each for each in sites if each.name == route.site), None)
    one = next((each for each in ureters if each.side == route.side), None)
    if one is None:
        return Ground(at, site=site)
    length = one.findings[0] if one.findings else None
    return Ground(one.at, length=length, freed=one.freed, site=site)


def _relied(kidney: tuple[Finding, ...]) -> Finding:
    return next(one for one in kidney if one.name == "gfr-to-rely-on")


def worked_up(
    case: Case,
    store: Store,
    *,
    at: date,
    protocol: Protocol = NO_PROTOCOL,
    draw: Draw | None = None,
    draw_film: DrawFilm | None = None,
    with_map: bool = False,
    progress: Progress = silent,
) -> Workup:
    """Work up a case already read; otherwise as `work_up`."""
    require_born(case, at)
    case = case.known_on(at)
    limits = kidney_rules(protocol.table(KIDNEY_TABLE))
    kidney = kidney_findings(KidneyInputs.from_case(case, at, limits), limits)
    renograms = worked_renograms(
        case,
        store,
        rules=renogram_rules(protocol.table(RENOGRAM_TABLE)),
        drawn=draw is not None,
        at=at,
    )
    course = kidney_course(case, at, _relied(kidney), limits, computed_shares(renograms))
    fitness = fitness_worked_up(case, kidney, at=at, protocol=protocol)
    chemistry = chemistry_of(case, kidney, at=at, protocol=protocol)
    images = Images(case, store, progress)
    ureters = traced_ureters(case, images, draw=draw, at=at, progress=progress)
    films = measured_films(case, store, ureters, draw=draw_film, at=at)
    sites, site_problems = measured_sites(case, images)
    scene, routes, problems, found = _routes(case, images, ureters, sites, progress)
    front: PersonMap | None = None
    if with_map:
        front, unmapped = _mapped(case, images, ureters, sites, found, progress)
        problems += unmapped
    margins = {}
    for route in routes:
        finding = margin_finding(route, _ground(route, ureters, sites, at))
        if finding is not None:
            margins[route.diversion, str(route.side), route.site or ""] = finding
    shares = [finding for finding in course if finding.name == SHARE]
    findings = (*kidney, *shares, *(f for one in ureters for f in one.findings), *margins.values())
    rules = catalogue(protocol.table("catalogue"))
    reached = tuple(summarised(routes, margins))
    appraisal = appraise(case, findings, reached, rules, at)
    nearest = nearest_changes(
        appraisal,
        case,
        findings,
        reached,
        rules,
        scene=scene,
        theirs=protocol.table(CHANGEABLE_TABLE),
    )
    appraisal = replace(appraisal, nearest=nearest)
    untraced = [one.problem for one in ureters if one.problem]
    untraced += [one.again.problem for one in ureters if one.again and one.again.problem]
    unmeasured = [film.problem for film in films if film.problem]
    unmeasured += [study.problem for study in renograms if study.problem]
    unmeasured += [caution for share in shares if share.value is None for caution in share.cautions]
    return Workup(
        case,
        at,
        kidney,
        fitness,
        ureters,
        sites,
        scene,
        routes,
        tuple(margins.values()),
        appraisal,
        (*untraced, *unmeasured, *site_problems, *problems),
        films,
        front,
        chemistry,
        course,
        decline_of(case, at, limits),
        reached,
        renograms,
    )


def work_up(
    case_id: str,
    store: Store,
    *,
    at: date,
    protocol: Protocol = NO_PROTOCOL,
    draw: Draw | None = None,
    draw_film: DrawFilm | None = None,
    with_map: bool = False,
    progress: Progress = silent,
) -> Workup:
    """Work up a case on record.

    Parameters
    ----------
    case_id : str
    store : Store
    at : date
        Work with what was known on this day.
    protocol : Protocol
        The unit's own rules in place of ours.
    draw : callable, optional
        Makes a picture of each traced ureter while its image is in memory.
    draw_film : callable, optional
        Makes a picture of each radiograph.
    with_map : bool
        Also map the margins over the front of the abdomen.
    progress : Progress

    Raises
    ------
    InputError
        If there is no such case, or the day lies before the person's birth.
    """
    return worked_up(
        store.get_case(case_id),
        store,
        at=at,
        protocol=protocol,
        draw=draw,
        draw_film=draw_film,
        with_map=with_map,
        progress=progress,
    )
