"""A case's renograms: taken in with their files, and analysed when the case is worked up."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount
from thalweg.errors import InputError
from thalweg.exchange.casefile.renograms import FOLDER, REGIONS, RENOGRAM
from thalweg.record.case import Case, ImageRecord
from thalweg.record.fact import PixelMark
from thalweg.service.identity import check_identity, identity_of_images
from thalweg.service.renogram_files import StatedOfRenogram, read_renogram
from thalweg.store import NewSeries, digest_files

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from thalweg.exchange.casefile import CaseFile
    from thalweg.exchange.reading import Reading
    from thalweg.record.fact import Fact
    from thalweg.service.renogram_files import ReadRenogram

__all__ = ["seconds_of", "stated_of", "take_renograms"]


def take_renograms(
    facts: Sequence[Fact],
    paths: Sequence[Path],
    case_file: CaseFile,
    on_record: Case | None,
    harvest: Reading,
) -> tuple[tuple[Fact, ...], tuple[NewSeries, ...]]:
    """Read the renograms that a case file names, check them, and tie its facts to them.

    Parameters
    ----------
    facts : sequence of Fact
        Of the case file.
    paths : sequence of Path
        Files and folders inside the folder ``renograms``.
    case_file : CaseFile
        Whose person they must be of.
    on_record : Case or None
        May hold a renogram whose file did not come along again.
    harvest : Reading
        Takes questions and problems.

    Returns
    -------
    facts : tuple of Fact
        The same, each renogram and each region naming its file by its content.
    series : tuple of NewSeries
        One for each file or folder that was named.
    """
    here = {path.name: path for path in paths}
    known = {one.folder: one.series_uid for one in on_record.images} if on_record else {}
    identities: dict[str, str] = {}
    series = []
    for fact in (one for one in facts if one.concept == RENOGRAM):
        place = f"{FOLDER}/{fact.label}"
        with harvest.part(place):
            if fact.label in here:
                new, asked = _taken(here[fact.label], place, fact, facts, case_file)
                if new.record.series_uid in identities.values():
                    raise InputError("holds the same counts as another", mend="name it once")
                series.append(new)
                harvest.questions += asked
                identities[fact.label] = new.record.series_uid
            elif place in known:
                identities[fact.label] = known[place]
            else:
                raise InputError(
                    "is named in the case file, but no such file came along",
                    mend=f"put it into the folder {FOLDER!r}",
                )
    used = {fact.label for fact in facts if fact.concept == RENOGRAM} | _region_files(facts)
    harvest.not_taken += [
        f"The renogram {name} is not named in the case file." for name in sorted(set(here) - used)
    ]
    return tuple(_tied(fact, identities) for fact in facts), tuple(series)


def _region_files(facts: Sequence[Fact]) -> set[str]:
    """Return the names of the tables that regions came from."""
    places = [fact.origin.place for fact in facts if fact.concept in REGIONS.values()]
    inside = f"{FOLDER}/"
    return {place.removeprefix(inside) for place in places if place.startswith(inside)}


def _taken(
    path: Path, place: str, fact: Fact, facts: Sequence[Fact], case_file: CaseFile
) -> tuple[NewSeries, list[str]]:
    """Return a renogram's files as a series, and what a person should look into."""
    files = tuple(sorted(path.rglob("*"))) if path.is_dir() else (path,)
    files = tuple(each for each in files if each.is_file() and not each.name.startswith("."))
    read = read_renogram(files, stated_of([one for one in facts if one.label == fact.label]))
    study = read.renogram
    record = ImageRecord(
        series_uid=study.source_id,
        modality="OT" if read.image is None else "NM",
        acquired=study.acquired,
        files=digest_files(files),
        folder=place,
        phantom=study.phantom,
        cautions=study.cautions,
    )
    return NewSeries(record, files), _questions(fact, read, case_file)


def _questions(fact: Fact, read: ReadRenogram, case_file: CaseFile) -> list[str]:
    name, study = fact.label, read.renogram
    asked = [f"Renogram {name!r}: {caution}" for caution in study.cautions]
    if read.patient is not None:
        identity = identity_of_images(f"renogram {name!r}", read.patient)
        asked += check_identity(identity, case_file.person, accept=case_file.accept_identity)
    else:
        asked.append(
            f"Renogram {name!r}: the table names no person; make sure that it is this one."
        )
    dated, acquired = fact.at.isoformat()[:10], study.acquired[:10]
    if acquired and acquired != dated:
        asked.append(f"The case file dates the renogram {name!r} {dated}, its file {acquired}.")
    return asked


def _tied(fact: Fact, identities: Mapping[str, str]) -> Fact:
    identity = identities.get(fact.label)
    if identity is None:
        return fact
    if fact.concept == RENOGRAM:
        return replace(fact, value=identity)
    if fact.concept in REGIONS.values() and isinstance(fact.value, PixelMark):
        return replace(fact, value=replace(fact.value, image=identity))
    return fact


def stated_of(facts: Sequence[Fact]) -> StatedOfRenogram:
    """Return what the facts of one renogram state of it beside its file.

    Parameters
    ----------
    facts : sequence of Fact
        Of one label; of each concept one at most.
    """
    by = {fact.concept: fact for fact in facts}

    def word(key: str) -> str:
        return str(by[key].value) if key in by else ""

    marks = {role: by[key].value for role, key in REGIONS.items() if key in by}
    return StatedOfRenogram(
        regions_px={
            role: mark.points_px for role, mark in marks.items() if isinstance(mark, PixelMark)
        },
        furosemide_s=seconds_of(by, "renogram-furosemide"),
        given_s=seconds_of(by, "renogram-given"),
        left_at=word("renogram-left-at"),
        view=word("renogram-view"),
        detector=int(word("renogram-detector") or 0) or None,
        energy_window=int(word("renogram-energy-window") or 0) or None,
    )


def seconds_of(facts: Mapping[str, Fact], key: str) -> float | None:
    """Return a recorded time in seconds; None where nobody recorded it."""
    return amount(facts[key], "s") if key in facts else None
