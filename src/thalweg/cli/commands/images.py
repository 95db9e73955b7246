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
    images: Annotated[
        Path | None,
        typer.Argument(
            help="Folder that holds one series of CT or MR in DICOM; may be left out for a course "
            "placed by hand, of which then only the length is measured."
        ),
    ] = None,
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="X,Y,Z", help="In the renal pelvis, LPS millimetres."),
    ] = None,
    end: Annotated[
        str | None, typer.Option("--end", metavar="X,Y,Z", help="At the bladder, LPS millimetres.")
    ] = None,
    via: Annotated[
        list[str] | None,
        typer.Option("--via", metavar="X,Y,Z", help="A point on the way; may stand again."),
    ] = None,
    by_hand: Annotated[
        bool,
        typer.Option(
            "--by-hand", help="Start, via points and end are the course: nothing is traced."
        ),
    ] = False,
    points: Annotated[
        Path | None,
        typer.Option(
            "--points",
            metavar="FILE.csv",
            help="The whole course placed by hand, in place of --start, --via and --end: columns "
            "x_mm, y_mm, z_mm, one point a row, from kidney to bladder.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE",
            help="Write a picture (.svg, .png or .pdf) of the course on the image, or of what is "
            "wrong with the points.",
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Trace one ureter: length, calibre, narrowings, gaps and bends, with their doubt.

    Where tracing fails, place the course by hand: --by-hand or --points.
    """
    from thalweg.service.tracing import placed_on_folder, trace_folder

    placed = _placed(start, end, via or [], points)
    if images is None and not (by_hand or points):
        raise InputError(
            "no images were given",
            mend="name the folder of the series, or place the course by hand with --by-hand",
        )
    with watching(quiet=as_json) as progress:
        if by_hand or points:
            traced = placed_on_folder(images, placed, picture=picture, progress=progress)
        else:
            assert images is not None  # noqa: S101 - refused above
            first, *between, last = placed
            traced = trace_folder(images, first, last, between, picture=picture, progress=progress)

    def human() -> None:
        for line in traced.lines():
            typer.echo(line)
        if picture is not None:
            typer.echo(f"Written: {picture}")
        typer.echo(CAUTION)

    payload: dict[str, Any] = traced.to_json()
    emit(payload, as_json, human)


def _placed(
    start: str | None, end: str | None, via: list[str], points: Path | None
) -> list[Triple]:
    """Return the points in order, from the options or from the file."""
    from thalweg.exchange.points import read_points

    if points is not None:
        if start or end or via:
            raise InputError(
                "the course is given twice",
                where="--points",
                mend="give either --points or --start, --via and --end",
            )
        return list(read_points(points))
    if start is None or end is None:
        raise InputError(
            f"{'--start' if start is None else '--end'} is missing",
            mend="give --start and --end as X,Y,Z in LPS mm, or --points FILE.csv",
        )
    between = [as_point(text, "--via") for text in via]
    return [as_point(start, "--start"), *between, as_point(end, "--end")]
