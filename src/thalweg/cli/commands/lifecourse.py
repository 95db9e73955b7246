"""`thalweg lifecourse`: what each open diversion would mean over a life."""

from __future__ import annotations

from typing import Annotated

import typer

from thalweg.cli.output import (
    CAUTION,
    CaseId,
    Home,
    Json,
    On,
    OwnRules,
    as_date,
    emit,
    watching,
)
from thalweg.errors import InputError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's command."""
    app.command("lifecourse")(lifecourse)


def _years(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise InputError(
            f"{text!r} are no years", where="--years", mend="write them like 1,5,10"
        ) from None


def _pair(text: str | None) -> tuple[str, str] | None:
    if text is None:
        return None
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2 or not all(parts):
        raise InputError(
            f"{text!r} does not name two diversions",
            where="--compare",
            mend="write two keys with a comma, like ileal-conduit,neobladder",
        )
    return parts[0], parts[1]


def lifecourse(
    case_id: CaseId,
    years: Annotated[
        str, typer.Option("--years", metavar="YEARS", help="Horizons; the whole life is added.")
    ] = "1,5,10",
    lives: Annotated[
        int, typer.Option("--lives", metavar="N", help="Lives simulated for each diversion.")
    ] = 100_000,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="One seed, one answer.")
    ] = 20_261_125,
    compare: Annotated[
        str | None,
        typer.Option("--compare", metavar="A,B", help="Set two diversions side by side, by key."),
    ] = None,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Say what each open diversion would mean over a life: operations, tubes, nights, kidneys.

    Many lives are simulated from published series, with this person's age, kidneys and recorded
    illness. Every figure has its interval; what is not known is said, never taken for nothing.
    """
    from thalweg.service.keeping import open_store
    from thalweg.service.lifecourse import followed_lives
    from thalweg.service.protocol import read_protocol
    from thalweg.service.workup import work_up

    horizons, pair, own = _years(years), _pair(compare), read_protocol(protocol)
    with open_store(home) as store, watching(quiet=as_json) as progress:
        worked = work_up(case_id, store, at=as_date(on), protocol=own, progress=progress)
        followed = followed_lives(
            worked,
            protocol=own,
            years=horizons,
            lives=lives,
            seed=seed,
            compare=pair,
            progress=progress,
        )

    def human() -> None:
        for line in followed.lines():
            typer.echo(line)
        typer.echo(CAUTION)

    emit({"case": case_id, **followed.to_json()}, as_json, human)
