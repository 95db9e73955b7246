"""Write a file whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path

from thalweg.errors import InputError

__all__ = ["replace_file"]


def replace_file(path: Path, content: bytes) -> None:
    """Put `content` at `path`, in place of what was there, or leave everything as it was.

    Raises
    ------
    InputError
        If the disk is full or the place cannot be written.
    """
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            temporary = Path(file.name)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # The maker of temporary files keeps them private; a document is as open as the user's
        # other files.
        mask = os.umask(0)
        os.umask(mask)
        temporary.chmod(0o666 & ~mask)
        temporary.replace(path)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        full = error.errno == errno.ENOSPC
        raise InputError(
            "the disk is full" if full else f"cannot be written ({error.strerror})",
            where=str(path),
            mend="make room and try again" if full else "choose another place",
        ) from error
