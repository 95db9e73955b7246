"""The command line: parse, call the use case, print; no computation of its own."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from thalweg.cli.commands import (
    assess,
    cases,
    chemistry,
    fitness,
    follow,
    images,
    keep,
    lifecourse,
    margins,
    plan,
    pool,
    prefer,
    radiograph,
    renogram,
    scenario,
)
from thalweg.errors import InputError, ThalwegError

__all__ = ["app", "run"]

STANDARD_OUTPUT = 1
INPUT_FAULT = 2
OUR_FAULT = 1
INTERRUPTED = 130
"""128 and the signal's number, as shells count it; Typer gives it too."""

app = typer.Typer(
    name="thalweg",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    help=(
        "Plan and follow urinary diversion: measure ureters on the person's own images, work out "
        "whether each reaches the skin, appraise every diversion, keep the calendar.\n\n"
        "Start with 'thalweg demo', which does the whole job on an invented person. With a case "
        "of your own: 'thalweg intake FOLDER', then 'thalweg plan ID'.\n\n"
        "Thalweg supports and does not replace licensed judgement; local protocol comes first."
    ),
)
ROOMS = (
    scenario,
    cases,
    images,
    radiograph,
    assess,
    renogram,
    chemistry,
    fitness,
    plan,
    pool,
    prefer,
    margins,
    lifecourse,
    follow,
    keep,
)
for room in ROOMS:
    room.register(app)


def _show_version(wanted: bool) -> None:
    if wanted:
        from thalweg import __version__

        typer.echo(f"thalweg {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version and stop.", callback=_show_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Hold the options that stand before any command."""


def _complain(sentence: str) -> None:
    # One line, whatever the sentence contains, so that scripts can rely on it.
    sys.stderr.write("thalweg: " + " ".join(sentence.split()) + "\n")


def _place(error: BaseException) -> str:
    """Return module and line where an unforeseen error arose, without its text.

    The text could hold something about a person; the place cannot.
    """
    last = error.__traceback__
    while last is not None and last.tb_next is not None:
        last = last.tb_next
    if last is None:
        return type(error).__name__
    return (
        f"{type(error).__name__} at {Path(last.tb_frame.f_code.co_filename).name}:{last.tb_lineno}"
    )


def _attempt(arguments: list[str]) -> int:
    code = 0
    try:
        outcome = app(args=arguments or ["--help"], standalone_mode=False)
        code = outcome if isinstance(outcome, int) else 0
        # Here, where somebody can still tell whoever reads our output from a fault.
        sys.stdout.flush()
    except typer.Exit as stop:
        code = stop.exit_code
    except typer.TyperException as misuse:
        _complain(f"{misuse.format_message().rstrip('.')}; see thalweg --help.")
        code = INPUT_FAULT
    except InputError as refused:
        _complain(str(refused))
        code = INPUT_FAULT
    except ThalwegError as fault:
        _complain(f"{fault} This is a fault of Thalweg, not of your input.")
        code = OUR_FAULT
    return code


def _left(stop: SystemExit) -> int:
    """Return the code that Typer leaves with; a reader who has gone (`| head`) is no fault."""
    if isinstance(stop.__context__, BrokenPipeError):
        return _unread()
    return stop.code if isinstance(stop.code, int) else OUR_FAULT


def _unread() -> int:
    # What is still in the buffer goes nowhere, or Python complains of it at the very end.
    os.dup2(os.open(os.devnull, os.O_WRONLY), STANDARD_OUTPUT)
    return 0


def run(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    0 well, 2 the input, 1 our fault, 130 stopped by the keyboard.
    """
    try:
        code = _attempt(sys.argv[1:] if arguments is None else arguments)
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except BrokenPipeError:
        code = _unread()
    except SystemExit as stop:
        code = _left(stop)
    except Exception as unforeseen:  # the last net: a traceback helps no nurse
        if os.environ.get("THALWEG_TRACEBACK"):
            raise
        _complain(
            f"Something went wrong inside Thalweg ({_place(unforeseen)}). Nothing half-written "
            "was kept. Set THALWEG_TRACEBACK=1 and try again to see where."
        )
        code = OUR_FAULT
    if code == INTERRUPTED:
        _complain("Stopped by the keyboard; nothing half-written was kept.")
    sys.exit(code)


if __name__ == "__main__":
    run()
