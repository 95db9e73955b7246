"""Bring a database to the newest schema, safely when two processes open it at once."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from sqlalchemy import inspect, text

from thalweg.errors import InputError
from thalweg.store.dialect import take_write_lock
from thalweg.store.schema import HEAD

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy import Connection, Engine

__all__ = ["migrations", "upgrade"]


def upgrade(engine: Engine) -> None:
    """Run the migrations that the database lacks.

    Raises
    ------
    InputError
        If a newer Thalweg has written it.
    """
    with engine.connect() as connection:
        if _version(connection) == HEAD:
            return
    # Alembic is imported only where there is work for it: opening is on every command's way.
    from alembic import command  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        take_write_lock(connection)
        version = _version(connection)
        known = {
            script.revision for script in ScriptDirectory.from_config(migrations()).walk_revisions()
        }
        if version is not None and version not in known:
            raise InputError(
                f"the database has schema {version}, newer than this Thalweg's {HEAD}",
                mend="use the Thalweg that wrote it, or a newer one",
            )
        config = migrations()
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def migrations() -> Config:
    """Return Alembic's configuration for the packaged migrations."""
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(files("thalweg.store") / "migrations"))
    return config


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    row = connection.execute(text("SELECT version_num FROM alembic_version")).first()
    return None if row is None else str(row[0])
