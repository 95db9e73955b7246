"""Run the command line as a user would, and read what it says."""

from __future__ import annotations

import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date, datetime
from io import StringIO
from typing import Any, NoReturn

import pytest

from thalweg.cli.main import run

SHAPE: dict[str, type | tuple[type, ...]] = {
    "name": str,
    "value": (float, int, str, type(None)),
    "unit": (str, type(None)),
    "interval": (list, type(None)),
    "method": str,
    "source": str,
    "facts": list,
    "cautions": list,
    "date": str,
}
"""Every finding of every command has these, of these kinds."""


def _refuse(constant: str) -> NoReturn:
    msg = f"{constant} is not JSON (RFC 8259 section 6)"
    raise AssertionError(msg)


def strict_json(text: str) -> Any:
    """Return what JSON text says; NaN and Infinity are not JSON."""
    return json.loads(text, parse_constant=_refuse)


@dataclass(frozen=True)
class Ran:
    """One command's exit code and output."""

    code: object
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it printed, which must be one JSON value and nothing else."""
        assert self.code == 0, self.err
        return strict_json(self.out)

    def refusal(self, *secrets: str) -> str:
        """Return the one line it was refused with, checked for form and discretion."""
        assert self.code == 2, (self.code, self.out, self.err)
        # Aloud, it may have said what it was doing; it must not have said any result.
        assert all(line.endswith(" …") for line in self.out.splitlines()), self.out
        (line,) = self.err.splitlines()
        assert line.startswith("thalweg: ")
        assert line.endswith((".", "more problems found.)")), line
        assert "Traceback" not in line
        assert not [secret for secret in secrets if secret in line]
        return line


def thalweg(*arguments: object) -> Ran:
    """Run one command in this process."""
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        run([str(each) for each in arguments])
    return Ran(left.value.code, out.getvalue(), err.getvalue())


def checked_findings(findings: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return findings by name, having checked that each is whole."""
    assert findings
    for finding in findings:
        for key, kind in SHAPE.items():
            assert isinstance(finding[key], kind), (finding["name"], key)
        assert finding["method"]
        assert finding["source"]
        # A date or a date and time, as ISO 8601 writes them.
        (datetime if "T" in finding["date"] else date).fromisoformat(finding["date"])
        if isinstance(finding["value"], (int, float)):
            assert finding["unit"], finding["name"]
        if finding["interval"] is not None:
            low, high = finding["interval"]
            assert low <= finding["value"] <= high, finding["name"]
        if finding["value"] is None:
            assert finding["missing"] or finding["cautions"], finding["name"]
    return {finding["name"]: finding for finding in findings}
