"""`thalweg demo`: the whole main job on an invented person."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, Json, emit, watching

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("demo")(demo)


def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Where files, record and documents go.")
    ] = Path("thalweg-demo"),
    as_json: Json = False,
) -> None:
    """Do the whole job on an invented person, from image files to the printed plan.

    Writes the person's CT urogram (an artificial image), laboratory results and case file as a
    hospital would send them, takes them into a record of its own, traces both ureters, works out
    what reaches and what is open, and writes the plan. Nothing outside DIR is touched.
    """
    from thalweg.demo.run import run_demo

    with watching(quiet=as_json, steps=True) as progress:
        done = run_demo(out, progress=progress)

    def human() -> None:
        for line in done.lines:
            typer.echo(line)
        typer.echo("")
        typer.echo(CAUTION)

    emit(done.to_json(), as_json, human)
