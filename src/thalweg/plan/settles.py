"""Which missing fact would take the appraisal furthest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.record.concept import concept

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Settler", "ranked"]


@dataclass(frozen=True, slots=True)
class Settler:
    """A fact nobody has recorded, and the options that wait for it.

    Parameters
    ----------
    concept : str
        Key of the concept to record.
    alone : tuple of str
        Diversions for which nothing else is missing.
    waiting : tuple of str
        Every diversion that it would help to decide, those among them.
    """

    concept: str
    alone: tuple[str, ...]
    waiting: tuple[str, ...]

    @property
    def name(self) -> str:
        """The concept as people call it."""
        return concept(self.concept).name


def ranked(missing: Mapping[str, tuple[str, ...]]) -> tuple[Settler, ...]:
    """Return the missing facts, the one that settles most options first.

    Parameters
    ----------
    missing : mapping
        For each undecided diversion, the concepts that its undecided requirements wait for.

    Returns
    -------
    tuple of Settler
        By the number of options that the fact would settle by itself, then by the number that
        wait for it at all, then in the order in which the catalogue asks.
    """
    order = list(dict.fromkeys(key for keys in missing.values() for key in keys))
    settlers = [
        Settler(
            key,
            tuple(option for option, keys in missing.items() if set(keys) == {key}),
            tuple(option for option, keys in missing.items() if key in keys),
        )
        for key in order
    ]
    return tuple(sorted(settlers, key=lambda one: (-len(one.alone), -len(one.waiting))))
