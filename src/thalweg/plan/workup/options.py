"""Which concepts a diversion's criteria read, and whether the diversion is still in question."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.conditions.form import Asked, Bound
from thalweg.plan.criteria.reaches import Reaches
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterable

    from thalweg.evidence.conditions.form import Condition
    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.appraised import Appraised
    from thalweg.record.case import Case

__all__ = ["facts_read", "in_question", "meant"]


def facts_read(condition: Condition) -> frozenset[str]:
    """Return the concepts whose recorded facts a condition reads itself.

    Those from which a finding or a route is computed are not among them, for which ones they are
    only that computation knows; those that it names as settling it are.
    """
    read: set[str] = set()
    for leaf in condition.leaves():
        match leaf:
            case Bound(of=of) if of is not None:
                read |= {*of.needs, *of.settled_by}
            case Asked():
                read.add(leaf.name)
            case Reaches():
                read |= {"kidneys-present", *leaf.needs}
    return frozenset(read)


def meant(case: Case) -> str | None:
    """Return the key of the diversion that is meant, where it is recorded."""
    return case.word("planned-diversion")[0]


def in_question(
    options: Iterable[str], concepts: Iterable[str], case: Case, appraisal: Appraisal
) -> bool:
    """Return whether any of some diversions is meant, or still open to choice.

    A closed one counts as settled only when a criterion closes it that reads none of `concepts`:
    an item does not stop being asked because its own answer closes what asks it.

    Parameters
    ----------
    options : iterable of str
        Keys of diversions.
    concepts : iterable of str
        Of the item that is asked for them.
    case : Case
    appraisal : Appraisal
    """
    wanted, mine = set(options), frozenset(concepts)
    if meant(case) in wanted:
        return True
    return any(
        not _settled(one, mine) for one in appraisal.diversions if one.diversion.key in wanted
    )


def _settled(one: Appraised, mine: frozenset[str]) -> bool:
    return any(
        weighed.criterion.strength == "required"
        and weighed.truth is Truth.NOT_MET
        and not facts_read(weighed.criterion.holds) & mine
        for weighed in one.weighed
    )
