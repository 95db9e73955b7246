"""What every command shares: options, printing, progress."""

from __future__ import annotations

import json
import sys
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from thalweg.progress import Progress

__all__ = [
    "CAUTION",
    "CaseId",
    "Home",
    "Json",
    "On",
    "OwnRules",
    "as_date",
    "emit",
    "print_findings",
    "watching",
]

FIRST_YEAR, LAST_YEAR = 1900, 2200
"""Nobody alive is older, and follow-up for life ends before; beyond, dates overflow."""

CAUTION = (
    "Thalweg supports and does not replace licensed judgement; check every number against the "
    "person and your local protocol."
)

Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for programs.")]
Home = Annotated[
    Path | None,
    typer.Option(
        "--home",
        envvar="THALWEG_HOME",
        help="Folder of the record; default: your user data folder.",
        show_default=False,
    ),
]
On = Annotated[
    str | None,
    typer.Option("--on", metavar="DATE", help="Work as of this day (YYYY-MM-DD); default: today."),
]
OwnRules = Annotated[
    Path | None,
    typer.Option(
        "--protocol", metavar="DIR", help="Your unit's own rules in place of ours, by key."
    ),
]
CaseId = Annotated[
    str, typer.Argument(metavar="ID", help="The case's id, as 'thalweg cases' lists it.")
]


def as_date(text: str | None, option: str = "--on") -> date:
    """Return the day an option names, or today where it was not given.

    Raises
    ------
    InputError
        If the text is not a day as ISO 8601 writes it.
    """
    if text is None:
        return date.today()  # noqa: DTZ011 - the calendar day where the user sits
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a date", where=option, mend="write it like 2026-03-31"
        ) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise InputError(
            f"the year {day.year} cannot be meant",
            where=option,
            mend=f"give a day between {FIRST_YEAR} and {LAST_YEAR}",
        )
    return day


def emit(payload: Any, as_json: bool, human: Callable[[], None]) -> None:
    """Print the payload as JSON, or let `human` print it for people."""
    if as_json:
        # NaN is not JSON: an unknown number must be null by the time it gets here.
        sys.stdout.write(json.dumps(payload, ensure_ascii=False, indent=2, allow_nan=False) + "\n")
    else:
        human()


@contextmanager
def watching(quiet: bool = False, *, steps: bool = False) -> Iterator[Progress]:
    """Yield a progress watcher: bars on a terminal, else nothing, or one line a step.

    Parameters
    ----------
    quiet : bool
        Watch nothing: for JSON.
    steps : bool
        Without a terminal, say each step on standard output: for commands whose output is a
        report of what was done, not an answer to be piped on.
    """
    from thalweg.progress import silent

    if not quiet and sys.stderr.isatty():
        with _bars() as bars:
            yield bars
    else:
        yield _Lines() if steps and not quiet else silent


@contextmanager
def _bars() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Bars(*columns, console=Console(stderr=True)) as bars:
        tasks: dict[str, Any] = {}

        def show(label: str, done: int, total: int) -> None:
            if label not in tasks:
                tasks[label] = bars.add_task(label, total=total)
            bars.update(tasks[label], completed=done, total=total)

        yield show


class _Lines:
    """Say each piece of work once when it starts, for logs and pipes.

    On standard output: where nobody watches a screen, standard error is kept for the one line that
    says what is wrong.
    """

    def __init__(self) -> None:
        self._said: set[str] = set()

    def __call__(self, label: str, done: int, total: int) -> None:  # noqa: ARG002 - the protocol's
        if label not in self._said:
            self._said.add(label)
            sys.stdout.write(f"{label} …\n")
            sys.stdout.flush()


def print_findings(rows: list[dict[str, Any]], *, explain: bool = False) -> None:
    """Print findings as lines, then every caution once.

    Parameters
    ----------
    rows : list of dict
        Findings as JSON has them, with ``shown``.
    explain : bool
        Also the formula, the facts and the source of each.
    """
    for row in rows:
        typer.echo(f"{row['shown']:>28}   {row['title']}  [{row['date'][:10]}]")
        if explain:
            typer.echo(f"{'':31}{row['formula']}")
            typer.echo(f"{'':31}for {row['valid_for']}")
            for fact in row["facts"]:
                unit = f" {fact['unit']}" if fact["unit"] else ""
                typer.echo(
                    f"{'':31}from {fact['concept']} {fact['value']}{unit} ({fact['origin']})"
                )
            typer.echo(f"{'':31}source: {row['source']}\n")
    for caution in dict.fromkeys(caution for row in rows for caution in row["cautions"]):
        typer.echo(f"! {caution}")
