"""`thalweg renogram`: shares of function and drainage from a renogram's counts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from thalweg.cli.output import CAUTION, Home, Json, On, OwnRules, as_date, emit
from thalweg.errors import InputError

if TYPE_CHECKING:
    from datetime import date

__all__ = ["register"]

SIDES = ("left", "right")
VIEWS = ("posterior", "anterior", "geometric mean")
KINDS = (".png", ".svg", ".pdf")
OF_CASE = frozenset({"case_id", "home", "on", "protocol", "as_json", "help"})
"""What may be given with a case."""


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("renogram")(renogram)


def _one_of(text: str | None, option: str, words: tuple[str, ...]) -> str:
    if text is not None and text not in words:
        raise InputError(
            f"{text!r} cannot be meant", where=option, mend=f"write {' or '.join(words)}"
        )
    return text or ""


def _kind(picture: Path | None, option: str) -> str:
    kind = ".svg" if picture is None else picture.suffix.lower()
    if kind not in KINDS:
        raise InputError(
            f"pictures of kind {kind.lstrip('.') or 'unknown'!r} are not drawn",
            where=option,
            mend=f"name a file that ends in {', '.join(KINDS)}",
        )
    return kind.lstrip(".")


def _only_of_case(context: typer.Context) -> None:
    """Refuse what would be stated of a file: a case states its own."""
    for parameter in context.command.params:
        name = str(parameter.name)
        source = context.get_parameter_source(name)
        stated = source is not None and source.name == "COMMANDLINE"
        if stated and name not in OF_CASE:
            option = "FILE" if name == "files" else parameter.opts[0]
            raise InputError(
                "a case's renograms are analysed by what is on record",
                where=option,
                mend=f"leave {option} out with --case",
            )


def _of_case(case_id: str, home: Path | None, at: date, protocol: Path | None, js: bool) -> None:
    from thalweg.service.keeping import open_store
    from thalweg.service.renogram_course import renograms_of_case

    with open_store(home) as store:
        found = renograms_of_case(case_id, store, at=at, protocol=protocol)

    def human() -> None:
        for line in found.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit(found.to_json(), js, human)


def renogram(
    context: typer.Context,
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="FILE...",
            help="A table of curves (CSV), or the files or folder of one gamma-camera series "
            "(DICOM NM).",
        ),
    ] = None,
    case_id: Annotated[
        str | None,
        typer.Option("--case", metavar="ID", help="A case in place of files: its renograms."),
    ] = None,
    regions: Annotated[
        Path | None,
        typer.Option(
            "--regions", metavar="FILE", help="Regions drawn on the pictures, by role and side."
        ),
    ] = None,
    furosemide: Annotated[
        str | None,
        typer.Option(
            "--furosemide",
            metavar="TIME",
            help="When it was given after the tracer, such as 20min; before it, -15min.",
        ),
    ] = None,
    given: Annotated[
        str | None,
        typer.Option(
            "--given",
            metavar="TIME",
            help="When the tracer was given after the first frame began, such as 30s.",
        ),
    ] = None,
    emptied: Annotated[
        str | None,
        typer.Option(
            "--emptied",
            metavar="TIME",
            help="When bladder, conduit or reservoir was emptied after the tracer, such as 40min.",
        ),
    ] = None,
    left_at: Annotated[
        str | None,
        typer.Option(
            "--left-at", help="Where on the picture the person's left lies: 'left' or 'right'."
        ),
    ] = None,
    view: Annotated[
        str | None,
        typer.Option(
            "--view", help="From where the camera looked: posterior, anterior, 'geometric mean'."
        ),
    ] = None,
    detector: Annotated[
        int | None,
        typer.Option("--detector", min=1, help="Which of several detectors to read, from 1."),
    ] = None,
    energy_window: Annotated[
        int | None,
        typer.Option("--energy-window", min=1, help="Which of several energy windows, from 1."),
    ] = None,
    acquired: Annotated[
        str | None,
        typer.Option("--acquired", metavar="DATE", help="Day of the study, where no file says."),
    ] = None,
    single_kidney: Annotated[
        str | None,
        typer.Option("--single-kidney", help="The only kidney there is: 'left' or 'right'."),
    ] = None,
    age: Annotated[
        str | None, typer.Option("--age", metavar="YEARS", help="Age at the study, such as 0.5.")
    ] = None,
    drained: Annotated[
        bool | None,
        typer.Option(
            "--drained/--not-drained",
            help="Bladder, conduit or reservoir open or empty during the late frames.",
            show_default=False,
        ),
    ] = None,
    hydrated: Annotated[
        bool | None,
        typer.Option(
            "--hydrated/--not-hydrated", help="Well hydrated, or not.", show_default=False
        ),
    ] = None,
    reflux: Annotated[
        bool | None,
        typer.Option(
            "--reflux/--no-reflux",
            help="Urine can run back into the kidneys, or cannot.",
            show_default=False,
        ),
    ] = None,
    both_diseased: Annotated[
        bool | None,
        typer.Option(
            "--both-diseased/--not-both-diseased",
            help="Both kidneys diseased or dilated, or not.",
            show_default=False,
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture", metavar="FILE", help="Draw the curves: a new .png, .svg or .pdf."
        ),
    ] = None,
    uptake_picture: Annotated[
        Path | None,
        typer.Option(
            "--uptake-picture",
            metavar="FILE",
            help="Draw the summed uptake with its regions: a new .png, .svg or .pdf.",
        ),
    ] = None,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Work out each kidney's share and drainage from a renogram, each with its doubt.

    Times need their unit; a bare number is refused. What nobody states (hydration, an undrained
    bladder, reflux) is not guessed: the verdict then says what it would take to be firm.
    """
    if case_id is not None:
        _only_of_case(context)
        _of_case(case_id, home, as_date(on), protocol, as_json)
        return
    if not files:
        raise InputError("no file is named", mend="give a renogram's FILE, or --case ID")
    from thalweg.service.renogram import Asked, analysed_files
    from thalweg.service.safefile import replace_files

    kinds = _kind(picture, "--picture"), _kind(uptake_picture, "--uptake-picture")
    found = analysed_files(
        files,
        Asked(
            regions=regions,
            furosemide=furosemide,
            given=given,
            emptied=emptied,
            left_at=_one_of(left_at, "--left-at", SIDES),
            view=_one_of(view, "--view", VIEWS),
            acquired="" if acquired is None else as_date(acquired, "--acquired").isoformat(),
            single_kidney=_one_of(single_kidney, "--single-kidney", SIDES),
            age=age,
            drained=drained,
            hydrated=hydrated,
            reflux=reflux,
            both_diseased=both_diseased,
            detector=detector,
            energy_window=energy_window,
        ),
        protocol=protocol,
    )
    written: dict[Path, bytes] = {}
    if picture is not None:
        written[picture] = found.curves_picture(kinds[0]).data
    if uptake_picture is not None:
        written[uptake_picture] = found.uptake_picture(kinds[1]).data
    replace_files(written)

    def human() -> None:
        for line in found.lines():
            typer.echo(line)
        for path in written:
            typer.echo(f"Written: {path}")
        typer.echo(CAUTION)

    emit(found.to_json(), as_json, human)
