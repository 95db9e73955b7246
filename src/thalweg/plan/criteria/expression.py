"""The small declarative form in which a criterion says what must hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from thalweg.record.concept import concept
from thalweg.record.units import printed

__all__ = [
    "AllOf",
    "AnyOf",
    "Expression",
    "FindingBound",
    "OneOf",
    "QuantityBound",
    "Reaches",
    "Side",
    "Sites",
    "YesNo",
    "said",
]

Side = Literal["left", "right", "each"]
Sites = Literal["own", "shared", "apart"]


@dataclass(frozen=True, slots=True)
class YesNo:
    """``{ fact = "bowel-disease", is = false }``: a yes-no concept has this value.

    `max_age_days`, here and below, is the age in days beyond which what answers it counts as
    old; None: it does not age.
    """

    concept: str
    expected: bool
    max_age_days: int | None = None


@dataclass(frozen=True, slots=True)
class OneOf:
    """``{ choice = "dexterity", one_of = ["full"] }``: a choice is among these words."""

    concept: str
    words: tuple[str, ...]
    max_age_days: int | None = None


@dataclass(frozen=True, slots=True)
class QuantityBound:
    """``{ quantity = …, at_least = …, at_most = …, unit = … }``: a recorded quantity's bounds.

    `at_least` and `at_most` are in the UCUM code `unit`; None where there is no such bound.
    """

    concept: str
    at_least: float | None
    at_most: float | None
    unit: str
    max_age_days: int | None = None


@dataclass(frozen=True, slots=True)
class FindingBound:
    """``{ finding = …, called = …, at_least = …, unit = … }``: bounds of a computed value.

    Parameters
    ----------
    name : str
        Of the finding.
    called : str
        As a sentence names it, such as ``"GFR"``.
    at_least, at_most : float or None
        In `unit`.
    unit : str
        UCUM code.
    needs : tuple of str
        Concepts that make the finding possible when nobody has computed it.
    settled_by : tuple of str
        Concepts that settle it when its interval lies across a bound.
    close_share : float
        For a value without an interval: how near to a bound, as a share of the bound, counts as
        too near to rely on without saying so.
    """

    name: str
    called: str
    at_least: float | None
    at_most: float | None
    unit: str
    needs: tuple[str, ...]
    settled_by: tuple[str, ...]
    close_share: float = 0.0
    max_age_days: int | None = None


@dataclass(frozen=True, slots=True)
class Reaches:
    """``{ reach = true, side = "each", sites = "shared" }``: ureters reach where they must.

    Parameters
    ----------
    side : "left", "right" or "each"
        Each: every kidney that the person has.
    sites : "own", "shared" or "apart"
        Whether two ureters may end anywhere, must end at one site, or at two different ones.
    needs : tuple of str
        Concepts that, beside the traced ureters, must be marked before reach can be computed.
    """

    side: Side
    sites: Sites
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AllOf:
    """Every part must hold."""

    parts: tuple[Expression, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """At least one part must hold."""

    parts: tuple[Expression, ...]


Expression = YesNo | OneOf | QuantityBound | FindingBound | Reaches | AllOf | AnyOf


def _said_bounds(low: float | None, high: float | None, unit: str) -> str:
    clauses = [f"at least {low:g}"] if low is not None else []
    clauses += [f"at most {high:g}"] if high is not None else []
    return f"{' and '.join(clauses)} {printed(unit)}".rstrip()


_SITES_SAID = {
    "own": "",
    "shared": " at one and the same site",
    "apart": " at two different sites",
}


def said(expression: Expression) -> str:
    """Return the expression as words, for explanations and for what would open an option."""
    match expression:
        case YesNo():
            words = f"'{concept(expression.concept).name}' {'yes' if expression.expected else 'no'}"
        case OneOf():
            words = f"'{concept(expression.concept).name}' {' or '.join(expression.words)}"
        case QuantityBound(at_least=low, at_most=high, unit=unit):
            words = f"{concept(expression.concept).name} {_said_bounds(low, high, unit)}"
        case FindingBound(at_least=low, at_most=high, unit=unit):
            words = f"{expression.called} {_said_bounds(low, high, unit)}"
        case Reaches(side="each"):
            words = f"each ureter reaches{_SITES_SAID[expression.sites]}"
        case Reaches():
            words = f"the {expression.side} ureter reaches"
        case AllOf():
            words = f"({'; and '.join(said(part) for part in expression.parts)})"
        case AnyOf():
            words = f"({'; or '.join(said(part) for part in expression.parts)})"
    return words
