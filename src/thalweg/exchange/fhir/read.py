"""Read a FHIR R4 file: a Bundle, or a single resource."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TypeVar

import msgspec

from thalweg.errors import InputError
from thalweg.exchange.fhir.model import Bundle, Entry, Head, Observation, Patient, Specimen
from thalweg.exchange.fhir.observation import Observations, full_reference
from thalweg.exchange.reading import Identity, Reading, content_of, placed

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["read_fhir"]

REFUSED_BUNDLES: Final = {"history": "holds superseded versions"}
SEXES: Final = ("female", "male")
T = TypeVar("T")


@dataclass(slots=True)
class _Contents:
    """The resources of a file, decoded and sorted by kind.

    `patients` and `specimens` go by every name under which a result may refer to them; what an
    Observation contains goes by that Observation's place and the fragment.
    """

    observations: list[tuple[str, Observation]] = field(default_factory=list)
    patients: dict[str, Patient] = field(default_factory=dict)
    specimens: dict[str, Specimen] = field(default_factory=dict)
    others: Counter[str] = field(default_factory=Counter)


def read_fhir(path: Path) -> Reading:
    """Read a FHIR file.

    Parameters
    ----------
    path : Path
        JSON in UTF-8.

    Returns
    -------
    Reading
        Facts; who they are about, as the Patient says; one sentence for everything left out.

    Raises
    ------
    CollectedInputError
        Every entry that cannot be used, by file and entry.
    """
    reading = Reading()
    with reading.part(""):
        contents = _sorted(_entries(path), reading)
        with placed("the bundle"):
            _require_one_person(contents)
        taker = Observations(path.name, contents.specimens, reading)
        for place, observation in contents.observations:
            with reading.part(place):
                taker.take(observation, place)
        _say(path.name, contents, taker, reading)
    return reading.sound(path.name)


def _entries(path: Path) -> Iterator[tuple[str, str, bytes]]:
    """Yield place, full URL and bytes of each resource."""
    content = content_of(path).removeprefix(b"\xef\xbb\xbf")
    head = _decoded(content, Head)
    if head.resource_type != "Bundle":
        yield "", "", content
        return
    bundle = _decoded(content, Bundle)
    if bundle.type in REFUSED_BUNDLES:
        raise InputError(
            f"is a {bundle.type} bundle, which {REFUSED_BUNDLES[bundle.type]}",
            mend="send the present versions as a collection",
        )
    for number, raw in enumerate(bundle.entry, start=1):
        with placed(f"entry {number}"):
            entry = _decoded(bytes(raw), Entry)
        if bytes(entry.resource):
            yield f"entry {number}", entry.full_url, bytes(entry.resource)


def _decoded(content: bytes, kind: type[T]) -> T:
    try:
        return msgspec.json.decode(content, type=kind)
    except msgspec.ValidationError as error:
        raise InputError(f"is not a FHIR resource as expected ({error})", mend="send R4") from None
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
        raise InputError("is not readable JSON", mend="export it again") from None


def _sorted(entries: Iterator[tuple[str, str, bytes]], reading: Reading) -> _Contents:
    """Decode the resources of interest; count the rest."""
    contents = _Contents()
    for place, url, content in entries:
        with reading.part(place):
            head = _decoded(content, Head)
            where = f"{place} ({head.resource_type})".strip()
            names = [url, f"{head.resource_type}/{head.id}"] if head.id else [url or where]
            _sort(content, head.resource_type, [name for name in names if name], where, contents)
    return contents


def _sort(content: bytes, kind: str, names: list[str], where: str, contents: _Contents) -> None:
    if kind == "Patient":
        contents.patients.update(dict.fromkeys(names, _decoded(content, Patient)))
    elif kind == "Specimen":
        contents.specimens.update(dict.fromkeys(names, _decoded(content, Specimen)))
    elif kind == "Observation":
        observation = _decoded(content, Observation)
        contents.observations.append((where, observation))
        for raw in observation.contained:
            inner = _decoded(bytes(raw), Head)
            _sort(bytes(raw), inner.resource_type, [f"{where}#{inner.id}"], where, contents)
    else:
        contents.others[kind] += 1


def _require_one_person(contents: _Contents) -> None:
    """Refuse results about several people: which of them the case is about is not ours to guess."""
    if len(set(contents.patients.values())) > 1:
        raise InputError(
            f"names {len(set(contents.patients.values()))} patients",
            mend="send one person's results in one file",
        )
    subjects = {
        full_reference(observation.subject.reference, where)
        for where, observation in contents.observations
        if observation.subject.reference
    }
    strangers = subjects - set(contents.patients) if contents.patients else set()
    if strangers or (not contents.patients and len(subjects) > 1):
        raise InputError(
            "holds results about somebody else than its patient"
            if contents.patients
            else f"holds results about {len(subjects)} patients",
            mend="send one person's results in one file",
        )


def _say(file: str, contents: _Contents, taker: Observations, reading: Reading) -> None:
    """Put whom the file is about, and what was left out, into the reading."""
    for patient in set(contents.patients.values()):
        identity = Identity(
            file,
            patient.birth_date,
            patient.gender if patient.gender in SEXES else "",
            tuple(each.value for each in patient.identifier if each.value),
        )
        reading.identities.append(identity)
    if not contents.patients and contents.observations:
        reading.questions.append(
            f"{file} names no patient: that its results are this person's rests on the folder."
        )
    elif any(not observation.subject.reference for _, observation in contents.observations):
        reading.questions.append(f"{file} holds results that do not say whose they are.")
    for name, count in sorted(taker.unknown.items()):
        reading.not_taken.append(
            f"{file}: {name} is not recorded here; {count} result(s) not taken in."
        )
    for kind, count in sorted(contents.others.items()):
        reading.not_taken.append(f"{file}: {count} resource(s) of type {kind} not taken in.")
