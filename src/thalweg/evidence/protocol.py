"""Rules kept as data, and a unit's own protocol in place of ours, key by key.

Criteria, schedules, thresholds and default doubts are TOML tables packaged beside the floor that
uses them. A unit may put a file of the same name in its protocol folder: each key there takes
the place of ours, and every document says which.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Rules", "merged"]


@dataclass(frozen=True, slots=True)
class Rules:
    """A table of rules by key, and which keys the unit's own protocol replaced.

    Parameters
    ----------
    name : str
        Of the table, such as ``"calendar"``.
    rows : mapping
        Rule by key.
    replaced : tuple of str
        Keys that came from the unit's protocol.
    """

    name: str
    rows: Mapping[str, Mapping[str, Any]]
    replaced: tuple[str, ...] = ()

    @property
    def notice(self) -> str:
        """A sentence for the page when the unit's protocol replaced ours, else empty."""
        if not self.replaced:
            return ""
        return f"This unit's own protocol is used for {self.name}: {', '.join(self.replaced)}."


def merged(
    name: str, ours: Mapping[str, Mapping[str, Any]], theirs: Mapping[str, Mapping[str, Any]]
) -> Rules:
    """Return our rules with the unit's put in their place, key by key.

    Raises
    ------
    InputError
        If a rule of the unit is not a table, or names no source.
    """
    for key, row in theirs.items():
        if not isinstance(row, dict):
            raise InputError(
                f"{key!r} is not a table", where=f"protocol {name}.toml", mend=f"write [{key}]"
            )
        if not row.get("source"):
            raise InputError(
                f"the rule {key!r} names no source",
                where=f"protocol {name}.toml",
                mend='add source = "…", such as the local guideline and its date',
            )
    return Rules(name, {**ours, **theirs}, tuple(theirs))
