"""Image files by the hash of their content: ``images/ab/ab12…``, whole or not there at all."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

__all__ = ["ImageFiles", "digest_files"]

CHUNK: Final = 1 << 20


def digest_files(paths: Sequence[Path], *, progress: Progress = silent) -> tuple[str, ...]:
    """Return the SHA-256 of each file, in hexadecimal.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    digests = []
    for done, path in enumerate(paths, start=1):
        try:
            with path.open("rb") as file:
                digests.append(hashlib.file_digest(file, "sha256").hexdigest())
        except OSError as error:
            raise _unreadable(path, error) from error
        progress("hashing images", done, len(paths))
    return tuple(digests)


def _unreadable(path: Path, error: OSError) -> InputError:
    return InputError(
        f"cannot be read ({error.strerror or 'input failed'})",
        where=path.name,
        mend="check the file and its permissions",
    )


@dataclass(slots=True)
class ImageFiles:
    """The folder of image files, and what one transaction has added to it.

    Parameters
    ----------
    root : Path
        Created on first use.
    """

    root: Path
    _added: list[Path] = field(default_factory=list)

    def path(self, digest: str) -> Path:
        """Return where the file with this content lies, whether or not it is there."""
        return self.root / digest[:2] / digest

    def keep(
        self, sources: Sequence[Path], digests: Sequence[str], *, progress: Progress = silent
    ) -> None:
        """Copy files in, each synced to the disk before it gets its name.

        The caller holds the store's write lock, so nobody else adds or relies on a file
        meanwhile, and calls `undo` before letting go of it if the transaction fails.

        Raises
        ------
        InputError
            If a source cannot be read or is not what it was when it was hashed.
        OSError
            If the disk does not take it.
        """
        self._clear_leftovers()
        folders = {self.root}
        for done, (source, digest) in enumerate(zip(sources, digests, strict=True), start=1):
            final = self.path(digest)
            if not final.exists():
                final.parent.mkdir(parents=True, exist_ok=True)
                temporary = self._temporary / digest
                self._added.append(temporary)
                _copy(source, temporary, digest)
                self._added.append(final)
                temporary.replace(final)
                folders.add(final.parent)
            progress("keeping images", done, len(digests))
        for folder in folders:
            _sync_folder(folder)

    def undo(self) -> None:
        """Remove what `keep` has added."""
        for path in self._added:
            path.unlink(missing_ok=True)
        self._added.clear()

    def listed(self) -> Iterator[Path]:
        """Yield every file that is there, leftovers of an interrupted copy included."""
        if self.root.is_dir():
            yield from (path for path in sorted(self.root.rglob("*")) if path.is_file())

    @property
    def _temporary(self) -> Path:
        return self.root / "incoming"

    def _clear_leftovers(self) -> None:
        # Whoever holds the write lock is alone: what lies here was left by a killed process.
        self.root.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._temporary.mkdir(exist_ok=True)
        for leftover in self._temporary.iterdir():
            leftover.unlink()


def _copy(source: Path, target: Path, digest: str) -> None:
    seen = hashlib.sha256()
    try:
        reading = source.open("rb")
    except OSError as error:
        raise _unreadable(source, error) from error
    with reading, target.open("wb") as writing:
        while chunk := reading.read(CHUNK):
            seen.update(chunk)
            writing.write(chunk)
        writing.flush()
        os.fsync(writing.fileno())
    if seen.hexdigest() != digest:
        raise InputError("changed while it was read", where=source.name, mend="try again")


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
