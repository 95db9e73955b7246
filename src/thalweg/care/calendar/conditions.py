"""What the rules of the calendar ask about a person, and what the record says to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.record.case import Case

__all__ = ["CONDITIONS", "DIVERSIONS", "conditions_of", "implied_by"]

DIVERSIONS = (
    "cutaneous-single",
    "cutaneous-bilateral",
    "cutaneous-double-barrel",
    "transuretero-cutaneous",
    "ileal-conduit",
    "colon-conduit",
    "continent-pouch",
    "neobladder",
    "suprapubic-cystostomy",
    "nephrostomy",
    "cutaneous-loop",
    "jejunal-conduit",
    "ureterosigmoidostomy",
)

# Condition: what it means in words, and the concept that settles it.
CONDITIONS: Mapping[str, tuple[str, str]] = {
    "bladder-cancer": ("the operation was for bladder cancer", "indication"),
    "other-cancer": ("the operation was for another pelvic cancer", "indication"),
    "bowel-used": ("bowel is in the urinary tract", "bowel-in-urinary-tract"),
    "urethra-kept": ("the urethra was left in place", "urethra-kept"),
    "urethral-recurrence-risk-high": (
        "the risk of recurrence in the urethra is high",
        "urethral-recurrence-risk-high",
    ),
    "stents-in": ("ureteral stents are in place", "stents-in"),
}

_BOWEL = frozenset(
    {
        "ileal-conduit",
        "colon-conduit",
        "continent-pouch",
        "neobladder",
        "jejunal-conduit",
        "ureterosigmoidostomy",
    }
)


def implied_by(diversion: str) -> dict[str, Truth]:
    """Return the conditions that a diversion settles by what it is."""
    implied = {}
    if diversion in _BOWEL:
        implied["bowel-used"] = Truth.MET
    if diversion == "neobladder":
        implied["urethra-kept"] = Truth.MET
    return implied


def conditions_of(case: Case, diversion: str) -> dict[str, Truth]:
    """Return every condition's truth as the record and the diversion settle it."""
    indication, _ = case.word("indication")
    stated = indication is not None
    truths = {
        "bladder-cancer": Truth.of(indication == "bladder cancer" if stated else None),
        "other-cancer": Truth.of(indication == "other pelvic cancer" if stated else None),
    }
    for condition, (_, key) in CONDITIONS.items():
        if condition not in truths:
            truths[condition] = case.truth(key)[0]
    return {**truths, **implied_by(diversion)}
