"""Reading cases out of the tables, and what an audit entry seals of them."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from sqlalchemy import Integer, and_, cast, func, select

from thalweg.errors import InputError
from thalweg.record.case import Case, ImageRecord, Person
from thalweg.store.audit import Sealed, seal
from thalweg.store.convert import fact_of, row_of
from thalweg.store.schema import audit, cases, facts, image_files, images, people, withdrawals

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import ColumnElement, Connection, RowMapping, ScalarSelect, Table

    from thalweg.record.fact import Fact

__all__ = [
    "CaseSummary",
    "Withdrawal",
    "case_id_of",
    "case_of",
    "fact_ids",
    "person_where",
    "rows_seal",
    "series_where",
    "summaries",
    "withdrawn_from",
]


@dataclass(frozen=True, slots=True)
class CaseSummary:
    """One line of the caseload.

    Parameters
    ----------
    id : str
        Of the case.
    person : Person
        Who it is about.
    facts, series : int
        How many are on record.
    opened, changed : str
        ISO 8601 times (UTC) of the first and the newest entry.
    phantom : bool
        True if any of its images is artificial.
    """

    id: str
    person: Person = field(repr=False)
    facts: int
    series: int
    opened: str
    changed: str
    phantom: bool


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """A fact that somebody has declared wrong; it stays on record, but in no case.

    Parameters
    ----------
    fact : Fact
        As it was recorded.
    reason : str
        As somebody gave it.
    at, who : str
        From the audit trail.
    """

    fact: Fact
    reason: str
    at: str
    who: str


def rows_seal(
    case_id: str,
    person: Person | None,
    new_facts: Iterable[Fact],
    new_series: Iterable[ImageRecord],
    withdrawn: Iterable[tuple[str, str]] = (),
) -> str:
    """Return the seal of everything recorded together.

    Parameters
    ----------
    case_id : str
        Of the case.
    person : Person or None
        If it opened the case.
    new_facts, new_series : iterable
        In any order.
    withdrawn : iterable of (str, str)
        Id of each fact that was withdrawn, and why.
    """
    who: Sealed = None
    if person is not None:
        who = [person.reference, person.name, person.born.isoformat(), person.sex]
    rows: list[Sealed] = [dict(row_of(fact)) for fact in sorted(new_facts, key=lambda f: f.id)]
    series: list[Sealed] = [
        [
            record.series_uid,
            record.modality,
            record.acquired,
            record.folder,
            str(record.phantom),
            list(record.files),
            list(record.cautions),
        ]
        for record in sorted(new_series, key=lambda record: record.series_uid)
    ]
    gone: list[Sealed] = [list(each) for each in sorted(withdrawn)]
    return seal([case_id, who, rows, series, gone])


def case_of(connection: Connection, case_id: str) -> Case:
    """Return a whole case, without the facts that were withdrawn.

    Raises
    ------
    InputError
        If there is none with this id.
    """
    person = person_where(connection, cases.c.id == case_id)
    if person is None:
        raise InputError(f"there is no case {case_id!r}", mend="see 'thalweg cases' for the list")
    gone = select(withdrawals.c.fact_id).where(withdrawals.c.case_id == case_id)
    live = select(facts).where(facts.c.case_id == case_id, facts.c.id.not_in(gone))
    own = connection.execute(live.order_by(facts.c.seq))
    return Case(
        id=case_id,
        person=person,
        facts=tuple(fact_of(each) for each in own.mappings()),
        images=series_where(connection, images.c.case_id == case_id),
    )


def person_where(connection: Connection, condition: Any) -> Person | None:
    """Return the person of the one case that fulfils a condition, if there is one."""
    row = connection.execute(select(people).join(cases).where(condition)).mappings().first()
    return None if row is None else _person(row)


def series_where(connection: Connection, condition: Any) -> tuple[ImageRecord, ...]:
    """Return the image series that fulfil a condition, in the order they came in."""
    found = connection.execute(select(images).where(condition).order_by(images.c.id)).mappings()
    return tuple(_image(connection, row) for row in found)


def case_id_of(connection: Connection, reference: str) -> str | None:
    """Return the id of the case of the person with this reference."""
    query = select(cases.c.id).join(people).where(people.c.reference == reference)
    return connection.execute(query).scalar()


def fact_ids(connection: Connection, case_id: str) -> set[str]:
    """Return the ids of all facts ever recorded in a case, withdrawn ones included."""
    query = select(facts.c.id).where(facts.c.case_id == case_id)
    return set(connection.execute(query).scalars())


def withdrawn_from(connection: Connection, case_id: str) -> tuple[Withdrawal, ...]:
    """Return what was withdrawn from a case, in that order."""
    of_fact = and_(facts.c.case_id == withdrawals.c.case_id, facts.c.id == withdrawals.c.fact_id)
    query = (
        select(facts, withdrawals.c.reason, audit.c.at.label("since"), audit.c.who)
        .join_from(withdrawals, facts, of_fact)
        .join(audit, audit.c.seq == withdrawals.c.entry)
        .where(withdrawals.c.case_id == case_id)
        .order_by(withdrawals.c.entry)
    )
    return tuple(
        Withdrawal(fact_of(row), row["reason"], row["since"], row["who"])
        for row in connection.execute(query).mappings()
    )


def summaries(connection: Connection) -> tuple[CaseSummary, ...]:
    """Return the caseload, the case changed last first."""
    query = select(
        cases.c.id.label("case_id"),
        cases.c.entry,
        people,
        _of_case(facts, func.count()).label("facts"),
        _of_case(images, func.count()).label("series"),
        _of_case(facts, func.max(facts.c.entry)).label("newest_fact"),
        _of_case(images, func.max(images.c.entry)).label("newest_image"),
        _of_case(images, func.max(cast(images.c.phantom, Integer))).label("phantom"),
    ).join(people)
    times = {row.seq: row.at for row in connection.execute(select(audit.c.seq, audit.c.at))}
    found = [
        CaseSummary(
            id=row["case_id"],
            person=_person(row),
            facts=row["facts"],
            series=row["series"],
            opened=times[row["entry"]],
            changed=times[max(row["entry"], row["newest_fact"] or 0, row["newest_image"] or 0)],
            phantom=bool(row["phantom"]),
        )
        for row in connection.execute(query).mappings()
    ]
    return tuple(sorted(found, key=lambda each: (each.changed, each.id), reverse=True))


def _of_case(table: Table, what: ColumnElement[Any]) -> ScalarSelect[Any]:
    return select(what).where(table.c.case_id == cases.c.id).scalar_subquery()


def _person(row: RowMapping) -> Person:
    return Person(row["reference"], row["name"], date.fromisoformat(row["born"]), row["sex"])


def _image(connection: Connection, row: RowMapping) -> ImageRecord:
    query = select(image_files.c.sha256).where(image_files.c.image_id == row["id"])
    files = connection.execute(query.order_by(image_files.c.position)).scalars()
    return ImageRecord(
        series_uid=row["series_uid"],
        modality=row["modality"],
        acquired=row["acquired"],
        files=tuple(files),
        folder=row["folder"],
        phantom=row["phantom"],
        cautions=tuple(json.loads(row["cautions"])),
    )
