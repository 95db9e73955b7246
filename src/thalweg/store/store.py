"""The store: cases on disk, written in whole transactions."""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sqlalchemy import insert, true

from thalweg.errors import InputError
from thalweg.progress import Progress, silent
from thalweg.store import audit, rows
from thalweg.store.convert import row_of
from thalweg.store.dialect import copy_to, open_engine, sqlite_url, take_write_lock
from thalweg.store.failures import failures_said
from thalweg.store.imagefiles import ImageFiles
from thalweg.store.schema import facts, withdrawals
from thalweg.store.upgrade import upgrade
from thalweg.store.writing import (
    NewSeries,
    insert_person,
    insert_series,
    new_id,
    only_new,
    require_same_person,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from types import TracebackType

    from sqlalchemy import Connection, Engine

    from thalweg.record.case import Case, ImageRecord, Person
    from thalweg.record.fact import Fact

__all__ = ["Recorded", "Store", "default_home"]


DATABASE: Final = "thalweg.sqlite"


def default_home() -> Path:
    """Return the data folder: ``$THALWEG_HOME``, or the platform's place for a user's data."""
    named = os.environ.get("THALWEG_HOME", "")
    if named:
        return Path(named)
    from platformdirs import user_data_path  # noqa: PLC0415 - only without a folder of one's own

    return user_data_path("thalweg", appauthor=False)


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a recording changed.

    Parameters
    ----------
    case_id : str
        Of the person's case.
    facts : tuple of Fact
        Those that were new.
    series : tuple of ImageRecord
        Those that were new.
    opened : bool
        True if the case was opened with it.
    entry : audit.Entry or None
        In the audit trail; None if nothing was new.
    """

    case_id: str
    facts: tuple[Fact, ...]
    series: tuple[ImageRecord, ...]
    opened: bool
    entry: audit.Entry | None


class Store:
    """Cases, images and audit trail in one data folder.

    Parameters
    ----------
    home : Path, optional
        Data folder; `default_home` if not given. Created, closed to other users, if missing.
    url : str, optional
        SQLAlchemy URL of another database than ``thalweg.sqlite`` in the data folder, also from
        ``$THALWEG_DATABASE``.
    now : callable, optional
        The clock; must give aware times.
    who : str, optional
        Name for the audit trail; the operating system's user if not given.

    Raises
    ------
    InputError
        If the folder or the database cannot be opened.
    """

    def __init__(
        self,
        home: Path | None = None,
        *,
        url: str | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        who: str | None = None,
    ) -> None:
        self.home = Path(home) if home is not None else default_home()
        self._now = now
        self._who = who if who is not None else audit.user()
        with failures_said():
            self.home.mkdir(mode=0o700, parents=True, exist_ok=True)
            given = url or os.environ.get("THALWEG_DATABASE", "")
            if not given:
                (self.home / DATABASE).touch(mode=0o600)
            self._engine: Engine = open_engine(given or sqlite_url(self.home / DATABASE))
            upgrade(self._engine)

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database throughout."""
        with failures_said(), self._engine.connect() as connection, connection.begin():
            yield connection

    def list_cases(self) -> tuple[rows.CaseSummary, ...]:
        """Return the caseload, the case changed last first."""
        with self.reading() as connection:
            return rows.summaries(connection)

    def get_case(self, case_id: str) -> Case:
        """Return a whole case.

        Raises
        ------
        InputError
            If there is none with this id.
        """
        with self.reading() as connection:
            return rows.case_of(connection, case_id)

    def find_by_reference(self, reference: str) -> Case | None:
        """Return the case of the person with the unit's own number `reference`, if any."""
        with self.reading() as connection:
            found = rows.case_id_of(connection, reference)
            return None if found is None else rows.case_of(connection, found)

    def image_files(self, record: ImageRecord) -> tuple[Path, ...]:
        """Return where the files of a series lie, in stacking order.

        Raises
        ------
        InputError
            If one of them is gone.
        """
        kept = ImageFiles(self.home / "images")
        paths = tuple(kept.path(digest) for digest in record.files)
        if gone := sum(not path.is_file() for path in paths):
            raise InputError(
                f"{gone} of {len(paths)} image files of the series are gone from the store",
                mend="put them back from a backup",
            )
        return paths

    def all_image_files(self) -> tuple[Path, ...]:
        """Return where the files of every series on record lie."""
        with self.reading() as connection:
            records = rows.series_where(connection, true())
        return tuple(path for record in records for path in self.image_files(record))

    def copy_database(self, target: Path) -> None:
        """Write the database as it is at one moment to a new file.

        Raises
        ------
        InputError
            If the database is not a file of the store's own.
        """
        copy_to(self._engine, target)

    def head(self) -> str:
        """Return the hash of the newest audit entry, to be kept elsewhere."""
        with self.reading() as connection:
            return audit.head(connection)

    def trail(self) -> tuple[audit.Entry, ...]:
        """Return the whole audit trail, oldest first."""
        with self.reading() as connection:
            return tuple(audit.entries(connection))

    def note(self, action: str, *, case_id: str = "", **detail: str) -> audit.Entry:
        """Add an entry about something that recorded nothing, such as a plan that was printed.

        Parameters
        ----------
        action : str
            A verb in the past.
        case_id : str
            Of an existing case; empty if it concerns all.
        **detail : str
            Ids and kinds; never a value from the record.
        """
        with self._writing() as connection:
            if case_id:
                rows.case_of(connection, case_id)
            return self._append(connection, action, {"case": case_id, **detail})

    def withdraw(self, case_id: str, fact_id: str, reason: str) -> audit.Entry:
        """Declare a fact wrong: it stays on record, but no case holds it any more.

        Parameters
        ----------
        case_id, fact_id : str
            Which.
        reason : str
            Why; kept with the fact.

        Raises
        ------
        InputError
            If the case holds no such fact, or no reason is given.
        """
        if not reason.strip():
            raise InputError("no reason is given", mend="say why the fact is wrong")
        with self._writing() as connection:
            if fact_id not in {fact.id for fact in rows.case_of(connection, case_id).facts}:
                raise InputError(
                    f"the case holds no fact {fact_id!r}",
                    where=f"case {case_id}",
                    mend="check its id",
                )
            detail: dict[str, audit.Sealed] = {
                "case": case_id,
                "withdrawn": [fact_id],
                "rows": rows.rows_seal(case_id, None, (), (), [(fact_id, reason)]),
            }
            entry = self._append(connection, "withdrew a fact", detail)
            columns = {"case_id": case_id, "fact_id": fact_id, "reason": reason}
            connection.execute(insert(withdrawals).values(**columns, entry=entry.seq))
            return entry

    def withdrawn(self, case_id: str) -> tuple[rows.Withdrawal, ...]:
        """Return what was withdrawn from a case, in that order."""
        with self.reading() as connection:
            rows.case_of(connection, case_id)
            return rows.withdrawn_from(connection, case_id)

    def record(
        self,
        person: Person,
        new_facts: Sequence[Fact] = (),
        series: Sequence[NewSeries] = (),
        *,
        action: str = "recorded",
        progress: Progress = silent,
    ) -> Recorded:
        """Record what is new about a person, all of it or nothing.

        A case is opened for a person whose reference is not known yet. Facts and series already
        on record are left as they are; if nothing is new, nothing is written.

        Returns
        -------
        Recorded
            What was new. Once it is returned, it outlives a crash.

        Raises
        ------
        InputError
            If the reference belongs to somebody else, a series is on record with other files, or
            the disk is full; the store is then as it was before.
        """
        files = ImageFiles(self.home / "images")
        with self._writing(undo=files.undo) as connection:
            found = rows.case_id_of(connection, person.reference)
            known = rows.case_of(connection, found) if found else None
            if known:
                require_same_person(known.person, person)
            have = rows.fact_ids(connection, known.id) if known else set()
            fresh = tuple({fact.id: fact for fact in new_facts if fact.id not in have}.values())
            fresh_series = only_new(known.images if known else (), series)
            records = tuple(each.record for each in fresh_series)
            if known and not fresh and not records:
                return Recorded(known.id, (), (), opened=False, entry=None)
            for each in fresh_series:
                files.keep(each.sources, each.record.files, progress=progress)
            case_id = known.id if known else new_id()
            newcomer = None if known else person
            entry = self._insert(connection, case_id, newcomer, fresh, records, action)
        return Recorded(case_id, fresh, records, opened=known is None, entry=entry)

    def _insert(
        self,
        connection: Connection,
        case_id: str,
        newcomer: Person | None,
        fresh: tuple[Fact, ...],
        records: tuple[ImageRecord, ...],
        action: str,
    ) -> audit.Entry:
        detail: dict[str, audit.Sealed] = {
            "case": case_id,
            "facts": [fact.id for fact in fresh],
            "series": [record.series_uid for record in records],
            "rows": rows.rows_seal(case_id, newcomer, fresh, records),
        }
        entry = self._append(connection, "opened a case" if newcomer else action, detail)
        if newcomer:
            insert_person(connection, newcomer, case_id, entry.seq)
        if fresh:
            common = {"case_id": case_id, "entry": entry.seq}
            connection.execute(insert(facts), [row_of(fact) | common for fact in fresh])
        for record in records:
            insert_series(connection, record, case_id, entry.seq)
        return entry

    @contextmanager
    def _writing(self, undo: Callable[[], None] = lambda: None) -> Iterator[Connection]:
        """Give a connection whose changes are all committed at the end, or none of them."""
        engine = self._engine.execution_options(writes=True)
        with failures_said(), engine.connect() as connection:
            transaction = connection.begin()
            try:
                take_write_lock(connection)
                yield connection
                transaction.commit()
            except BaseException:
                undo()  # before the lock is let go: afterwards others may rely on the files
                transaction.rollback()
                raise

    def _append(
        self, connection: Connection, action: str, detail: dict[str, audit.Sealed]
    ) -> audit.Entry:
        at = self._now().astimezone(UTC)
        return audit.append(connection, at=at, who=self._who, action=action, detail=detail)
