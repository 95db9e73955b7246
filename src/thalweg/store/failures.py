"""What the disk or the database refuses, as one sentence."""

from __future__ import annotations

import errno
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from sqlalchemy.exc import DatabaseError, OperationalError

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["failures_said"]

FULL: Final = (errno.ENOSPC, errno.EDQUOT)
SPACE: Final = "free some space and try again"


@contextmanager
def failures_said() -> Iterator[None]:
    """Turn a failure that is the machine's, not ours, into an `InputError`."""
    try:
        yield
    except OSError as error:
        full = error.errno in FULL
        reason = "the disk is full" if full else (error.strerror or "input or output failed")
        raise InputError(
            f"the store cannot be used, nothing was changed: {reason}",
            mend=SPACE if full else "check its folder and permissions",
        ) from error
    except OperationalError as error:
        reason = str(error.orig)
        raise InputError(
            f"the store cannot be used, nothing was changed: {reason}",
            mend=SPACE if "full" in reason else "check its folder and try again",
        ) from error
    except DatabaseError as error:
        if "not a database" not in str(error.orig):
            raise
        raise InputError("the store's database is not one", mend="restore a backup") from error
