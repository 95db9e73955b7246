"""`thalweg intake`, `cases`, `case`, `withdraw`: the caseload."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.output import CaseId, Home, Json, On, OwnRules, as_date, emit, watching
from thalweg.errors import InputError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("intake")(intake)
    app.command("cases")(cases)
    app.command("case")(case)
    app.command("withdraw")(withdraw)


def intake(
    folder: Annotated[
        Path,
        typer.Argument(
            help="Holds case.toml, FHIR bundles (*.json), tables (*.csv), folders of DICOM files."
        ),
    ],
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Take a case folder into the record: everything in it, or nothing.

    The same folder twice changes nothing; a folder with one more result adds that result.
    """
    from thalweg.service.intake import take_in
    from thalweg.service.keeping import open_store
    from thalweg.service.telling import intake_json, intake_lines

    with open_store(home) as store, watching(quiet=as_json, steps=True) as progress:
        report = take_in(folder, store, today=as_date(on), progress=progress)

    def human() -> None:
        for line in intake_lines(report):
            typer.echo(line)
        typer.echo(f"Case {report.case_id}. Next: thalweg plan {report.case_id}")

    emit(intake_json(report), as_json, human)


def cases(home: Home = None, on: On = None, as_json: Json = False) -> None:
    """List the cases on record, and what each still lacks for a plan."""
    from thalweg.service.caseload import caseload
    from thalweg.service.keeping import open_store

    with open_store(home) as store:
        rows = caseload(store, at=as_date(on))

    def human() -> None:
        if not rows:
            typer.echo("No case yet. Take one in with: thalweg intake FOLDER")
        for row in rows:
            typer.echo(row.line())

    emit({"cases": [row.to_json() for row in rows]}, as_json, human)


def case(
    case_id: CaseId,
    explain: Annotated[
        str | None,
        typer.Option(
            "--explain", metavar="NAME", help="Walk one finding back to its facts and source."
        ),
    ] = None,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Show one course: facts with origin, findings with reasons, what the work-up still lacks."""
    from thalweg.evidence.bibliography import cite
    from thalweg.record.explain import as_text
    from thalweg.service.caseload import course_of
    from thalweg.service.keeping import open_store
    from thalweg.service.protocol import read_protocol

    own = read_protocol(protocol)
    with open_store(home) as store, watching(quiet=as_json) as progress:
        course = course_of(case_id, store, at=as_date(on), protocol=own, progress=progress)
    if explain is not None:
        chosen = [finding for finding in course.findings if finding.name == explain]
        if not chosen:
            names = ", ".join(sorted({finding.name for finding in course.findings}))
            raise InputError(
                f"there is no finding {explain!r}", where="--explain", mend=f"choose from {names}"
            )
        emit(
            {"findings": [finding.to_json(cite) for finding in chosen]},
            as_json,
            lambda: typer.echo("\n\n".join(as_text(finding, cite) for finding in chosen)),
        )
        return

    def human() -> None:
        for line in course.lines():
            typer.echo(line)

    emit(course.to_json(), as_json, human)


def withdraw(
    case_id: CaseId,
    fact_id: Annotated[
        str, typer.Argument(metavar="FACT", help="The fact's id, as 'thalweg case ID' lists it.")
    ],
    because: Annotated[
        str, typer.Option("--because", metavar="WORDS", help="Why it is wrong; kept with it.")
    ],
    home: Home = None,
    as_json: Json = False,
) -> None:
    """Declare a fact wrong, such as one of two contradicting results.

    It stays on record with the reason, and nothing uses it any more.
    """
    from thalweg.service.keeping import open_store
    from thalweg.service.keeping import withdraw as declare_wrong

    with open_store(home) as store:
        done = declare_wrong(store, case_id, fact_id, because)
    emit(done, as_json, lambda: typer.echo(f"Fact {fact_id} is withdrawn; it stays on record."))
