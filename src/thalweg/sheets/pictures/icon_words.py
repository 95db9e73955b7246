"""The English words of arrays of people, by key; a translation brings the same keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.sheets.pictures.shares import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from thalweg.sheets.pictures.shares import Share

__all__ = ["ENGLISH", "english", "in_words"]

ENGLISH: Mapping[str, str] = {
    "icons.title": "How many it happened to",
    "icons.caption": "Published figures of groups; they do not say who will be among them.",
    "icons.sure": "affected, even at the low end of the range",
    "icons.estimate": "affected, by the estimate",
    "icons.maybe": "perhaps affected: at the high end of the range",
    "icons.not": "not affected",
    "icons.said": "{estimate} of {of} {ones}; between {low} and {high}.",
    "icons.said-alone": "{estimate} of {of} {ones}; how far this may be off is not known.",
    "icons.said-below": "Fewer than 1 of {of} {ones}; between {low} and {high}.",
    "icons.said-below-alone": "Fewer than 1 of {of} {ones}; how far this may be off is not known.",
    "icons.behind": "From {people} {ones}.",
    "icons.behind-unknown": "From how many is not known.",
    "icons.unknown": "Not known: no published figure.",
    "icons.ones.patient": "people",
    "icons.ones.renal unit": "kidneys with their ureters",
    "icons.ones.ureter": "ureters",
    "icons.ones.procedure": "procedures",
}


def english(key: str) -> str:
    """Return the English words of a key.

    Raises
    ------
    KeyError
        If there are none.
    """
    return ENGLISH[key]


def in_words(share: Share, of: int, words: Callable[[str], str] = english) -> str:
    """Return a share as whole ones of `of`, its interval and how many are behind it.

    Parameters
    ----------
    share : Share
    of : int
        The denominator.
    words : callable
        Gives the words of a key.
    """
    if share.estimate is None:
        return words("icons.unknown")
    counts = counted(share, of)
    ones = words(f"icons.ones.{share.unit}")
    # Above nought, yet rounded to it: "0 of 100" would read as never.
    below = "-below" if counts.estimate == 0 and share.estimate > 0 else ""
    alone = "" if counts.low is not None else "-alone"
    said = words(f"icons.said{below}{alone}").format(
        estimate=counts.estimate, of=counts.of, ones=ones, low=counts.low, high=counts.high
    )
    if share.people is None:
        return f"{said} {words('icons.behind-unknown')}"
    return f"{said} {words('icons.behind').format(people=f'{share.people:,}', ones=ones)}"
