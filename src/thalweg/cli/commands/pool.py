"""`thalweg pool`: what was published on an outcome, pooled, or a table of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, Json, On, OwnRules, as_date, emit
from thalweg.errors import InputError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command("pool")(pool)


def pool(
    series: Annotated[
        Path | None,
        typer.Argument(
            metavar="[SERIES.csv]",
            help="A table of your own: series, year, n, events; follow_up, group where known.",
        ),
    ] = None,
    outcome: Annotated[
        str | None,
        typer.Option(
            "--outcome",
            metavar="KEY",
            help="What was published on this outcome, such as stomal-stenosis.",
        ),
    ] = None,
    diversion: Annotated[
        str | None,
        typer.Option(
            "--diversion",
            metavar="KEY",
            help="After this diversion, such as ileal-conduit; default: all together.",
        ),
    ] = None,
    definition: Annotated[
        str | None, typer.Option("--definition", metavar="KEY", help="Only so counted.")
    ] = None,
    counted: Annotated[
        str | None,
        typer.Option(
            "--counted",
            metavar="UNIT",
            help="Only counted by 'patient', 'renal unit', 'ureter' or 'procedure'.",
        ),
    ] = None,
    population: Annotated[
        str | None, typer.Option("--population", help="Only 'adult', 'child' or 'mixed'.")
    ] = None,
    method: Annotated[
        str,
        typer.Option(
            "--method",
            help=(
                "auto, reml, pm, dl (logits), or exact (counts themselves); auto: reml, but exact "
                "where events are few."
            ),
        ),
    ] = "auto",
    unit_series: Annotated[
        Path | None,
        typer.Option(
            "--unit-series",
            metavar="FILE.csv",
            help="Your unit's own outcomes, to be held against the pool; never part of it.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE",
            help="Write a forest plot (.svg, .png or .pdf) of one pool.",
        ),
    ] = None,
    protocol: OwnRules = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Pool published series: share, interval, how much places differ, and what stayed out and why.

    Pooled are only series that count one outcome one way, by one unit, in like people. Where they
    differ so much that the pooled figure says little, that is said. For no person in particular.
    """
    from thalweg.service.pooling import Asked, pool_published, pool_table
    from thalweg.service.protocol import read_protocol

    at = as_date(on)
    chosen = (diversion, definition, counted, population)
    if (series is None) == (outcome is None):
        raise InputError(
            "it is not clear what to pool", mend="give either a table or --outcome, and not both"
        )
    rules = read_protocol(protocol)
    if series is not None:
        if any(one is not None for one in chosen):
            raise InputError(
                "a table of your own is pooled as it stands",
                mend="leave out --diversion, --definition, --counted and --population",
            )
        answer = pool_table(series, at=at, method=method, protocol=rules, unit_series=unit_series)
    else:
        asked = Asked(
            outcome=outcome or "",
            diversion=diversion,
            definition=definition,
            counted=counted,
            population=population,
            method=method,
        )
        answer = pool_published(asked, at=at, protocol=rules, unit_series=unit_series)
    if picture is not None:
        answer.write_picture(picture)

    def human() -> None:
        for line in answer.lines():
            typer.echo(line)
        if picture is not None:
            typer.echo(f"Written: {picture}")
        typer.echo(CAUTION)

    emit(answer.to_json() | {"picture": str(picture) if picture else None}, as_json, human)
