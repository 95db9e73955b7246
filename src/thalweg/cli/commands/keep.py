"""`thalweg backup`, `restore`, `verify`: the record as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import Home, Json, emit, watching

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)
    app.command("verify")(verify)


def backup(
    file: Annotated[Path, typer.Argument(help="A new file; it appears only once it is whole.")],
    home: Home = None,
    as_json: Json = False,
) -> None:
    """Write a safe copy of the whole record to one file.

    It holds everything about everybody and is not encrypted: keep it where the record may be.
    """
    from thalweg.service.keeping import kept_safe, open_store

    with open_store(home) as store, watching(quiet=as_json) as progress:
        done = kept_safe(store, file, progress=progress)

    def human() -> None:
        typer.echo(f"{done['cases']} cases and {done['image_files']} image files kept in {file}.")
        typer.echo(f"Keep this elsewhere, it shows later that nothing was cut off: {done['head']}")

    emit(done, as_json, human)


def restore(
    file: Annotated[Path, typer.Argument(help="Written by 'thalweg backup'.")],
    home: Home = None,
    as_json: Json = False,
) -> None:
    """Put a safe copy back into an empty folder; a record in use is never overwritten."""
    from thalweg.service.keeping import put_back

    with watching(quiet=as_json) as progress:
        done = put_back(file, home, progress=progress)

    def human() -> None:
        typer.echo(f"{done['cases']} cases and {done['image_files']} image files are back.")
        typer.echo(f"They lie in {done['home']}; head {done['head']}.")

    emit(done, as_json, human)


def verify(home: Home = None, as_json: Json = False) -> None:
    """Check the record: the audit trail's chain, and every stored image against its hash."""
    from thalweg.service.keeping import check_record, open_store

    with open_store(home) as store, watching(quiet=as_json) as progress:
        checked = check_record(store, progress=progress)

    def human() -> None:
        for line in checked.lines():
            typer.echo(line)

    emit(checked.to_json(), as_json, human)
    if checked.problems:
        raise typer.Exit(1)
