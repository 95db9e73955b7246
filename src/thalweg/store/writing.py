"""What recording needs to know and to insert: whose case it is, which series are new."""

from __future__ import annotations

import json
import secrets
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from sqlalchemy import insert, select

from thalweg.errors import InputError
from thalweg.store.schema import cases, image_files, images, people

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from sqlalchemy import Connection

    from thalweg.record.case import ImageRecord, Person

__all__ = [
    "NewSeries",
    "insert_person",
    "insert_series",
    "new_id",
    "only_new",
    "require_same_person",
]

LETTERS: Final = "23456789abcdefghjkmnpqrstvwxyz"
"""Of case ids: none that is taken for another when read aloud or copied by hand."""


@dataclass(frozen=True, slots=True)
class NewSeries:
    """A series to be recorded.

    Parameters
    ----------
    record : ImageRecord
        With the SHA-256 of each file.
    sources : tuple of Path
        The files themselves, in the same order.
    """

    record: ImageRecord
    sources: tuple[Path, ...] = field(repr=False)


def require_same_person(on_record: Person, given: Person) -> None:
    """Refuse a reference that is on record for somebody else.

    Raises
    ------
    InputError
        Says which particulars differ, not what they are.
    """
    differing = [
        name
        for name, one, other in (
            ("name", _plain_name(on_record.name), _plain_name(given.name)),
            ("birth date", on_record.born, given.born),
            ("sex", on_record.sex, given.sex),
        )
        if one != other
    ]
    if differing:
        raise InputError(
            f"the person's reference is on record with another {' and another '.join(differing)}",
            where="[person]",
            mend="find out whose reference it is before recording anything",
        )


def _plain_name(name: str) -> str:
    return " ".join(unicodedata.normalize("NFC", name).casefold().split())


def new_id() -> str:
    """Return a case id: random, so that it says nothing about the person."""
    letters = "".join(secrets.choice(LETTERS) for _ in range(8))
    return f"{letters[:4]}-{letters[4:]}"


def only_new(on_record: Sequence[ImageRecord], given: Sequence[NewSeries]) -> tuple[NewSeries, ...]:
    """Return the series that are not on record yet.

    Raises
    ------
    InputError
        If one is on record with other files: findings may rest on those.
    """
    known = {record.series_uid: record for record in on_record}
    fresh = []
    for each in given:
        record = each.record
        if record.series_uid not in known:
            known[record.series_uid] = record
            fresh.append(each)
        elif known[record.series_uid].files != record.files:
            raise InputError(
                f"the series is on record with other files ({len(known[record.series_uid].files)} "
                f"then, {len(record.files)} now)",
                where=record.folder,
                mend="export it as a new series, with its own Series Instance UID",
            )
    return tuple(fresh)


def insert_person(connection: Connection, person: Person, case_id: str, entry: int) -> None:
    """Insert a person and their case."""
    columns = {
        "reference": person.reference,
        "name": person.name,
        "born": person.born.isoformat(),
        "sex": person.sex,
    }
    connection.execute(insert(people).values(**columns))
    query = select(people.c.id).where(people.c.reference == person.reference)
    own = connection.execute(query).scalar_one()
    connection.execute(insert(cases).values(id=case_id, person_id=own, entry=entry))


def insert_series(connection: Connection, record: ImageRecord, case_id: str, entry: int) -> None:
    """Insert a series and the hashes of its files."""
    columns = {
        "case_id": case_id,
        "series_uid": record.series_uid,
        "modality": record.modality,
        "acquired": record.acquired,
        "folder": record.folder,
        "phantom": record.phantom,
        "cautions": json.dumps(record.cautions),
        "entry": entry,
    }
    own = connection.execute(insert(images).values(**columns)).inserted_primary_key
    assert own is not None  # noqa: S101 - one row was inserted
    connection.execute(
        insert(image_files),
        [
            {"image_id": own[0], "position": position, "sha256": digest}
            for position, digest in enumerate(record.files)
        ],
    )
