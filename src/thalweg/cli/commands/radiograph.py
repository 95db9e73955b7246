"""`thalweg radiograph`: the shadow of one ureter on one radiograph."""

from __future__ import annotations

from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from thalweg.cli.output import CAUTION, Json, as_date, emit
from thalweg.errors import InputError

if TYPE_CHECKING:
    from thalweg.measure.calibration import Depth, MarkedScale

__all__ = ["register"]

SIDES = ("left", "right")


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("radiograph")(radiograph)


def as_pixel(text: str, option: str) -> tuple[float, float]:
    """Return the place in a picture that ``COL,ROW`` names.

    Raises
    ------
    InputError
        If it is not two numbers with a comma between.
    """
    parts = text.split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 2 or not all(map(isfinite, numbers)):
        raise InputError(
            f"{text!r} is not a place in a picture",
            where=option,
            mend="write COL,ROW, counted from 0 at the upper left: 512,860.5",
        )
    return numbers[0], numbers[1]


def _length(text: str | None, option: str) -> float | None:
    from thalweg.service.radiograph import length_mm

    return None if text is None else length_mm(text, option)


def _scale(given: tuple[str, str, str] | None, depth: str | None) -> MarkedScale | None:
    from thalweg.measure.calibration import MarkedScale
    from thalweg.service.radiograph import length_mm

    if given is None:
        if depth is not None:
            raise InputError(
                "a depth without a scale", where="--scale-depth", mend="give --scale too"
            )
        return None
    first, last, long = given
    at: Depth = None
    if depth == "ureter":
        at = "ureter"
    elif depth == "detector":
        at = "detector"
    elif depth is not None:
        at = length_mm(depth, "--scale-depth")
    ends = as_pixel(first, "--scale"), as_pixel(last, "--scale")
    return MarkedScale(ends, length_mm(long, "--scale"), at)


def radiograph(
    file: Annotated[
        Path, typer.Argument(help="A radiograph: DICOM (CR, DX, RF, XA, RG), PNG or JPEG.")
    ],
    point: Annotated[
        list[str],
        typer.Option(
            "--point",
            metavar="COL,ROW",
            help="On the ureter, from the renal pelvis to the bladder; stands twice or more.",
        ),
    ],
    scale: Annotated[
        tuple[str, str, str] | None,
        typer.Option(
            "--scale",
            metavar="COL,ROW COL,ROW LENGTH",
            help="Two places whose true distance is known, such as 100mm.",
        ),
    ] = None,
    scale_depth: Annotated[
        str | None,
        typer.Option(
            "--scale-depth",
            metavar="WHERE",
            help="Where the scale lies: 'ureter', 'detector', or its distance from the source.",
        ),
    ] = None,
    source_detector: Annotated[
        str | None,
        typer.Option(
            "--source-detector", metavar="LENGTH", help="From source to detector, such as 115cm."
        ),
    ] = None,
    source_ureter: Annotated[
        str | None,
        typer.Option("--source-ureter", metavar="LENGTH", help="From source to ureter."),
    ] = None,
    ureter_detector: Annotated[
        str | None,
        typer.Option("--ureter-detector", metavar="LENGTH", help="Or: from ureter to detector."),
    ] = None,
    depth_spread: Annotated[
        str | None,
        typer.Option(
            "--depth-spread",
            metavar="LENGTH",
            help="How far any part lies at most before or behind that depth; without it no least "
            "length is proven.",
        ),
    ] = None,
    central_ray: Annotated[
        str | None,
        typer.Option(
            "--central-ray",
            metavar="COL,ROW",
            help="Where the perpendicular from the source meets the picture; default: anywhere.",
        ),
    ] = None,
    side: Annotated[
        str | None, typer.Option("--side", help="'left' or 'right', the person's own.")
    ] = None,
    taken: Annotated[
        str | None,
        typer.Option("--taken", metavar="DATE", help="Day of the radiograph, for a picture."),
    ] = None,
    frame: Annotated[
        int | None, typer.Option("--frame", help="Which one of a file of several, from 1.")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Draw the course: a new .svg or .png."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Measure a ureter on a radiograph: the length of its shadow, a lower bound.

    Nothing is assumed of magnification: without a scale at the ureter's depth or the distances
    that give it, no length is given.
    """
    from thalweg.measure.calibration import Setup
    from thalweg.service.radiograph import measure_radiograph, read_one
    from thalweg.service.safefile import replace_file

    if side is not None and side not in SIDES:
        raise InputError(f"{side!r} is no side", where="--side", mend="write left or right")
    kind = _kind(picture)
    setup = Setup(
        scale=_scale(scale, scale_depth),
        source_detector_mm=_length(source_detector, "--source-detector"),
        source_ureter_mm=_length(source_ureter, "--source-ureter"),
        ureter_detector_mm=_length(ureter_detector, "--ureter-detector"),
        depth_spread_mm=_length(depth_spread, "--depth-spread"),
        central_ray_px=None if central_ray is None else as_pixel(central_ray, "--central-ray"),
    )
    points = [as_pixel(text, "--point") for text in point]
    day = None if taken is None else as_date(taken, "--taken")
    read = read_one(file, frame=frame, taken=day).radiograph
    measured = measure_radiograph(read, points, setup, side=side or "")
    if picture is not None:
        from thalweg.sheets.pictures.radiograph import radiograph_picture

        drawn = radiograph_picture(read, measured.shadow, measured.side, kind=kind)
        replace_file(picture, drawn.data)

    def human() -> None:
        for line in measured.lines():
            typer.echo(line)
        if picture is not None:
            typer.echo(f"Written: {picture}")
        typer.echo(CAUTION)

    emit(measured.to_json(), as_json, human)


def _kind(picture: Path | None) -> str:
    kind = "svg" if picture is None else picture.suffix.lower().lstrip(".")
    if kind not in {"svg", "png"}:
        raise InputError(
            f"pictures of kind {kind or 'unknown'!r} are not drawn",
            where="--picture",
            mend="name a file that ends in .svg or .png",
        )
    return kind
