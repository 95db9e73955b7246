"""Backups: whole, sound and readable by any tar; put back only where nothing is lost."""

from __future__ import annotations

import errno
import io
import os
import shutil
import sqlite3
import subprocess
import tarfile
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from thalweg.errors import InputError
from thalweg.record.case import ImageRecord, Person
from thalweg.record.fact import Fact, Origin
from thalweg.store import NewSeries, Store, backup, digest_files, restore, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PERSON = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")


@pytest.fixture
def worked(tmp_path: Path) -> Iterator[Store]:
    planes = [tmp_path / f"{number}.dcm" for number in range(4)]
    for number, plane in enumerate(planes):
        plane.write_bytes(bytes([number]) * 5000)
    record = ImageRecord("1.2.3", "CT", "2026-03-02", digest_files(planes), "ct", phantom=True)
    fact = Fact("weight", Decimal("72.0"), "kg", date(2026, 3, 2), Origin("by hand"))
    with Store(tmp_path / "home") as store:
        store.record(PERSON, [fact], [NewSeries(record, tuple(planes))])
        yield store


def test_backup_put_back_is_the_same_record(worked: Store, tmp_path: Path) -> None:
    file = tmp_path / "backup.tar"
    made = backup(worked, file)
    assert (made.cases, made.image_files, made.head) == (1, 4, worked.trail()[0].hash)
    assert file.stat().st_mode & 0o077 == 0
    assert restore(file, tmp_path / "again") == made
    case_id = worked.list_cases()[0].id
    with Store(tmp_path / "again") as again:
        assert again.get_case(case_id) == worked.get_case(case_id)
        assert again.head() == made.head
        assert verify(again, head=made.head) == []
    assert (tmp_path / "again").stat().st_mode & 0o077 == 0
    assert worked.trail()[-1].action == "backed up"


def test_any_tar_reads_it(worked: Store, tmp_path: Path) -> None:
    backup(worked, tmp_path / "backup.tar")
    listed = subprocess.run(
        ["tar", "-tf", str(tmp_path / "backup.tar")], check=True, capture_output=True, text=True
    ).stdout.split()
    assert listed[0] == "thalweg.sqlite"
    assert len(listed) == 5


def test_another_database_in_the_environment_is_left_alone(
    worked: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("THALWEG_DATABASE", f"sqlite:///{tmp_path / 'other.sqlite'}")
    backup(worked, tmp_path / "backup.tar")
    assert restore(tmp_path / "backup.tar", tmp_path / "again").cases == 1
    assert not (tmp_path / "other.sqlite").exists()


def test_files_and_folders_in_use_are_left_alone(worked: Store, tmp_path: Path) -> None:
    file = tmp_path / "backup.tar"
    backup(worked, file)
    with pytest.raises(InputError, match="exists already"):
        backup(worked, file)
    with pytest.raises(InputError, match="is in use"):
        restore(file, worked.home)
    with pytest.raises(InputError, match="folder that does not exist"):
        backup(worked, tmp_path / "nowhere" / "backup.tar")


def test_unsound_store_is_not_backed_up(worked: Store, tmp_path: Path) -> None:
    kept = next(path for path in (worked.home / "images").rglob("*") if path.is_file())
    kept.write_bytes(b"another plane")
    with pytest.raises(InputError, match=r"is not sound: Image file .* has been altered"):
        backup(worked, tmp_path / "backup.tar")
    assert not (tmp_path / "backup.tar").exists()


@pytest.mark.parametrize("after", [0, 1])
def test_full_disk_leaves_no_half_backup(
    worked: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    file = tmp_path / "backup.tar"
    if after:
        backup(worked, file)
    before = sorted(tmp_path.iterdir())

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="the disk is full"):
        _ = restore(file, tmp_path / "again") if after else backup(worked, file)
    monkeypatch.undo()
    assert sorted(tmp_path.iterdir()) == before


def cut_short(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-12_000])


def with_one_byte_turned(file: Path) -> None:
    content = bytearray(file.read_bytes())
    content[content.rfind(bytes([3]) * 100)] ^= 1
    file.write_bytes(content)


def with_an_altered_fact(file: Path) -> None:
    folder = file.with_suffix(".d")
    folder.mkdir()
    with tarfile.open(file) as tar:
        for member in tar.getmembers():
            content = tar.extractfile(member)
            assert content is not None
            (folder / member.name).parent.mkdir(parents=True, exist_ok=True)
            (folder / member.name).write_bytes(content.read())
    connection = sqlite3.connect(folder / "thalweg.sqlite")
    connection.execute("UPDATE people SET name = 'Eve'")
    connection.commit()
    connection.close()
    with tarfile.open(file, "w") as tar:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                tar.add(path, path.relative_to(folder).as_posix())
    shutil.rmtree(folder)


def with_a_name_outside(file: Path) -> None:
    with tarfile.open(file, "w") as tar:
        member = tarfile.TarInfo("../escaped")
        member.size = 1
        tar.addfile(member, io.BytesIO(b"x"))


def empty(file: Path) -> None:
    tarfile.open(file, "w").close()


def no_archive(file: Path) -> None:
    file.write_bytes(b"not an archive" * 100)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (cut_short, "is not a whole backup|is gone"),
        (with_one_byte_turned, "is not sound: Image file"),
        (with_an_altered_fact, "is not sound: What audit entry 1 recorded has been altered"),
        (with_a_name_outside, "is not a backup of Thalweg"),
        (empty, "holds no database"),
        (no_archive, "is not a whole backup"),
    ],
)
def test_spoiled_backup_is_refused(worked: Store, tmp_path: Path, spoil: object, said: str) -> None:
    file = tmp_path / "backup.tar"
    backup(worked, file)
    spoil(file)  # type: ignore[operator]
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match=said):
        restore(file, tmp_path / "again")
    assert sorted(tmp_path.iterdir()) == before


def test_no_backup_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gone\.tar: does not exist"):
        restore(tmp_path / "gone.tar", tmp_path / "again")
