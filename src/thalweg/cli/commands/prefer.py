"""`thalweg prefer`: what matters to the person."""

from __future__ import annotations

from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, CaseId, Home, Json, On, OwnRules, as_date, emit, watching

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("prefer")(prefer)


def prefer(
    case_id: CaseId,
    answer: Annotated[
        list[str] | None,
        typer.Option(
            "--answer",
            metavar="KEY=ANSWER",
            help=(
                "Record the person's answer to one question, such as no-bag/kidneys=first; or "
                "=second, =no difference, =do not know. May be given several times."
            ),
        ),
    ] = None,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Ask what matters to the person, and show the open options in the order that follows.

    Without --answer it shows the next question, the one that would tell most. Answers are recorded
    with their date; a later answer to the same question counts and the earlier stays on record.
    The order says how steady it is and what would turn it. Closed options stay closed.
    """
    from datetime import datetime

    from thalweg.service.keeping import open_store
    from thalweg.service.preferences import prefer as asked
    from thalweg.service.protocol import read_protocol

    own = read_protocol(protocol)
    with open_store(home) as store, watching(quiet=as_json) as progress:
        found = asked(
            case_id,
            store,
            answer or (),
            at=as_date(on),
            now=datetime.now().astimezone(),
            protocol=own,
            progress=progress,
        )

    def human() -> None:
        for line in found.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit(found.to_json(), as_json, human)
