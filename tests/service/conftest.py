"""An empty store, opened once a module and copied for each test."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from thalweg.store import Store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("empty") / "home"
    Store(home).close()
    return home


@pytest.fixture
def inn(tmp_path: Path, empty_home: Path) -> Iterator[Store]:
    shutil.copytree(empty_home, tmp_path / "home")
    with Store(tmp_path / "home") as store:
        yield store
