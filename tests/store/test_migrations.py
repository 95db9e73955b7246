"""Migrations: the packaged ones make the tables that the code reads, on either database."""

from __future__ import annotations

import io
import sqlite3
from contextlib import redirect_stdout
from typing import TYPE_CHECKING

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from thalweg.errors import InputError
from thalweg.store import Store
from thalweg.store.schema import APPEND_ONLY, HEAD, metadata
from thalweg.store.upgrade import migrations

if TYPE_CHECKING:
    from pathlib import Path


def test_head_is_the_newest_migration() -> None:
    assert ScriptDirectory.from_config(migrations()).get_current_head() == HEAD


def test_migrated_tables_are_those_of_the_schema(tmp_path: Path) -> None:
    with Store(tmp_path) as store, store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    Store(tmp_path).close()
    before = (tmp_path / "thalweg.sqlite").read_bytes()
    Store(tmp_path).close()
    assert (tmp_path / "thalweg.sqlite").read_bytes() == before


def test_database_of_a_newer_thalweg_is_left_alone(tmp_path: Path) -> None:
    Store(tmp_path).close()
    connection = sqlite3.connect(tmp_path / "thalweg.sqlite")
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.close()
    with pytest.raises(InputError, match="schema 9999, newer than this Thalweg's"):
        Store(tmp_path)


def test_postgresql_gets_its_own_guards() -> None:
    config = migrations()
    config.set_main_option("dialect", "postgresql")
    config.output_buffer = io.StringIO()
    with redirect_stdout(io.StringIO()):
        command.upgrade(config, "head", sql=True)
    script = config.output_buffer.getvalue()
    for table in (each.name for each in APPEND_ONLY):
        assert f"BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} " in script
    assert "PRAGMA" not in script
    assert "RAISE(ABORT" not in script
