"""The audit trail: who did what and when, each entry sealed by the hash of the one before.

An entry's hash is SHA-256 over its canonical text: JSON with sorted keys, no white space, UTF-8,
and nothing in it but strings, lists and mappings of strings (so that no two ways of writing a
number exist). `detail` names ids only, never a value that was recorded; under ``rows`` it seals
the rows recorded with it. A chain shows that nothing inside it was altered; that its end was not
cut off shows only a head hash kept elsewhere.
"""

from __future__ import annotations

import getpass
import hashlib
import json
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from sqlalchemy import insert, select

from thalweg.store.schema import audit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from sqlalchemy import Connection, RowMapping

__all__ = [
    "GENESIS",
    "Entry",
    "Sealed",
    "append",
    "broken_links",
    "entries",
    "head",
    "seal",
    "user",
]

GENESIS: Final = "0" * 64
"""What the first entry names as its predecessor."""

Sealed = str | None | list["Sealed"] | dict[str, "Sealed"]
"""What may be sealed."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the trail.

    Parameters
    ----------
    seq : int
        From 1, without gaps.
    at : str
        ISO 8601 in UTC.
    who : str
        User of the operating system.
    action : str
        Such as ``"recorded"``.
    detail : mapping of str
        Ids of case, facts and series; the seal of the rows.
    previous, hash : str
        Seals of the entry before and of this one.
    """

    seq: int
    at: str
    who: str
    action: str
    detail: Mapping[str, Sealed]
    previous: str
    hash: str

    def sealed(self) -> str:
        """Return the hash that this entry ought to have."""
        return seal(
            {
                "seq": str(self.seq),
                "at": self.at,
                "who": self.who,
                "action": self.action,
                "detail": dict(self.detail),
                "previous": self.previous,
            }
        )


def seal(content: Sealed) -> str:
    """Return the SHA-256 of the canonical text of `content`."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def user() -> str:
    """Return the name of the operating system's user, or its number where it has no name."""
    try:
        import pwd  # noqa: PLC0415 - not on every system

        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return f"uid {os.getuid()}"
    except ImportError:
        return getpass.getuser()


def append(
    connection: Connection, *, at: datetime, who: str, action: str, detail: Mapping[str, Sealed]
) -> Entry:
    """Add an entry; the caller holds the write lock."""
    last = _last(connection)
    seq, previous = (last.seq + 1, last.hash) if last else (1, GENESIS)
    draft = Entry(seq, at.isoformat(), who, action, detail, previous, "")
    entry = Entry(seq, draft.at, who, action, detail, previous, draft.sealed())
    connection.execute(
        insert(audit).values(
            seq=seq,
            at=entry.at,
            who=who,
            action=action,
            detail=json.dumps(dict(detail), sort_keys=True),
            previous=previous,
            hash=entry.hash,
        )
    )
    return entry


def entries(connection: Connection) -> Iterable[Entry]:
    """Return the whole trail, oldest first."""
    return (
        _entry(row) for row in connection.execute(select(audit).order_by(audit.c.seq)).mappings()
    )


def head(connection: Connection) -> str:
    """Return the hash of the newest entry; `GENESIS` while there is none."""
    last = _last(connection)
    return last.hash if last else GENESIS


def broken_links(trail: Sequence[Entry]) -> list[str]:
    """Return a sentence for every entry that is missing, altered or out of order."""
    problems = []
    previous = GENESIS
    for expected, entry in enumerate(trail, start=1):
        if entry.seq != expected:
            problems.append(f"Audit entry {expected} is missing; entry {entry.seq} stands there.")
            return problems
        if entry.previous != previous:
            problems.append(f"Audit entry {entry.seq} does not follow from the one before it.")
        if entry.sealed() != entry.hash:
            problems.append(f"Audit entry {entry.seq} has been altered.")
        previous = entry.hash
    return problems


def _last(connection: Connection) -> Entry | None:
    newest = select(audit).order_by(audit.c.seq.desc()).limit(1)
    row = connection.execute(newest).mappings().first()
    return _entry(row) if row else None


def _entry(row: RowMapping) -> Entry:
    return Entry(
        seq=row["seq"],
        at=row["at"],
        who=row["who"],
        action=row["action"],
        detail=json.loads(row["detail"]),
        previous=row["previous"],
        hash=row["hash"],
    )
