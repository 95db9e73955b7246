"""Help that teaches, a help that costs nothing to show, and completion."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import typer
from tests.support.commands import thalweg

from thalweg.cli.main import app

if TYPE_CHECKING:
    from collections.abc import Mapping

HEAVY = (
    "numpy",
    "scipy",
    "matplotlib",
    "pydicom",
    "sqlalchemy",
    "alembic",
    "icalendar",
    "typst",
    "skimage",
    "pint",
)
CONTRACT = (
    "demo",
    "intake",
    "cases",
    "case",
    "trace",
    "reach",
    "kidney",
    "chemistry",
    "fitness",
    "appraise",
    "plan",
    "calendar",
    "verify",
)


def python(code: str) -> str:
    """Return what a Python of its own prints."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout


def installed(arguments: list[str], environment: Mapping[str, str]) -> str:
    """Return what the installed program prints."""
    done = subprocess.run(
        [Path(sys.executable).with_name("thalweg"), *arguments],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, **environment},
    )
    return done.stdout


def commands() -> dict[str, typer.core.TyperCommand]:
    """Return every command by name."""
    root = typer.main.get_command(app)
    return dict(root.commands)  # type: ignore[attr-defined]


def test_the_contract_has_all_its_commands() -> None:
    assert set(CONTRACT) <= set(commands())


@pytest.mark.parametrize("name", CONTRACT)
def test_help_teaches(name: str) -> None:
    ran = thalweg(name, "--help")
    assert ran.code == 0
    assert ran.err == ""
    first = (commands()[name].help or "").splitlines()[0]
    assert len(first.split()) > 5
    assert first.split("`")[0][:40] in " ".join(ran.out.split())
    assert "--json" in ran.out


def test_no_arguments_show_the_help() -> None:
    bare, asked = thalweg(), thalweg("--help")
    assert bare.code == asked.code == 0
    assert bare.out == asked.out
    assert "thalweg demo" in asked.out
    for name in CONTRACT:
        assert name in asked.out


def test_version_is_the_package_s() -> None:
    from importlib.metadata import version

    assert thalweg("--version").out == f"thalweg {version('thalweg')}\n"


@pytest.mark.parametrize(
    "arguments",
    [
        "--help",
        "plan --help",
        "kidney --help",
        "chemistry --help",
        "fitness --help",
        "--version",
    ],
)
def test_help_loads_nothing_heavy(arguments: str) -> None:
    printed = python(
        "import sys\n"
        "from thalweg.cli.main import run\n"
        f"try: run({arguments.split()!r})\n"
        "except SystemExit: pass\n"
        f"print('loaded:', *sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    assert printed.splitlines()[-1] == "loaded:"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_can_be_shown(shell: str) -> None:
    # Which shell runs the tests is not ours to know, so it is named.
    named = {"_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    assert "_THALWEG_COMPLETE" in installed(["--show-completion", shell], named)


def test_completion_completes_commands() -> None:
    asked = {"_THALWEG_COMPLETE": "complete_bash", "COMP_WORDS": "thalweg ca", "COMP_CWORD": "1"}
    assert set(installed([], asked).split()) == {"cases", "case", "calendar"}
