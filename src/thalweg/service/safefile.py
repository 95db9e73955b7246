"""Write files whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["cannot_write", "replace_file", "replace_files"]


def cannot_write(path: Path, error: OSError) -> InputError:
    """Return what to tell the user of a place that could not be written."""
    full = error.errno == errno.ENOSPC
    return InputError(
        "the disk is full" if full else f"cannot be written ({error.strerror})",
        where=str(path),
        mend="make room and try again" if full else "choose another place",
    )


def replace_file(path: Path, content: bytes) -> None:
    """Put `content` at `path`, in place of what was there, or leave everything as it was.

    Raises
    ------
    InputError
        If the disk is full or the place cannot be written.
    """
    replace_files({path: content})


def replace_files(contents: Mapping[Path, bytes]) -> None:
    """Put files that belong together in their places; if one cannot be written, none is.

    Parameters
    ----------
    contents : mapping of Path to bytes

    Raises
    ------
    InputError
        If the disk is full or a place cannot be written.
    """
    staged: dict[Path, Path] = {}
    path = Path()
    try:
        for path, content in contents.items():
            staged[path] = _staged(path, content)
        for path, temporary in staged.items():
            temporary.replace(path)
    except OSError as error:
        raise cannot_write(path, error) from error
    finally:
        for temporary in staged.values():
            temporary.unlink(missing_ok=True)


def _staged(path: Path, content: bytes) -> Path:
    """Return a file beside `path` that holds the content, safely on disk."""
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
        temporary = Path(file.name)
        try:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            temporary.unlink()
            raise
    # The maker of temporary files keeps them private; a document is as open as the user's
    # other files.
    mask = os.umask(0)
    os.umask(mask)
    temporary.chmod(0o666 & ~mask)
    return temporary
