"""Everything that differs between SQLite and PostgreSQL; no other module knows which it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import create_engine, event, text
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool

from thalweg.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy import Connection, Engine

__all__ = ["append_only", "copy_to", "corruption", "open_engine", "sqlite_url", "take_write_lock"]

BUSY_SECONDS: Final = 60
"""How long a writer waits for another's transaction, in which a whole series may be copied."""

WRITE_LOCK: Final = 0x7468616C
"""Any number, as long as every Thalweg uses the same (PostgreSQL advisory lock)."""


def open_engine(url: str) -> Engine:
    """Return an engine whose commits are on the disk when they return.

    Parameters
    ----------
    url : str
        As SQLAlchemy takes it, ``sqlite:///…`` or ``postgresql+psycopg://…``. PostgreSQL needs a
        driver of its own and keeps its default ``synchronous_commit = on``.

    Raises
    ------
    InputError
        If it is no such URL or the driver is missing; the URL, which may hold a password, is not
        repeated.
    """
    if not url.startswith("sqlite"):
        try:
            return create_engine(url, pool_pre_ping=True)
        except (ArgumentError, ModuleNotFoundError) as error:
            missing = f"needs {error.name}" if isinstance(error, ModuleNotFoundError) else "is none"
            raise InputError(
                f"the database's URL {missing}",
                mend="give postgresql+psycopg://… with its driver installed, or leave it out",
            ) from None
    engine = create_engine(
        url, poolclass=NullPool, connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False}
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def sqlite_url(path: Path) -> str:
    """Return the URL of a database file."""
    return f"sqlite:///{path}"


def _prepare(connection: Any, _record: object) -> None:
    # The driver's own transaction handling would begin too late to lock (SQLAlchemy manual,
    # "Serializable isolation / Savepoints / Transactional DDL" of the SQLite dialect).
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout = {BUSY_SECONDS * 1000}",
        "foreign_keys = ON",
        "journal_mode = WAL",
        # FULL syncs the log on every commit: an acknowledged write outlives a power failure too
        # (sqlite.org/pragma.html#pragma_synchronous).
        "synchronous = FULL",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    # A reader that turned writer after another's commit would fail at once instead of waiting.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def take_write_lock(connection: Connection) -> None:
    """Let no other writer in until the transaction ends."""
    if connection.dialect.name != "sqlite":  # there, BEGIN IMMEDIATE has already done it
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITE_LOCK})


def append_only(dialect: str, table: str) -> list[str]:
    """Return the statements that make the database refuse changes to a table's rows."""
    refusal = f"{table} is append-only"
    if dialect == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            for verb in ("UPDATE", "DELETE")
        ]
    function = (
        f"CREATE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{refusal}'; END $$"
    )
    trigger = (
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse()"
    )
    return [function, trigger]


def copy_to(engine: Engine, target: Path) -> None:
    """Copy a database to a new file, complete as of one moment, while others may write.

    Raises
    ------
    InputError
        If it is not SQLite, whose server has tools of its own for this.
    """
    if engine.dialect.name != "sqlite":
        raise InputError("the database is not a file", mend="back it up with its server's tools")
    with engine.connect() as connection:
        # sqlite.org/lang_vacuum.html#vacuum_into; it must stand outside a transaction.
        connection.connection.driver_connection.execute("VACUUM INTO ?", (str(target),))  # type: ignore[union-attr]


def corruption(connection: Connection) -> list[str]:
    """Return what the database itself finds wrong with its file; empty when all is well."""
    if connection.dialect.name != "sqlite":
        return []
    found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
    problems = [] if found == ["ok"] else [f"The database is damaged: {line}." for line in found]
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check")
    return problems + [f"A row of {row[0]} refers to a row of {row[2]} gone." for row in orphans]
