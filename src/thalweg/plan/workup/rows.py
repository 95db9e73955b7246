"""Read one row of ``workup.toml``, saying where it is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.conditions.reading import parse
from thalweg.plan.entries_reading import read_sources
from thalweg.record.concept import concept

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from thalweg.evidence.conditions.form import Condition

__all__ = ["Row"]


@dataclass(frozen=True)
class Row:
    """One table of the rules.

    Parameters
    ----------
    part, key : str
        ``[part.key]``.
    table : mapping
    own : bool
        Whether it comes from the unit's own protocol.
    """

    part: str
    key: str
    table: Mapping[str, Any]
    own: bool

    @property
    def where(self) -> str:
        """Where it stands, for sentences."""
        return f"workup.toml, [{self.part}.{self.key}]"

    def fault(self, what: str, mend: str) -> InputError:
        """Return the error that says what is wrong with it."""
        return InputError(what, where=self.where, mend=mend)

    def only(self, *names: str) -> None:
        """Refuse a name that such a row does not have.

        Raises
        ------
        InputError
            If there is one.
        """
        strange = sorted(set(self.table) - {*names, "source"})
        if strange:
            raise self.fault(
                f"{', '.join(strange)} does not belong here", f"it takes {', '.join(names)}"
            )

    def text(self, name: str, *, needed: bool = True) -> str:
        """Return a text; empty where it may be and is missing."""
        value = self.table.get(name, "")
        if not isinstance(value, str) or (needed and not value.strip()):
            raise self.fault(f"{name!r} is missing or no text", f'add {name} = "…"')
        return value.strip()

    def word(self, name: str, among: Collection[str], *, needed: bool = True) -> str:
        """Return a text that must be among some."""
        value = self.text(name, needed=needed)
        if value and value not in among:
            raise self.fault(f"{name} = {value!r}", f"choose {' or '.join(among)}")
        return value

    def words(self, name: str) -> tuple[str, ...]:
        """Return a list of texts, empty where it is missing."""
        value = self.table.get(name, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            raise self.fault(f"{name!r} is not a list of words", f'write {name} = ["…"]')
        return tuple(value)

    def concepts(self, name: str) -> tuple[str, ...]:
        """Return a list of concepts' keys."""
        return tuple(self.concept(key) for key in self.words(name))

    def concept(self, key: str) -> str:
        """Return the key of a concept that exists."""
        try:
            return concept(key).key
        except InputError as error:
            raise error.at(self.where) from None

    def number(self, name: str) -> float | None:
        """Return a number of at least 0, or None where it is missing."""
        value = self.table.get(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            raise self.fault(f"{name} = {value!r} is not a number of at least 0", f"{name} = 90")
        return float(value)

    def days(self, name: str) -> int | None:
        """Return a whole number of days, or None where it is missing."""
        value = self.number(name)
        if value is not None and value != int(value):
            raise self.fault(f"{name} = {value!r} is not whole days", f"write {name} = 90")
        return None if value is None else int(value)

    def flag(self, name: str, *, otherwise: bool) -> bool:
        """Return true or false."""
        value = self.table.get(name, otherwise)
        if not isinstance(value, bool):
            raise self.fault(f"{name} = {value!r}", f"write {name} = true or false")
        return value

    def condition(self, name: str) -> Condition | None:
        """Return a condition, or None where it is missing."""
        if name not in self.table:
            return None
        try:
            return parse(self.table[name])
        except InputError as error:
            raise error.at(self.where) from None

    @property
    def sources(self) -> tuple[tuple[str, ...], str]:
        """Bibliography keys, and the words in which a unit names its own source."""
        return read_sources(self.table, own=self.own)
