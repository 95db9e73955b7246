"""A case's radiographs: taken in with their files, and measured when the case is worked up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from thalweg.errors import InputError
from thalweg.exchange.casefile.radiographs import FILMS, is_of_radiograph
from thalweg.measure.calibration import MarkedScale, Setup
from thalweg.record.case import ImageRecord
from thalweg.record.fact import PixelMark
from thalweg.service.identity import check_identity, identity_of_images
from thalweg.service.inbox import RADIOGRAPHS
from thalweg.service.radiograph import measure_radiograph, read_one
from thalweg.store import NewSeries

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date
    from pathlib import Path

    from thalweg.exchange.casefile import CaseFile
    from thalweg.exchange.dicom import ReadRadiograph
    from thalweg.exchange.reading import Reading
    from thalweg.measure.calibration import Depth
    from thalweg.measure.radiograph import Shadow
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding
    from thalweg.record.radiograph import Radiograph
    from thalweg.service.ureters import TracedUreter
    from thalweg.store.store import Store

    DrawFilm = Callable[[Radiograph, Shadow, str], Any]

__all__ = ["DrawFilm", "Film", "measured_films", "take_films"]

Z95 = 1.959963984540054


def take_films(
    facts: Sequence[Fact],
    paths: Sequence[Path],
    case_file: CaseFile,
    on_record: Case | None,
    harvest: Reading,
) -> tuple[tuple[Fact, ...], tuple[NewSeries, ...]]:
    """Read the radiographs that a case file names, check them, and tie its marks to them.

    Parameters
    ----------
    facts : sequence of Fact
        Of the case file.
    paths : sequence of Path
        Files of the folder ``radiographs``.
    case_file : CaseFile
        Whose person they must be of.
    on_record : Case or None
        May hold a radiograph whose file did not come along again.
    harvest : Reading
        Takes questions and problems.

    Returns
    -------
    facts : tuple of Fact
        The same, each mark on a radiograph naming its image.
    series : tuple of NewSeries
        One for each file that was named.
    """
    marks = {
        fact.id: fact.value
        for fact in facts
        if isinstance(fact.value, PixelMark) and is_of_radiograph(fact)
    }
    at = {fact.id: fact.at for fact in facts}
    here = {path.name: path for path in paths}
    known = {one.folder: one.series_uid for one in on_record.images} if on_record else {}
    tied, series = {}, {}
    for fact_id, mark in marks.items():
        place = f"{RADIOGRAPHS}/{mark.image}"
        with harvest.part(place):
            if mark.image not in here:
                if place not in known:
                    raise InputError(
                        "is named in the case file, but no such file came along",
                        mend=f"put it into the folder {RADIOGRAPHS!r}",
                    )
                tied[fact_id] = replace(mark, image=known[place])
                continue
            read = read_one(here[mark.image], frame=mark.frame)
            _require_inside(mark, read.radiograph)
            if mark.image not in series:
                harvest.questions += _questions(mark.image, read, case_file, at[fact_id])
                series[mark.image] = _new(place, here[mark.image], read.radiograph)
            tied[fact_id] = replace(mark, image=read.radiograph.image_id)
    unnamed = sorted(set(here) - {mark.image for mark in marks.values()})
    harvest.not_taken += [
        f"The radiograph {name} is not named in the case file." for name in unnamed
    ]
    done = tuple(replace(f, value=tied[f.id]) if f.id in tied else f for f in facts)
    return done, tuple(series.values())


def _questions(name: str, read: ReadRadiograph, case_file: CaseFile, at: Moment) -> list[str]:
    image = read.radiograph
    asked = [f"Radiograph {name!r}: {caution}" for caution in image.cautions]
    if image.modality != "OT":
        identity = identity_of_images(f"radiograph {name!r}", read.patient)
        asked += check_identity(identity, case_file.person, accept=case_file.accept_identity)
    dated, acquired = at.isoformat()[:10], image.acquired[:10]
    if acquired and acquired != dated:
        asked.append(f"The case file dates the radiograph {name!r} {dated}, its file {acquired}.")
    return asked


def _require_inside(mark: PixelMark, image: Radiograph) -> None:
    upper = np.asarray(image.shape[::-1]) - 0.5
    points = np.asarray(mark.points_px)
    outside = ~((points >= -0.5) & (points <= upper)).all(axis=1)
    if outside.any():
        rows, columns = image.shape
        raise InputError(
            f"{int(outside.sum())} of {len(points)} places lie outside its {columns} columns and "
            f"{rows} rows",
            mend="give column, row, counted from 0 at the upper left",
        )


def _new(place: str, path: Path, image: Radiograph) -> NewSeries:
    record = ImageRecord(
        series_uid=image.image_id,
        modality=image.modality,
        acquired=image.acquired,
        files=(image.image_id.removeprefix("sha256:"),),
        folder=place,
        phantom=image.phantom,
        cautions=image.cautions,
    )
    return NewSeries(record, (path,))


@dataclass(frozen=True, eq=False)
class Film:
    """One ureter on one radiograph of a case, measured, or why not.

    Parameters
    ----------
    side : str
    label : str
        File and side.
    at : date or aware datetime
    scale : str
        How its scale was settled, in words.
    findings : tuple of Finding
    said : tuple of str
        What it means beside the course on CT, or without one.
    picture : object or None
    problem : str
        Why it was not measured, or why nothing more follows from it; empty where all is well.
    """

    side: str
    label: str
    at: Moment
    scale: str = ""
    findings: tuple[Finding, ...] = ()
    said: tuple[str, ...] = ()
    picture: Any = None
    problem: str = ""


def measured_films(
    case: Case, store: Store, ureters: Sequence[TracedUreter], *, draw: DrawFilm | None, at: date
) -> tuple[Film, ...]:
    """Return every ureter that is marked on a radiograph; one that fails stops no other.

    Parameters
    ----------
    case : Case
    store : Store
        Holds the files.
    ureters : sequence of TracedUreter
        Measured on CT, to be compared with.
    draw : callable, optional
        Makes the picture.
    at : date
        For films whose mark gives a conflict.
    """
    return tuple(
        _measured(case, store, side, label, ureters, draw, at)
        for side, concept in FILMS.items()
        for label in case.labels(concept)
    )


def _measured(
    case: Case,
    store: Store,
    side: str,
    label: str,
    ureters: Sequence[TracedUreter],
    draw: DrawFilm | None,
    at: date,
) -> Film:
    chosen = case.latest(FILMS[side], label=label)
    fact = chosen.fact
    if fact is None or not isinstance(fact.value, PixelMark):
        return Film(side, label, at, problem=chosen.caution)
    try:
        setup, facts = _setup(case, label)
        image = _image(case, store, fact.value)
        # Undated pictures were dated by whoever marked them.
        image = image if image.acquired else replace(image, acquired=fact.at.isoformat()[:10])
        done = measure_radiograph(image, list(fact.value.points_px), setup, side=side)
    except InputError as refused:
        told = f"The {side} ureter was not measured on the radiograph: {refused}"
        return Film(side, label, fact.at, problem=told)
    findings = tuple(replace(each, facts=(fact, *facts)) for each in done.findings)
    course = next((one for one in ureters if one.side == side and one.course is not None), None)
    said, problem = _beside(side, done.shadow, course)
    return Film(
        side,
        label,
        findings[0].at,
        done.shadow.calibration.said,
        tuple(each.with_cautions(said) for each in findings),
        said,
        None if draw is None else draw(image, done.shadow, side),
        problem,
    )


def _image(case: Case, store: Store, mark: PixelMark) -> Radiograph:
    record = next((one for one in case.images if one.series_uid == mark.image), None)
    if record is None:
        raise InputError("its file is not on record", mend="take its folder in again")
    (path,) = store.image_files(record)
    return read_one(path, frame=mark.frame).radiograph


def _setup(case: Case, label: str) -> tuple[Setup, tuple[Fact, ...]]:
    """Return what is on record of a radiograph's scale, and the facts that say it."""
    used: list[Fact] = []

    def length(key: str) -> float | None:
        value, chosen = case.quantity(f"radiograph-{key}", "mm", label=label)
        if chosen.caution:
            raise InputError(chosen.caution.rstrip("."), mend="withdraw the wrong one")
        used.extend([chosen.fact] if chosen.fact else [])
        return value

    def places(key: str) -> tuple[tuple[float, float], ...]:
        chosen = case.latest(f"radiograph-{key}", label=label)
        if chosen.caution:
            raise InputError(chosen.caution.rstrip("."), mend="withdraw the wrong one")
        if chosen.fact is None or not isinstance(chosen.fact.value, PixelMark):
            return ()
        used.append(chosen.fact)
        return chosen.fact.value.points_px

    scale = None
    ends, long = places("scale"), length("scale-length")
    depth: Depth = length("source-scale")
    words = case.latest("radiograph-scale-depth", label=label).fact
    if depth is None and words is not None:
        used.append(words)
        depth = cast("Depth", words.value)
    if len(ends) == 2 and long is not None:
        scale = MarkedScale((ends[0], ends[1]), long, depth)
    ray = places("central-ray")
    setup = Setup(
        scale=scale,
        source_detector_mm=length("source-detector"),
        source_ureter_mm=length("source-ureter"),
        ureter_detector_mm=length("ureter-detector"),
        depth_spread_mm=length("depth-spread"),
        central_ray_px=ray[0] if ray else None,
    )
    return setup, tuple(used)


def _beside(side: str, shadow: Shadow, ureter: TracedUreter | None) -> tuple[tuple[str, ...], str]:
    """Return what a shadow means beside a course on CT, and what cannot be had without one."""
    if shadow.length_mm is None or shadow.interval_mm is None:
        return (), f"The length of the {side} ureter's shadow on the radiograph is not known."
    proven = shadow.at_least_mm is not None
    least = shadow.interval_mm[0] if shadow.at_least_mm is None else shadow.at_least_mm
    if ureter is None or ureter.course is None:
        words = f"at least {least:.0f} mm" if proven else f"a shadow of {shadow.length_mm:.0f} mm"
        return (), (
            f"Of the {side} ureter a radiograph alone tells the length ({words}). Reach is not "
            "computed from it: a shadow has no depth, and a route needs the course in space."
        )
    course = ureter.course
    most = course.length_mm + Z95 * course.length_sd_mm
    what = (
        f"it is at least {least:.0f} mm"
        if proven
        else f"its shadow is {shadow.length_mm:.0f} mm, though what it is at least is not proven"
    )
    if least > most:
        disagree = (
            f"Radiograph and CT disagree on the {side} ureter beyond their doubt: on the "
            f"radiograph {what}, its course on CT is {course.length_mm:.0f} mm. Check scale, "
            "distances and points of the one, and the course of the other; rely on neither until "
            "it is settled."
        )
        return (disagree,), disagree
    agrees = (
        f"Radiograph and CT agree: {what}, and its course on CT, {course.length_mm:.0f} mm, may "
        "be longer and not shorter."
    )
    return (agrees,), ""
