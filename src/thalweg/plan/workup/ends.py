"""The values that a missing answer could have, as far as they matter to the criteria."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.evidence.conditions.form import Bound
from thalweg.record.concept import concept
from thalweg.record.units import convert

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.plan.catalogue import Catalogue
    from thalweg.plan.workup.rulebook import WorkupRules

__all__ = ["Value", "values_of"]

Value = bool | str | Decimal
BESIDE = 1e-3
"""How far beside a criterion's bound, as a share of the range, its other side is tried."""


def values_of(key: str, rules: WorkupRules, catalogue: Catalogue) -> tuple[Value, ...]:
    """Return the values to try for a concept, in order; none for texts and marks.

    Parameters
    ----------
    key : str
        Of a concept.
    rules : WorkupRules
        Its plausible ends, else the concept's expected range; between them as many values as the
        rules say, by equal factors where the range is positive.
    catalogue : Catalogue
        Each bound that a criterion sets to the quantity is tried, and just beside it both ways.

    Returns
    -------
    tuple of bool, str or Decimal
        Quantities in the concept's own unit.
    """
    row = concept(key)
    if row.kind == "yes-no":
        return (True, False)
    if row.kind == "choice":
        return row.choices
    ends = rules.ends.get(key, row.expected)
    if row.kind != "quantity" or ends is None:
        return ()
    low, high = ends
    spread = np.geomspace if low > 0 else np.linspace
    tried = {float(value) for value in spread(low, high, rules.steps)}
    beside = BESIDE * (high - low)
    for bound in _bounds(key, row.unit or "", row.molar_mass, catalogue):
        tried |= {
            value for value in (bound - beside, bound, bound + beside) if low <= value <= high
        }
    return tuple(Decimal(f"{value:.6g}") for value in sorted(tried))


def _bounds(key: str, unit: str, molar_mass: float | None, catalogue: Catalogue) -> Iterator[float]:
    criteria = {one.key: one for way in catalogue.diversions for one in way.criteria}
    for criterion in criteria.values():
        for leaf in criterion.holds.leaves():
            if isinstance(leaf, Bound) and leaf.of is None and leaf.name == key:
                for limit in leaf.limits:
                    yield convert(limit, leaf.unit, unit, molar_mass=molar_mass)
