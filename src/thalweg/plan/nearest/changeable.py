"""Whether what closes an option can change, read from data."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.protocol import merged
from thalweg.plan.entries_reading import read_sources

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["CHANGEABLE_TABLE", "Can", "Changeable", "changeable"]

Can = Literal["changeable", "treatable", "not changeable", "not judged"]
CHANGEABLE_TABLE = "changeable"
"""Name of the unit's own table."""


@dataclass(frozen=True, slots=True)
class Changeable:
    """Whether one thing can change.

    Parameters
    ----------
    key : str
        A concept, the name of a finding, or "reach".
    can : "changeable", "treatable", "not changeable" or "not judged"
        The last where the table has no row for it.
    how : str
        A clause: what would change it, or why nothing does.
    sources : tuple of str
        Bibliography keys.
    local_source : str
        The unit's own source where its protocol replaced ours.
    """

    key: str
    can: Can
    how: str
    sources: tuple[str, ...]
    local_source: str = ""

    @classmethod
    def unjudged(cls, key: str) -> Changeable:
        """Return the row of what no table speaks of."""
        return cls(key, "not judged", "whether it can change is for the team to say", ())


@cache
def _packaged() -> Mapping[str, Mapping[str, Any]]:
    text = files("thalweg.plan").joinpath("data/changeable.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def changeable(theirs: Mapping[str, Any] | None = None) -> Mapping[str, Changeable]:
    """Return what is said of each thing that can close an option.

    Parameters
    ----------
    theirs : mapping, optional
        A unit's parsed ``changeable.toml``.

    Raises
    ------
    InputError
        If a row of the unit's is not of its form.
    """
    rules = merged(CHANGEABLE_TABLE, _packaged(), theirs or {})
    return {key: _read(key, row, own=key in rules.replaced) for key, row in rules.rows.items()}


def _read(key: str, row: Mapping[str, Any], *, own: bool) -> Changeable:
    where = f"changeable.toml, [{key}]"
    words = get_args(Can)[:3]
    if row.get("can") not in words:
        raise InputError(
            f"can = {row.get('can')!r}", where=where, mend=f"write one of {', '.join(words)}"
        )
    how = row.get("how")
    if not isinstance(how, str) or not how.strip():
        raise InputError("'how' is missing", where=where, mend='add how = "…"')
    sources, local = read_sources(row, own=own)
    return Changeable(key, cast("Can", row["can"]), how.strip(), sources, local)
