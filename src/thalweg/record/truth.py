"""Three-valued truth: met, not met, not known (Kleene's strong logic)."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Truth", "all_of", "any_of"]


class Truth(Enum):
    """What is known of a statement; deliberately without a Boolean value of its own."""

    MET = "met"
    NOT_MET = "not met"
    NOT_KNOWN = "not known"

    @classmethod
    def of(cls, value: bool | None) -> Truth:
        """Return the truth of a Boolean, None meaning that nobody has said."""
        if value is None:
            return cls.NOT_KNOWN
        return cls.MET if value else cls.NOT_MET

    def __invert__(self) -> Truth:
        return _NEGATION[self]

    def __and__(self, other: Truth) -> Truth:
        return all_of((self, other))

    def __or__(self, other: Truth) -> Truth:
        return any_of((self, other))

    def __bool__(self) -> bool:
        # `if criterion:` would read "not known" as true or false without anybody having said so.
        msg = "a three-valued truth is not true or false: compare it with Truth.MET"
        raise TypeError(msg)


_NEGATION = {
    Truth.MET: Truth.NOT_MET,
    Truth.NOT_MET: Truth.MET,
    Truth.NOT_KNOWN: Truth.NOT_KNOWN,
}


def all_of(truths: Iterable[Truth]) -> Truth:
    """Return MET when all are met, NOT_MET when any is not met, else NOT_KNOWN.

    An empty collection is MET, as for `all`. Source: Kleene SC. Introduction to
    Metamathematics, 1952, section 64 (strong tables).
    """
    seen = set(truths)
    if Truth.NOT_MET in seen:
        return Truth.NOT_MET
    return Truth.NOT_KNOWN if Truth.NOT_KNOWN in seen else Truth.MET


def any_of(truths: Iterable[Truth]) -> Truth:
    """Return MET when any is met, NOT_MET when none can be, else NOT_KNOWN.

    An empty collection is NOT_MET, as for `any`. Source: as for `all_of`.
    """
    return ~all_of(~truth for truth in truths)
