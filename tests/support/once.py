"""Build what is dear to build once in a run of the tests, however many workers it has."""

from __future__ import annotations

import fcntl
import os
import shutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest


def built_once(factory: pytest.TempPathFactory, name: str, build: Callable[[Path], object]) -> Path:
    """Return a folder of the run that `build` has filled, by this worker or by another.

    The lock is the system's own, so that a worker that dies lets go of it.
    """
    base = factory.getbasetemp()
    # With workers, each has a folder below the run's own; without, the folder is the run's own.
    run = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    done = run / f"{name}.done"
    with run.joinpath(f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            folder = run / name
            # What a build left that failed elsewhere would hide why it fails here.
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            build(folder)
            done.touch()
    return run / name
