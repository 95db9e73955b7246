"""`thalweg reach`, `appraise`, `plan`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, CaseId, Home, Json, On, OwnRules, as_date, emit, watching

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("reach")(reach)
    app.command("appraise")(appraise)
    app.command("plan")(plan)


def reach(
    scene: Annotated[
        Path,
        typer.Argument(metavar="SCENE.toml", help="Ureters, sites and obstacles, lengths in mm."),
    ],
    on: On = None,
    as_json: Json = False,
) -> None:
    """Say from geometry alone whether each ureter reaches each site, and with what margin."""
    from thalweg.service.reaching import reach_scene

    with watching(quiet=as_json) as progress:
        reached = reach_scene(scene, at=as_date(on), progress=progress)

    def human() -> None:
        for line in reached.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit(reached.to_json(), as_json, human)


def appraise(
    case_id: CaseId,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Appraise every diversion: open, open with cautions, closed, or not yet decidable.

    Says which fact each verdict rests on, what would change it, and which missing facts would
    settle most.
    """
    from thalweg.service.keeping import open_store
    from thalweg.service.protocol import read_protocol
    from thalweg.service.telling import appraisal_lines
    from thalweg.service.workup import work_up

    own = read_protocol(protocol)
    with open_store(home) as store, watching(quiet=as_json) as progress:
        worked = work_up(case_id, store, at=as_date(on), protocol=own, progress=progress)

    def human() -> None:
        for line in appraisal_lines(worked.appraisal):
            typer.echo(line)
        typer.echo(CAUTION)

    emit(worked.appraisal.to_json(), as_json, human)


def plan(
    case_id: CaseId,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Where the documents go; default: here."),
    ] = None,
    protocol: OwnRules = None,
    language: Annotated[
        str,
        typer.Option(
            "--language",
            metavar="TAG",
            help="Language of the sheets for the person: en, one that your protocol folder "
            "translates (messages-TAG.po), or en-XA and ar-XB to test a translation's room.",
        ),
    ] = "en",
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Work the case up and write the plan, the sheet for the talk and a leaflet for each option.

    Each is HTML and PDF; the calendar is iCalendar.
    """
    from thalweg.service.documents import write_plan
    from thalweg.service.keeping import open_store

    with open_store(home) as store, watching(quiet=as_json, steps=True) as progress:
        written = write_plan(
            case_id,
            store,
            out or Path.cwd(),
            at=as_date(on),
            protocol=protocol,
            language=language,
            progress=progress,
        )

    def human() -> None:
        for line in written.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit(written.to_json(), as_json, human)
