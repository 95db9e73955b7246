"""What must be marked and measured before reach can be computed, and what of it is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.plan.criteria.reaches import Reaches
from thalweg.plan.workup.rulebook import IMAGES
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from thalweg.plan.catalogue import Diversion
    from thalweg.plan.criteria.reaches import RouteSummary
    from thalweg.plan.workup.rulebook import Item
    from thalweg.record.case import Case

__all__ = ["held_tokens", "tokens_of", "wanted_tokens"]

SIDES = ("left", "right")
ALIKE = {f"ureter-course-{side}": f"ureter-{side}" for side in SIDES}
"""A course placed by hand serves as one that is traced."""


def tokens_of(item: Item) -> frozenset[str]:
    """Return what doing an item would give to the computation of reach."""
    # A part that something else may answer too, as a wall's thickness on record does in place of
    # images, does not bring the images.
    single = [{ALIKE.get(key, key) for key in part} for part in item.parts]
    told = {key for part in single if len(part) == 1 for key in part}
    marks = {"stoma-site", "conduit-base", IMAGES}
    marks |= {f"{what}-{side}" for what in ("ureter", "lower-pole") for side in SIDES}
    return frozenset(told & marks)


def held_tokens(case: Case, measured: Collection[str]) -> frozenset[str]:
    """Return what is there already.

    A marked ureter counts when it was measured, or when only the images are missing on which it
    could be: marks that the images refused must be set anew.

    Parameters
    ----------
    case : Case
    measured : collection of str
        What was measured on the images.
    """
    imaged = any(one.is_volume for one in case.images)
    held = {IMAGES} if imaged else set()
    for side in SIDES:
        marked = any(case.series(key) for key in (f"ureter-{side}", f"ureter-course-{side}"))
        if f"ureter-{side}" in measured or (marked and not imaged):
            held.add(f"ureter-{side}")
    places = ("stoma-site", "conduit-base", *(f"lower-pole-{side}" for side in SIDES))
    return frozenset(held | {key for key in places if case.series(key)})


def wanted_tokens(way: Diversion, case: Case, routes: Iterable[RouteSummary]) -> frozenset[str]:
    """Return what the reach of a diversion is computed from; empty where it already is.

    Parameters
    ----------
    way : Diversion
    case : Case
    routes : iterable of RouteSummary
        Those computed.
    """
    wanted: set[str] = set()
    routed = {route.side for route in routes if route.diversion in way.reach_keys}
    for criterion in way.criteria:
        for leaf in criterion.holds.leaves():
            if not isinstance(leaf, Reaches):
                continue
            asked = SIDES if leaf.side == "each" else (leaf.side,)
            sides = [s for s in asked if s not in routed and _present(s, case) is not Truth.NOT_MET]
            if sides:
                wanted |= {IMAGES, *(leaf.needs or ("stoma-site",))}
                wanted |= {f"{what}-{side}" for what in ("ureter", "lower-pole") for side in sides}
    return frozenset(wanted)


def _present(side: str, case: Case) -> Truth:
    word, _ = case.word("kidneys-present")
    return Truth.of(None if word is None else word in ("both", f"{side} only"))
