"""`thalweg trace`: one ureter on one series."""

from __future__ import annotations

from math import isfinite
from pathlib import Path
from typing import Annotated, Any

import typer

from thalweg.cli.output import CAUTION, Json, emit, watching
from thalweg.errors import InputError

__all__ = ["register"]

Triple = tuple[float, float, float]
COORDINATES = 3


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("trace")(trace)


def as_point(text: str, option: str) -> Triple:
    """Return the point that ``X,Y,Z`` names, in LPS millimetres.

    Raises
    ------
    InputError
        If it is not three numbers with commas between.
    """
    parts = text.split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != COORDINATES or not all(map(isfinite, numbers)):
        raise InputError(
            f"{text!r} is not a point", where=option, mend="write X,Y,Z in LPS mm: 31.5,-20,-140"
        )
    return numbers[0], numbers[1], numbers[2]


def trace(
    images: Annotated[Path, typer.Argument(help="Folder that holds one CT series in DICOM.")],
    start: Annotated[
        str,
        typer.Option("--start", metavar="X,Y,Z", help="In the renal pelvis, LPS millimetres."),
    ],
    end: Annotated[
        str, typer.Option("--end", metavar="X,Y,Z", help="At the bladder, LPS millimetres.")
    ],
    via: Annotated[
        list[str] | None,
        typer.Option("--via", metavar="X,Y,Z", help="A point on the way; may stand again."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Trace one ureter: length, calibre, narrowings, gaps and bends, with their doubt."""
    from thalweg.service.tracing import trace_folder

    first, last = as_point(start, "--start"), as_point(end, "--end")
    between = [as_point(text, "--via") for text in via or []]
    with watching(quiet=as_json) as progress:
        traced = trace_folder(images, first, last, between, progress=progress)

    def human() -> None:
        for line in traced.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    payload: dict[str, Any] = traced.to_json()
    emit(payload, as_json, human)
