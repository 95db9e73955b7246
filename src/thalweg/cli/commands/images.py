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
    side: Annotated[
        str | None,
        typer.Option("--side", metavar="left|right", help="Whose ureter it is; checked."),
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
    second: Annotated[
        Path | None,
        typer.Option(
            "--second",
            metavar="FOLDER",
            help="A second phase of the same ureter: says which gaps and narrowings opened there.",
        ),
    ] = None,
    second_start: Annotated[
        str | None,
        typer.Option(
            "--second-start",
            metavar="X,Y,Z",
            help="Start on the second phase; by default that of the first phase.",
        ),
    ] = None,
    second_end: Annotated[
        str | None,
        typer.Option("--second-end", metavar="X,Y,Z", help="End on the second phase, likewise."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Trace one ureter: length, calibre, narrowings, gaps and bends, with their doubt.

    Where tracing fails, place the course by hand: --by-hand or --points.
    """
    from thalweg.service.phases import second_phase
    from thalweg.service.tracing import placed_on_folder, trace_folder

    if side not in (None, "left", "right"):
        raise InputError(f"{side!r} is no side", where="--side", mend="write left or right")
    placed = _placed(start, end, via or [], points)
    if images is None and not (by_hand or points):
        raise InputError(
            "no images were given",
            mend="name the folder of the series, or place the course by hand with --by-hand",
        )
    with watching(quiet=as_json) as progress:
        if by_hand or points:
            traced = placed_on_folder(
                images, placed, side=side or "", picture=picture, progress=progress
            )
        else:
            assert images is not None  # noqa: S101 - refused above
            first, *between, last = placed
            traced = trace_folder(
                images, first, last, between, side=side or "", picture=picture, progress=progress
            )

        later = None
        if second is not None:
            points_there, same = _on_second(placed, second_start, second_end)
            later = second_phase(
                traced.course, second, points_there, same_marks=same, progress=progress
            )
        elif second_start or second_end:
            raise InputError(
                "there is no second phase",
                where="--second-start" if second_start else "--second-end",
                mend="name its folder with --second",
            )

    def human() -> None:
        for line in (*traced.lines(), *(later.lines() if later else ())):
            typer.echo(line)
        if picture is not None:
            typer.echo(f"Written: {picture}")
        typer.echo(CAUTION)

    payload: dict[str, Any] = traced.to_json()
    if later is not None:
        payload["second"] = later.to_json()
    emit(payload, as_json, human)


def _on_second(
    placed: list[Triple], start: str | None, end: str | None
) -> tuple[list[Triple], bool]:
    """Return the points on the second phase, and whether they are those of the first."""
    if start is None and end is None:
        return placed, True
    if start is None or end is None:
        raise InputError(
            f"{'--second-start' if start is None else '--second-end'} is missing",
            mend="give both, or neither where the first phase's points hold",
        )
    return [as_point(start, "--second-start"), as_point(end, "--second-end")], False


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
