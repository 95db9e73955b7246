"""A safe copy of the whole store in one file, and putting it back.

The file is a plain tar archive: the database as ``thalweg.sqlite``, every image file beside it.
It holds everything about everybody and is not encrypted: keep it where the store itself may be.
"""

from __future__ import annotations

import os
import re
import shutil
import tarfile
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.progress import Progress, silent
from thalweg.store.dialect import sqlite_url
from thalweg.store.failures import failures_said
from thalweg.store.store import DATABASE, Store
from thalweg.store.verify import verify

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Backup", "backup", "restore"]

_MEMBER: Final = re.compile(rf"{re.escape(DATABASE)}|images/[0-9a-f]{{2}}/[0-9a-f]{{64}}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds.

    Parameters
    ----------
    cases, image_files : int
        How many.
    head : str
        Hash of its newest audit entry: kept elsewhere, it shows later that nothing was cut off.
    """

    cases: int
    image_files: int
    head: str


def backup(store: Store, target: Path, *, progress: Progress = silent) -> Backup:
    """Write everything to one new file; work may go on meanwhile.

    Parameters
    ----------
    store : Store
        With the database in its own folder.
    target : Path
        Must not exist; it appears only once it is whole.

    Raises
    ------
    InputError
        If the file exists, the store is not sound, or the disk is full.
    """
    if target.exists() or not target.parent.is_dir():
        what = "exists already" if target.exists() else "lies in a folder that does not exist"
        raise InputError(what, where=str(target), mend="name a new file in an existing folder")
    with failures_said(), TemporaryDirectory(prefix=".thalweg-", dir=target.parent) as work:
        copy = Path(work) / "home"
        copy.mkdir()
        store.copy_database(copy / DATABASE)
        (copy / "images").symlink_to((store.home / "images").resolve())
        with _opened(copy) as copied:
            _require_sound(copied, str(store.home), progress)
            paths = sorted(set(copied.all_image_files()))
            made = Backup(len(copied.list_cases()), len(paths), copied.head())
        archive = Path(work) / "archive"
        with archive.open("xb") as file:
            os.fchmod(file.fileno(), 0o600)
            with tarfile.open(fileobj=file, mode="w", format=tarfile.PAX_FORMAT) as tar:
                tar.add(copy / DATABASE, DATABASE, filter=_nameless)
                for done, path in enumerate(paths, start=1):
                    tar.add(path, f"images/{path.name[:2]}/{path.name}", filter=_nameless)
                    progress("copying images", done, len(paths))
            file.flush()
            os.fsync(file.fileno())
        archive.replace(target)
    store.note("backed up", head=made.head)
    return made


def restore(source: Path, home: Path, *, progress: Progress = silent) -> Backup:
    """Put a backup into a new data folder, once it has been found sound.

    Parameters
    ----------
    source : Path
        Made by `backup`.
    home : Path
        Must be empty or not exist: a store in use is never overwritten.

    Raises
    ------
    InputError
        If the folder is in use, or the file is not a whole and sound backup.
    """
    if home.exists() and (not home.is_dir() or any(home.iterdir())):
        raise InputError("is in use", where=str(home), mend="name an empty folder")
    if not source.is_file():
        raise InputError("does not exist", where=str(source), mend="check the file's name")
    with failures_said():
        home.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(prefix=".thalweg-", dir=home.parent) as work:
            copy = Path(work) / "home"
            (copy / "images").mkdir(mode=0o700, parents=True)
            copy.chmod(0o700)
            count = sum(1 for _ in _unpacked(source, copy, progress)) - 1
            if not (copy / DATABASE).is_file():
                raise InputError("holds no database", where=source.name, mend=_ANOTHER)
            with _opened(copy) as restored:
                _require_sound(restored, source.name, progress)
                made = Backup(len(restored.list_cases()), count, restored.head())
            copy.replace(home)
    return made


_ANOTHER: Final = "use another backup"


def _unpacked(source: Path, target: Path, progress: Progress) -> Iterator[Path]:
    """Unpack an archive, yielding each file; names other than ours are refused."""
    try:
        with tarfile.open(source, mode="r:") as tar:
            for done, member in enumerate(tar, start=1):
                content = tar.extractfile(member)
                if content is None or not _MEMBER.fullmatch(member.name):
                    raise InputError("is not a backup of Thalweg", where=source.name, mend=_ANOTHER)
                path = target / member.name
                path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                with path.open("xb") as file:
                    os.fchmod(file.fileno(), 0o600)
                    shutil.copyfileobj(content, file)
                    file.flush()
                    os.fsync(file.fileno())
                progress("unpacking", done, done)
                yield path
    except (tarfile.TarError, EOFError) as error:
        raise InputError("is not a whole backup", where=source.name, mend=_ANOTHER) from error


def _opened(home: Path) -> Store:
    """Open the database in this very folder, whatever the environment names."""
    return Store(home, url=sqlite_url(home / DATABASE))


def _require_sound(store: Store, where: str, progress: Progress) -> None:
    problems = [
        each for each in verify(store, progress=progress) if "belong to no series" not in each
    ]
    if problems:
        raise InputError(
            f"is not sound: {problems[0].rstrip('.')} ({len(problems)} problem(s) in all)",
            where=where,
            mend="see 'thalweg verify'; use another backup",
        )


def _nameless(member: tarfile.TarInfo) -> tarfile.TarInfo:
    """Leave out whose files they were on this machine."""
    member.uid = member.gid = 0
    member.uname = member.gname = ""
    member.mode = 0o600
    return member
