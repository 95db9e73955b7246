"""What several tests share: the demonstration and a small case, each built once in a run."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import strict_json, thalweg
from tests.support.once import built_once
from tests.support.smallcase import DAY, write_small_case

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class OnRecord:
    """A case in a store of its own; to be read only.

    Parameters
    ----------
    folder : Path
        The case folder it came from.
    home : Path
        Of the store.
    out : Path
        Its documents.
    case_id : str
    day : str
        To work on, so that tests never age.
    payload : dict
        What the command that made the documents printed as JSON.
    """

    folder: Path
    home: Path
    out: Path
    case_id: str
    day: str
    payload: dict[str, Any]

    @property
    def where(self) -> tuple[str, ...]:
        """Options that name the store and the day."""
        return ("--home", str(self.home), "--on", self.day)

    def document(self, kind: str) -> Path:
        """Return the plan as ``html`` or ``pdf``."""
        return self.out / f"plan-{self.case_id}.{kind}"


def _demonstrate(folder: Path) -> None:
    done = thalweg("demo", "--out", folder / "demo", "--json")
    assert done.code == 0, done.err
    folder.joinpath("demo.json").write_text(done.out, encoding="utf-8")


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> OnRecord:
    """Return the whole demonstration, done once in a run."""
    folder = built_once(tmp_path_factory, "demonstration", _demonstrate)
    payload = strict_json(folder.joinpath("demo.json").read_text(encoding="utf-8"))
    out = folder / "demo"
    return OnRecord(
        out / "case", out / "record", out / "documents", payload["case"], payload["on"], payload
    )


def _plan_small(folder: Path) -> None:
    write_small_case(folder / "in")
    home, day = folder / "home", DAY.isoformat()
    taken = thalweg("intake", folder / "in", "--home", home, "--on", day, "--json").json
    planned = thalweg(
        "plan", taken["case"], "--home", home, "--on", day, "--out", folder / "out", "--json"
    )
    assert planned.code == 0, planned.err
    folder.joinpath("plan.json").write_text(planned.out, encoding="utf-8")


@pytest.fixture(scope="session")
def small_once(tmp_path_factory: pytest.TempPathFactory) -> OnRecord:
    """Return a small case with its plan; the same for all tests, so only to be read."""
    folder = built_once(tmp_path_factory, "small-case", _plan_small)
    payload = strict_json(folder.joinpath("plan.json").read_text(encoding="utf-8"))
    out = folder / "out"
    return OnRecord(folder / "in", folder / "home", out, payload["case"], DAY.isoformat(), payload)


@pytest.fixture
def small(small_once: OnRecord, tmp_path: Path) -> OnRecord:
    """Return the small case in a store of this test's own, to be changed at will."""
    home = tmp_path / "home"
    shutil.copytree(small_once.home, home)
    return OnRecord(
        small_once.folder,
        home,
        tmp_path / "out",
        small_once.case_id,
        small_once.day,
        small_once.payload,
    )
