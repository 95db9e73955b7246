"""`thalweg margins`: where on the front of the abdomen each ureter can come out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, CaseId, Home, Json, On, as_date, emit, watching
from thalweg.errors import InputError

__all__ = ["register"]

KINDS = ("svg", "png", "pdf")


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command("margins")(margins)


def _step(text: str) -> float:
    """Return a length in mm, typed with its unit."""
    from thalweg.record.units import convert, parse_quantity

    try:
        number, unit = parse_quantity(text)
        return float(convert(number, unit, "mm"))
    except InputError as error:
        raise error.at("--step") from None


def _kind(picture: Path) -> str:
    kind = picture.suffix.lower().lstrip(".")
    if kind not in KINDS:
        raise InputError(
            f"a picture cannot be written as {picture.suffix or 'a file without a suffix'!r}",
            where="--picture",
            mend=f"end its name with {', '.join('.' + each for each in KINDS)}",
        )
    return kind


def margins(
    case_id: CaseId,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture", metavar="FILE", help="Draw the map: FILE ends with .svg, .png or .pdf."
        ),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option("--table", metavar="FILE.csv", help="Write every place as a row, in mm."),
    ] = None,
    step: Annotated[
        str, typer.Option("--step", metavar="LENGTH", help="Spacing of the places.")
    ] = "10mm",
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Map over the whole front of the abdomen where each ureter reaches, and both to one stoma.

    Sites need not be marked. Skin and wall are measured at every place; where the wall's layers
    cannot be seen, the margin is not known.
    """
    from thalweg.service.keeping import open_store
    from thalweg.service.margins import map_margins
    from thalweg.service.safefile import replace_files
    from thalweg.service.workup import require_born

    step_mm, day = _step(step), as_date(on)
    kind = None if picture is None else _kind(picture)
    with open_store(home) as store, watching(quiet=as_json) as progress:
        case = store.get_case(case_id)
        require_born(case, day)
        mapped = map_margins(case.known_on(day), store, at=day, step_mm=step_mm, progress=progress)
        files = {}
        if picture is not None and kind is not None:
            files[picture] = mapped.picture_file(kind)
        if table is not None:
            files[table] = mapped.table()
        replace_files(files)
        if files:
            store.note("map of margins written", case_id=case_id, on=day.isoformat())

    def human() -> None:
        for line in (*mapped.lines(), *(f"Written: {path}" for path in files)):
            typer.echo(line)
        typer.echo(CAUTION)

    emit(
        {**mapped.to_json(), "case": case_id, "files": [str(path) for path in files]},
        as_json,
        human,
    )
