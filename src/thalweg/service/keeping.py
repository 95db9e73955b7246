"""Open the record, and check that it is whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.progress import silent
from thalweg.store.backup import Backup, backup, restore
from thalweg.store.store import Store, default_home
from thalweg.store.verify import verify

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.progress import Progress

__all__ = ["Checked", "check_record", "kept_safe", "open_store", "put_back", "withdraw"]


def open_store(home: Path | None) -> Store:
    """Return the store in a folder, or in the user's own where None is given; use it in `with`."""
    return Store(home)


@dataclass(frozen=True, slots=True)
class Checked:
    """What checking the record found.

    Parameters
    ----------
    entries : int
        Of the audit trail.
    head : str
        Hash of its last entry: kept elsewhere, it shows a trail that was cut short.
    problems : tuple of str
        Empty when the record is whole.
    """

    entries: int
    head: str
    problems: tuple[str, ...]

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        if self.problems:
            return [f"! {problem}" for problem in self.problems]
        return [f"The record is whole: {self.entries} entries, head {self.head}."]

    def to_json(self) -> dict[str, Any]:
        """Return the check for programs."""
        return {"entries": self.entries, "head": self.head, "problems": list(self.problems)}


def check_record(store: Store, *, progress: Progress = silent) -> Checked:
    """Recompute the audit trail's chain and the hash of every stored image."""
    problems = tuple(verify(store, progress=progress))
    return Checked(len(store.trail()), store.head(), problems)


def _told(made: Backup) -> dict[str, Any]:
    return {"cases": made.cases, "image_files": made.image_files, "head": made.head}


def kept_safe(store: Store, target: Path, *, progress: Progress = silent) -> dict[str, Any]:
    """Write the whole record to one new file, found sound before it is written.

    Raises
    ------
    InputError
        If the file exists, the record is not whole, or the disk is full.
    """
    return {"file": str(target), **_told(backup(store, target, progress=progress))}


def put_back(source: Path, home: Path | None, *, progress: Progress = silent) -> dict[str, Any]:
    """Put a safe copy into an empty data folder; a record in use is never overwritten.

    Raises
    ------
    InputError
        If the folder is in use, or the file is not a whole and sound copy.
    """
    place = home or default_home()
    return {"home": str(place), **_told(restore(source, place, progress=progress))}


def withdraw(store: Store, case_id: str, fact_id: str, reason: str) -> dict[str, Any]:
    """Declare a fact wrong: it stays on record with the reason, and is used no more.

    Raises
    ------
    InputError
        If there is no such case or fact, or no reason is given.
    """
    store.withdraw(case_id, fact_id, reason)
    return {"case": case_id, "withdrawn": fact_id, "reason": reason}
