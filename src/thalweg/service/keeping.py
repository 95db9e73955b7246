"""Open the record, and check that it is whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.progress import silent
from thalweg.store.store import Store
from thalweg.store.verify import verify

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.progress import Progress

__all__ = ["Checked", "check_record", "open_store"]


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
