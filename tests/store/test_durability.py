"""What was acknowledged is there after `kill -9`; two processes write one after the other."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from textwrap import dedent
from typing import TYPE_CHECKING

from thalweg.store import Store, verify

if TYPE_CHECKING:
    from pathlib import Path

PREAMBLE = dedent(
    """
    import sys, time
    from datetime import date
    from decimal import Decimal
    from pathlib import Path
    from thalweg.record.case import ImageRecord, Person
    from thalweg.record.fact import Fact, Origin
    from thalweg.store import NewSeries, Store, digest_files

    home, name = Path(sys.argv[1]), sys.argv[2]
    person = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")

    def fact(number):
        return Fact("weight", Decimal(number), "kg", date(2026, 3, 2), Origin(name))
    """
)


def start(home: Path, name: str, script: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", PREAMBLE + dedent(script), str(home), name],
        stdout=subprocess.PIPE,
        text=True,
    )


def test_acknowledged_writes_survive_kill_9(tmp_path: Path) -> None:
    script = """
        store = Store(home)
        for number in range(1, 10_000):
            store.record(person, [fact(number)])
            print(number, flush=True)
    """
    with start(tmp_path, "writer", script) as process:
        assert process.stdout is not None
        acknowledged = 0
        while acknowledged < 5:
            acknowledged = int(process.stdout.readline())
        os.kill(process.pid, signal.SIGKILL)
        acknowledged = max([acknowledged, *map(int, process.stdout.read().split())])
        assert process.wait() == -signal.SIGKILL
    with Store(tmp_path) as store:
        (case,) = store.list_cases()
        kept = {int(str(each.value)) for each in store.get_case(case.id).facts}
        assert kept >= set(range(1, acknowledged + 1))
        assert verify(store) == []


def test_killed_while_copying_leaves_no_half_case(tmp_path: Path) -> None:
    script = """
        import os
        folder = home.parent / "ct"
        folder.mkdir()
        paths = [folder / f"{n}.dcm" for n in range(8)]
        for n, path in enumerate(paths):
            path.write_bytes(bytes([n]) * 100_000)
        record = ImageRecord("1.2.3", "CT", "", digest_files(paths), "ct", True)

        def progress(label, done, total):
            if label == "keeping images" and done == 4:
                print("half way", flush=True)
                time.sleep(60)

        Store(home).record(person, [fact(72)], [NewSeries(record, tuple(paths))], progress=progress)
    """
    home = tmp_path / "home"
    with start(home, "writer", script) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "half way\n"
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    with Store(home) as store:
        assert store.list_cases() == ()
        assert store.trail() == ()
        (problem,) = verify(store)
        assert "4 image file(s) belong to no series" in problem


def test_two_processes_open_and_write_at_once(tmp_path: Path) -> None:
    script = """
        while not (home / "go").exists():
            time.sleep(0.005)
        start = 1 if name == "one" else 101
        with Store(home) as store:
            for number in range(start, start + 25):
                store.record(person, [fact(number), fact(500)])
    """
    processes = [start(tmp_path, name, script) for name in ("one", "two")]
    (tmp_path / "go").touch()
    assert [process.wait(timeout=120) for process in processes] == [0, 0]
    for process in processes:
        assert process.stdout is not None
        process.stdout.close()
    with Store(tmp_path) as store:
        (case,) = store.list_cases()
        assert case.facts == 51
        assert len(store.trail()) == 50
        assert verify(store) == []
