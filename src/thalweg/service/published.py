"""What the plan says of what was published after each diversion that is not closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.pool_groups import pool_rules
from thalweg.evidence.pooling import METHODS_TABLE, pool_settings, published_pools
from thalweg.evidence.series import published
from thalweg.plan.catalogue import catalogue
from thalweg.record.case import age_in_years
from thalweg.sheets.plan.published import PlannedPublished

if TYPE_CHECKING:
    from thalweg.service.protocol import Protocol
    from thalweg.service.workup import Workup

__all__ = ["own_pooling_rules", "planned_published"]


def own_pooling_rules(protocol: Protocol) -> tuple[str, ...]:
    """Return which rules of pooling the unit's own protocol replaced."""
    said = (
        pool_rules(protocol.table("pooling")).notice,
        pool_settings(protocol.table(METHODS_TABLE)).notice,
    )
    return tuple(one for one in said if one)


def planned_published(workup: Workup, protocol: Protocol) -> tuple[PlannedPublished, ...]:
    """Return the pools of each diversion that is not closed, of people of the person's age group.

    Diversions that publications do not tell apart, and whose pools are therefore the same, stand
    together.

    Parameters
    ----------
    workup : Workup
    protocol : Protocol
        The unit's own rules, and its own outcomes, which are held against the published.
    """
    least = catalogue(protocol.table("catalogue")).adult_from_years
    adult = age_in_years(workup.case.person.born, workup.at) >= least
    rules = pool_rules(protocol.table("pooling"))
    settings = pool_settings(protocol.table(METHODS_TABLE))
    rows = published(population="adult" if adult else "child")
    own = tuple(one for one in protocol.series if (one.population == "adult") == adult)
    found: dict[object, PlannedPublished] = {}
    for row in workup.appraisal.diversions:
        if row.verdict == "closed":
            continue
        pools = published_pools(
            rows, diversion=row.diversion.key, own=own, rules=rules, settings=settings
        )
        same = tuple((one.key, one.rows, one.own) for one in pools)
        names = found[same].names if same and same in found else ()
        key: object = same or row.diversion.key
        found[key] = PlannedPublished((*names, row.diversion.name), pools)
    return tuple(found.values())
