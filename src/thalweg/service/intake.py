"""Take a case folder in: everything is read and checked before anything is written."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile import read_casefile
from thalweg.exchange.fhir import read_fhir
from thalweg.exchange.reading import CollectedInputError, Reading
from thalweg.exchange.table import read_table
from thalweg.plan.preferences.answers import not_of_the_list
from thalweg.plan.preferences.attributes import matters
from thalweg.progress import Progress, silent
from thalweg.record.case import Case, ImageRecord
from thalweg.record.fact import Mark, moment_key
from thalweg.service.films import take_films
from thalweg.service.identity import check_identity, identity_of_images
from thalweg.service.inbox import Inbox, look_into
from thalweg.service.library import surveyed
from thalweg.service.marks import (
    WITHOUT_IMAGES,
    choose_series,
    need_no_images,
    require_inside,
    tied,
)
from thalweg.service.phase_marks import phases_apart, require_phase, second_series
from thalweg.service.renograms import take_renograms
from thalweg.store import NewSeries, digest_files, require_same_person

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from thalweg.exchange.casefile import CaseFile
    from thalweg.exchange.dicom import SeriesSurvey
    from thalweg.record.case import Person
    from thalweg.record.fact import Fact
    from thalweg.store import Recorded, Store

__all__ = ["IntakeReport", "take_in"]

TIME_ZONES: Final = timedelta(days=1)
"""Somewhere it is already tomorrow: a time is in the future only beyond this."""


@dataclass(frozen=True, slots=True)
class IntakeReport:
    """What taking a folder in did.

    Parameters
    ----------
    case_id : str
        Of the person's case.
    opened : bool
        True if the case is new.
    new_facts, known_facts : tuple of Fact
        From this folder; known ones were on record already.
    new_series, known_series : tuple of ImageRecord
        Likewise.
    not_taken : tuple of str
        One sentence for everything that was left out.
    conflicts : tuple of str
        Different values at one time; all are kept, none is used until somebody settles it.
    questions : tuple of str
        What a person should look into.
    """

    case_id: str
    opened: bool
    new_facts: tuple[Fact, ...]
    known_facts: tuple[Fact, ...]
    new_series: tuple[ImageRecord, ...]
    known_series: tuple[ImageRecord, ...]
    not_taken: tuple[str, ...]
    conflicts: tuple[str, ...]
    questions: tuple[str, ...]


@dataclass(slots=True)
class _Gathered:
    """All that a folder says, once read; `harvest` also collects the problems."""

    inbox: Inbox
    case_file: CaseFile | None = None
    harvest: Reading = field(default_factory=Reading)
    surveys: dict[str, SeriesSurvey] = field(default_factory=dict)
    uids: dict[str, str] = field(default_factory=dict)
    films: tuple[NewSeries, ...] = ()
    renograms: tuple[NewSeries, ...] = ()


def take_in(
    folder: Path, store: Store, *, today: date, progress: Progress = silent
) -> IntakeReport:
    """Take a case folder into the store, whole or not at all.

    Parameters
    ----------
    folder : Path
        Holds ``case.toml``; besides ``*.json`` (FHIR), ``*.csv`` (results) and folders of DICOM.
    store : Store
        Takes what is new; the same folder twice changes nothing.
    today : date
        Nothing may be dated after it.
    progress : Progress, optional
        Told as images are read and copied.

    Raises
    ------
    CollectedInputError
        Everything wrong with the folder: reads as the first problem, holds the rest in `others`.
    InputError
        The folder has no case file, or the store cannot take it (full disk); nothing is changed.
    """
    gathered = _Gathered(look_into(Path(folder)))
    _read(gathered, today, progress)
    case_file = gathered.case_file
    if case_file is None:
        raise CollectedInputError.of(gathered.harvest.problems)
    on_record = store.find_by_reference(case_file.person.reference)
    facts = _merged(_checked(gathered, case_file, on_record, store, today))
    gathered.harvest.sound()
    series = _new_series(gathered, progress)
    recorded = store.record(
        case_file.person, facts, series, action="took in a folder", progress=progress
    )
    return _report(gathered, facts, series, recorded, store.get_case(recorded.case_id))


def _report(
    gathered: _Gathered,
    facts: tuple[Fact, ...],
    series: tuple[NewSeries, ...],
    recorded: Recorded,
    case: Case,
) -> IntakeReport:
    fresh = {fact.id for fact in recorded.facts}
    fresh_series = {record.series_uid for record in recorded.series}
    live = {fact.id for fact in case.facts}
    return IntakeReport(
        case_id=case.id,
        opened=recorded.opened,
        new_facts=recorded.facts,
        known_facts=tuple(fact for fact in facts if fact.id in live - fresh),
        new_series=recorded.series,
        known_series=tuple(
            each.record for each in series if each.record.series_uid not in fresh_series
        ),
        not_taken=(
            *gathered.inbox.not_taken,
            *gathered.harvest.not_taken,
            *(f"{fact}: was withdrawn earlier, stays so." for fact in facts if fact.id not in live),
        ),
        conflicts=_conflicts(case, facts),
        questions=(
            *gathered.harvest.questions,
            *not_of_the_list(facts, matters()),
            *(f"{fact}: {question}" for fact in facts for question in fact.questions),
        ),
    )


def _merged(facts: Iterable[Fact]) -> tuple[Fact, ...]:
    """Return each statement once, with the questions of all who made it."""
    merged: dict[str, Fact] = {}
    for fact in facts:
        first = merged.setdefault(fact.id, fact)
        questions = tuple(dict.fromkeys((*first.questions, *fact.questions)))
        merged[fact.id] = replace(first, questions=questions)
    return tuple(merged.values())


def _read(gathered: _Gathered, today: date, progress: Progress) -> None:
    """Read every file, noting each one's problems and going on."""
    inbox, harvest = gathered.inbox, gathered.harvest
    with harvest.part(""):
        gathered.case_file = read_casefile(inbox.case_file, today=today)
    for reader, paths in ((read_fhir, inbox.fhir), (read_table, inbox.tables)):
        for path in paths:
            with harvest.part(""):
                reading = reader(path)
                harvest.facts += reading.facts
                harvest.not_taken += reading.not_taken
                harvest.questions += reading.questions
                harvest.identities += reading.identities
    if inbox.images:
        from thalweg.exchange.dicom import survey  # noqa: PLC0415 - pydicom is slow to import

        for path in inbox.images:
            with harvest.part(""):
                found = survey(path, progress=progress)
                gathered.surveys[path.name], gathered.uids[path.name] = found, _uid(found)


def _checked(
    gathered: _Gathered,
    case_file: CaseFile,
    on_record: Case | None,
    store: Store,
    today: date,
) -> tuple[Fact, ...]:
    """Return all facts, noting what contradicts the person, the calendar or the images."""
    harvest, person = gathered.harvest, case_file.person
    if on_record:
        with harvest.part(gathered.inbox.case_file.name):
            require_same_person(on_record.person, person)
    for identity in harvest.identities:
        with harvest.part(""):
            harvest.questions += check_identity(identity, person)
    for name, found in gathered.surveys.items():
        with harvest.part(""):
            identity = identity_of_images(f"images in {name!r}", found.patient)
            harvest.questions += check_identity(identity, person, accept=case_file.accept_identity)
            harvest.questions += [f"Images in {name!r}: {each}" for each in found.cautions]
    with harvest.part(""):
        _require_distinct(gathered.uids)
    own = _on_images(gathered, case_file, on_record, store)
    own, gathered.films = take_films(own, gathered.inbox.radiographs, case_file, on_record, harvest)
    own, gathered.renograms = take_renograms(
        own, gathered.inbox.renograms, case_file, on_record, harvest
    )
    facts = (*own, *harvest.facts)
    for fact in facts:
        with harvest.part(fact.origin.place):
            _require_possible_date(fact, person, today)
    return facts


def _on_images(
    gathered: _Gathered, case_file: CaseFile, on_record: Case | None, store: Store
) -> tuple[Fact, ...]:
    """Return the case file's facts with its marks tied to their series and inside it."""
    if not any(isinstance(fact.value, Mark) for fact in case_file.facts):
        return case_file.facts
    harvest = gathered.harvest
    there = [each for each in on_record.images if each.is_volume] if on_record else []
    if len(gathered.surveys) < len(gathered.inbox.images):
        return case_file.facts  # a series could not be read, which is a problem of its own
    if not gathered.surveys and not there and need_no_images(case_file.facts):
        harvest.questions.append(WITHOUT_IMAGES)
        return case_file.facts
    with harvest.part(f"{gathered.inbox.case_file.name}, [images]"):
        named = [(each.folder, each.series_uid) for each in there]
        here = [*gathered.uids.items()]
        uid = choose_series(case_file.images_folder, here, named)
        found = _survey_of(uid, gathered, there, store)
        firsts, seconds = phases_apart(case_file.facts)
        facts = tied(firsts, uid)
        _check_marks(facts, found, harvest)
        for mark in seconds:
            with harvest.part(mark.origin.place):
                other = second_series(mark, uid, here, named)
                second = _survey_of(other, gathered, there, store)
                harvest.questions += require_phase(mark, facts, first=found, second=second)
                facts = (*facts, *tied((mark,), other))
        return facts
    return case_file.facts


def _survey_of(
    uid: str, gathered: _Gathered, there: Sequence[ImageRecord], store: Store
) -> SeriesSurvey:
    """Return the headers of a series that came along or is on record."""
    for name, own in gathered.uids.items():
        if own == uid:
            return gathered.surveys[name]
    with surveyed(store, next(each for each in there if each.series_uid == uid)) as found:
        return found


def _check_marks(facts: Sequence[Fact], series: SeriesSurvey, harvest: Reading) -> None:
    marks = [fact for fact in facts if isinstance(fact.value, Mark)]
    for fact in marks:
        with harvest.part(""):
            require_inside(fact, series)
    dated, acquired = marks[0].at.isoformat()[:10], series.acquired[:10]
    if acquired and acquired != dated:
        harvest.questions.append(
            f"The case file dates the marked images {dated}, their files {acquired}."
        )


def _require_distinct(uids: dict[str, str]) -> None:
    names: dict[str, str] = {}
    for name, uid in uids.items():
        if uid in names:
            raise InputError(
                f"the folders {names[uid]!r} and {name!r} hold the same series",
                mend="keep one of them",
            )
        names[uid] = name


def _require_possible_date(fact: Fact, person: Person, today: date) -> None:
    day = fact.at.date() if isinstance(fact.at, datetime) else fact.at
    if day > today + TIME_ZONES:
        raise InputError(f"{fact.concept} is dated in the future", mend="correct its date")
    if day < person.born - TIME_ZONES:
        raise InputError(
            f"{fact.concept} is dated before the person's birth",
            mend="correct its date, or the birth date in the case file",
        )


def _uid(found: SeriesSurvey) -> str:
    """Return the series' UID, or a stand-in made of its files' content."""
    if found.series_uid:
        return found.series_uid
    return f"sha256:{hashlib.sha256(''.join(digest_files(found.files)).encode()).hexdigest()}"


def _new_series(gathered: _Gathered, progress: Progress) -> tuple[NewSeries, ...]:
    volumes = tuple(
        NewSeries(
            ImageRecord(
                series_uid=gathered.uids[name],
                modality=found.modality,
                acquired=found.acquired,
                files=digest_files(found.files, progress=progress),
                folder=name,
                phantom=found.phantom,
                cautions=found.cautions,
            ),
            found.files,
        )
        for name, found in gathered.surveys.items()
    )
    return (*volumes, *gathered.films, *gathered.renograms)


def _conflicts(case: Case, given: Iterable[Fact]) -> tuple[str, ...]:
    """Return the contradictions that facts of this folder are part of."""
    moments = {(fact.concept, fact.label, moment_key(fact.at)) for fact in given}
    sentences = []
    for concept, label, at in sorted(moments):
        same = tuple(
            fact for fact in case.series(concept, label=label) if moment_key(fact.at) == at
        )
        chosen = Case(case.id, case.person, same).latest(concept, label=label)
        if chosen.conflict:
            sentences.append(chosen.caution)
    return tuple(sentences)
