"""Running each contender of a benchmark in a process of its own, with its time and memory."""

from __future__ import annotations

import datetime
import json
import os
import resource
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["answered", "measured", "raced", "setting"]

Figures = dict[str, float]


def measured(work: Callable[[], float]) -> Figures:
    """Do some work once; return its answer, seconds, and peak memory above what was held before.

    The answer stands under ``"answer"``, wall and CPU seconds under ``"wall"`` and ``"cpu"``
    (those of child processes that ended are counted as CPU too), mebibytes under ``"mb"``.
    """
    before = _resident_mb()
    wall, cpu = time.perf_counter(), _cpu_s()
    answer = work()
    wall, cpu = time.perf_counter() - wall, _cpu_s() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"answer": answer, "wall": wall, "cpu": cpu, "mb": peak - before}


def answered(figures: Figures) -> None:
    """Hand the figures to the process that asked for them."""
    print(json.dumps(figures))


def raced(script: str, words: Sequence[str], repeat: int, name: str) -> Figures:
    """Return the quickest of several runs of a script, each in its own process.

    A child inherits its parent's peak memory: the parent must not have held anything large.
    """
    runs = []
    for _ in range(repeat):
        done = subprocess.run(
            [sys.executable, script, *words], capture_output=True, text=True, check=False
        )
        if done.returncode:
            last = (done.stderr.strip().splitlines() or [f"ended with {done.returncode}"])[-1]
            raise SystemExit(f"{name}: {last}")
        runs.append(json.loads(done.stdout.strip().splitlines()[-1]))
    return min(runs, key=lambda run: float(run["wall"]))


def setting(packages: Sequence[str], repeat: int) -> str:
    """Return in one line the day, the machine's load and the versions that figures hold for."""
    today = datetime.datetime.now(tz=datetime.UTC).date()
    known = ", ".join(f"{name} {version(name)}" for name in packages)
    return (
        f"{today}; best of {repeat}; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before "
        f"the start; Python {sys.version.split()[0]}, {known}"
    )


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 2**20


def _cpu_s() -> float:
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime
