"""The last net: whatever happens, one line, the right exit code, and nothing about a person."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import pytest
from tests.support.commands import strict_json, thalweg

from thalweg.errors import ThalwegError

if TYPE_CHECKING:
    from collections.abc import Callable

PROGRAM = Path(sys.executable).with_name("thalweg")
KIDNEY = ("kidney", "--age", "50", "--sex", "female", "--creatinine", "1.0mg/dL")


def raising(error: BaseException) -> Callable[..., NoReturn]:
    """Return what raises an error whatever it is called with."""

    def fail(*_: object, **__: object) -> NoReturn:
        raise error

    return fail


@pytest.mark.parametrize(
    ("error", "said", "code"),
    [
        (RuntimeError("Ben Sample, born 1950-01-02"), "Something went wrong inside Thalweg", 1),
        (ThalwegError("The rules contradict each other."), "a fault of Thalweg", 1),
        (KeyboardInterrupt(), "Stopped by the keyboard", 130),
    ],
)
def test_our_fault_is_one_line(
    monkeypatch: pytest.MonkeyPatch, error: BaseException, said: str, code: int
) -> None:
    monkeypatch.delenv("THALWEG_TRACEBACK", raising=False)
    monkeypatch.setattr("thalweg.service.kidney.kidney_of_values", raising(error))
    ran = thalweg(*KIDNEY)
    (line,) = ran.err.splitlines()
    assert ran.code == code
    assert ran.out == ""
    assert said in line
    assert not {word for word in ("Ben", "Sample", "1950", "Traceback") if word in line}


def test_the_place_of_a_fault_can_be_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("THALWEG_TRACEBACK", "1")
    monkeypatch.setattr("thalweg.service.kidney.kidney_of_values", raising(RuntimeError("here")))
    with pytest.raises(RuntimeError, match="here"):
        thalweg(*KIDNEY)


def test_a_sentence_of_several_lines_becomes_one(tmp_path: Path) -> None:
    line = thalweg("case", "no\nsuch", "--home", tmp_path).refusal()
    assert "'no" in line


def test_the_installed_program_prints_json_and_nothing_else() -> None:
    done = subprocess.run([PROGRAM, *KIDNEY, "--json"], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert strict_json(done.stdout)["findings"]


def test_the_installed_program_refuses_in_one_line() -> None:
    done = subprocess.run(
        [PROGRAM, *KIDNEY[:-1], "1.0"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("arguments", [(*KIDNEY, "--json"), ("--version",)])
def test_a_reader_who_has_gone_is_no_fault(arguments: tuple[str, ...]) -> None:
    # As in `thalweg kidney … | head -0`.
    with subprocess.Popen(
        [PROGRAM, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        assert (process.wait(), said) == (0, "")


def test_a_day_beyond_any_calendar_is_refused(tmp_path: Path) -> None:
    line = thalweg("cases", "--home", tmp_path, "--on", "9999-12-31").refusal()
    assert "9999" in line
    assert "between 1900 and 2200" in line
