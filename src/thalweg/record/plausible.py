"""Impossible values are refused, unlikely ones questioned; the likely mix-up is suggested."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.errors import ImplausibleValueError, UnitError
from thalweg.record.units import convert, printed

if TYPE_CHECKING:
    from thalweg.record.concept import Concept

__all__ = ["canonical", "questions_about"]

EQUIVALENTS = ("meq/L",)
"""Units that count charges, not particles."""

_SLIPS = (Decimal(10), Decimal(100), Decimal(1000))


def canonical(concept: Concept, value: Decimal | float, unit: str) -> float:
    """Return a quantity in the concept's own unit.

    Raises
    ------
    UnitError
        If the concept does not accept `unit`.
    """
    if unit not in concept.units or concept.unit is None:
        accepted = ", ".join(printed(code) or code for code in concept.units)
        raise UnitError(
            f"{concept.name} cannot be in {printed(unit) or unit}",
            mend=f"give it in {accepted or 'no unit'}",
        )
    own = convert(value, unit, concept.unit, molar_mass=concept.molar_mass)
    # 1 mmol of an ion of charge 2 is 2 meq; the table of units knows single charges only.
    return own / concept.charge if unit in EQUIVALENTS and unit != concept.unit else own


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= value <= bounds[1]


def _mix_up(concept: Concept, value: Decimal, unit: str) -> str:
    """Return a clause naming the mistake that would explain the value, or an empty one."""
    assert concept.expected is not None  # noqa: S101 - callers have checked
    for other in concept.units:
        if other != unit and _within(canonical(concept, value, other), concept.expected):
            return f"{value} would be ordinary in {printed(other)}: was that the unit?"
    for slip in _SLIPS:
        for moved in (value / slip, value * slip):
            if _within(canonical(concept, moved, unit), concept.expected):
                shown = f"{moved.normalize():f}"
                return f"was it {shown} {printed(unit)}, a slip of the decimal point?"
    return ""


def questions_about(concept: Concept, value: Decimal, unit: str) -> tuple[str, ...]:
    """Refuse an impossible quantity; return the questions an unlikely one raises.

    Parameters
    ----------
    concept : Concept
        A quantity.
    value : Decimal
        In `unit`, as given.
    unit : str
        UCUM code.

    Returns
    -------
    tuple of str
        Sentences; empty for an ordinary value.

    Raises
    ------
    UnitError
        If the concept does not accept the unit.
    ImplausibleValueError
        If no living person can have the value.
    """
    if not value.is_finite():
        raise ImplausibleValueError(f"{concept.name} {value} is not a number", mend="correct it")
    own = canonical(concept, value, unit)
    shown = f"{concept.name} of {value} {printed(unit)}"
    if concept.possible is not None and not _within(own, concept.possible):
        low, high = concept.possible
        guess = _mix_up(concept, value, unit) if concept.expected else ""
        raise ImplausibleValueError(
            f"{shown} is impossible (a living person has {low:g} to {high:g} "
            f"{printed(concept.unit or unit)})",
            mend=(guess.rstrip("?") + "? Correct it at its source") if guess else "correct it",
        )
    if concept.expected is not None and not _within(own, concept.expected):
        guess = _mix_up(concept, value, unit)
        return ((f"{shown} is unlikely: {guess}" if guess else f"{shown} is unlikely."),)
    return ()
