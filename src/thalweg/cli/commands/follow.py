"""`thalweg calendar`: the visits that lie ahead."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, CaseId, Home, Json, On, OwnRules, as_date, emit

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("calendar")(calendar)


def calendar(
    case_id: CaseId,
    diversion: Annotated[
        str | None,
        typer.Option(
            "--diversion",
            metavar="KEY",
            help="The diversion made or meant; default: as the case file says.",
        ),
    ] = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", metavar="FILE", help="Also write it for a calendar program."),
    ] = None,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Lay out the follow-up for life: what is due when, within which window, and why."""
    from thalweg.service.following import calendar_of_case

    laid = calendar_of_case(
        case_id, home=home, diversion=diversion, at=as_date(on), ics=ics, protocol=protocol
    )

    def human() -> None:
        for line in laid.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit(laid.to_json(), as_json, human)
