"""The publications that methods, criteria and schedules rest on.

Entries live in ``data/bibliography/*.toml``, one table per key. `read` says honestly how the
figures taken from an entry were checked: ``"text"`` (the passage was read), ``"abstract"``,
``"secondary"`` (seen quoted elsewhere), ``"memory"`` (not re-read: verify before relying on it).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal, get_args

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Reading", "Reference", "bibliography", "cite"]

Reading = Literal["text", "abstract", "secondary", "memory"]


@dataclass(frozen=True, slots=True)
class Reference:
    """One entry of the bibliography.

    Parameters
    ----------
    key : str
        Lower-case words joined by hyphens, such as ``"inker-2021"``.
    authors, title, where : str
        As cited; `where` is journal, volume and pages, or publisher.
    year : int
        Of publication.
    read : "text", "abstract", "secondary" or "memory"
        How the figures taken from it were checked.
    doi : str
        Digital object identifier, or empty.
    note : str
        What a reader should know, such as an error in the printed text.
    """

    key: str
    authors: str
    title: str
    where: str
    year: int
    read: Reading
    doi: str = ""
    note: str = ""

    def __str__(self) -> str:
        return f"{self.authors}. {self.title}. {self.where}, {self.year}"


@cache
def bibliography() -> Mapping[str, Reference]:
    """Return every reference by its key.

    Raises
    ------
    ValueError
        If a key stands twice or an entry lacks a part: a fault of the packaged data.
    """
    found: dict[str, Reference] = {}
    folder = files("thalweg.evidence").joinpath("data/bibliography")
    for page in sorted(folder.iterdir(), key=lambda path: path.name):
        if not page.name.endswith(".toml"):
            continue
        for key, row in tomllib.loads(page.read_text(encoding="utf-8")).items():
            if key in found:
                msg = f"bibliography key {key!r} stands twice"
                raise ValueError(msg)
            if row["read"] not in get_args(Reading):
                msg = f"bibliography entry {key!r}: read = {row['read']!r} is not one of ours"
                raise ValueError(msg)
            found[key] = Reference(key=key, **row)
    return found


def cite(key: str) -> str:
    """Return the citation of a bibliography key, saying so where it was not re-read."""
    reference = bibliography()[key]
    caveat = " (figures from memory: verify)" if reference.read == "memory" else ""
    return f"{reference}{caveat}"
