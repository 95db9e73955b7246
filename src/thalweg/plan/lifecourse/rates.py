"""What the simulation needs to know of an option and of a person; nothing is filled in by zero."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from thalweg.plan.lifecourse.shape import EVEN, Shape

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.evidence.lifetables import LifeTable
    from thalweg.plan.lifecourse.quantity import Quantity

__all__ = [
    "Burden",
    "EarlyEvent",
    "Excess",
    "GfrChange",
    "LateEvent",
    "OptionRates",
    "Rates",
    "Start",
    "Tube",
]


@dataclass(frozen=True, slots=True)
class EarlyEvent:
    """Something that happens within the first days, or not.

    Parameters
    ----------
    key, name : str
        For programs and for people.
    share : Quantity
        Of people to whom it happens, 0 to 1.
    """

    key: str
    name: str
    share: Quantity


@dataclass(frozen=True, slots=True)
class LateEvent:
    """Something that may happen for as long as the person lives.

    Parameters
    ----------
    key, name : str
        For programs and for people.
    rate : Quantity
        Times `shape` it is the hazard; with the even shape, events per year per person (or per
        renal unit).
    again : bool
        It can come more than once.
    per_unit : bool
        The rate is that of one renal unit, not of a person.
    with_tube : bool
        It can only happen while a tube is in.
    shape : Shape
        How the hazard is spread over the years.
    """

    key: str
    name: str
    rate: Quantity
    again: bool = False
    per_unit: bool = False
    with_tube: bool = False
    shape: Shape = EVEN


@dataclass(frozen=True, slots=True)
class Burden:
    """A part of a total, such as the nights that infections bring.

    Parameters
    ----------
    event : str
        Key of the event; ``"operation"`` for the operation itself.
    name : str
        For people.
    each : Quantity
        Operations, nights or mL/min/1.73 m² for each time the event happens.
    """

    event: str
    name: str
    each: Quantity


@dataclass(frozen=True, slots=True)
class Tube:
    """Tubes that drain the kidneys: at first, always, or from some day on.

    Parameters
    ----------
    first_days : Quantity or None
        Days that every unit's tube stays after the operation; None: none is left.
    always : bool
        A tube stays for life.
    kept : LateEvent or None
        From this event on, a unit keeps a tube.
    every_weeks : Quantity or None
        Between changes of a tube that stays.
    per_unit : bool
        Each renal unit has a tube of its own.
    """

    first_days: Quantity | None = None
    always: bool = False
    kept: LateEvent | None = None
    every_weeks: Quantity | None = None
    per_unit: bool = True


@dataclass(frozen=True, slots=True)
class GfrChange:
    """What an operation does to the filtration rate beyond the person's own course.

    Parameters
    ----------
    percent : Quantity
        Change over `years`, %; not above 0: a rise is not counted.
    years : float
        Over which it spreads evenly; afterwards nothing more.
    """

    percent: Quantity
    years: float


@dataclass(frozen=True, slots=True)
class OptionRates:
    """What is known of one diversion.

    Parameters
    ----------
    key, name : str
        Of the catalogue.
    death : EarlyEvent or None
        Death from any cause within `death_days`; None: not known.
    death_days : float
        Days; during them the life table does not apply.
    early : tuple of EarlyEvent
    late : tuple of LateEvent
    operations, nights : tuple of Burden or None
        Parts of further operations and of nights in hospital; None: nothing is known of them.
    falls : tuple of Burden
        What events take from the filtration rate.
    tube : Tube or None
        None: not known whether and for how long a tube stays.
    bags : int or None
        Bags worn day and night; None: not known.
    lost_unit : LateEvent or None
        A kidney lost for function, by renal unit; None: not known.
    gfr_change : GfrChange or None
        None: not known.
    unknown : mapping
        Sentence by what is not known, such as ``"operations"`` or ``"nights"``: what is missing
        from a figure, or why it is not known at all.
    says : tuple of str
        Cautions on this option's figures.
    """

    key: str
    name: str
    death: EarlyEvent | None = None
    death_days: float = 90.0
    early: tuple[EarlyEvent, ...] = ()
    late: tuple[LateEvent, ...] = ()
    operations: tuple[Burden, ...] | None = None
    nights: tuple[Burden, ...] | None = None
    falls: tuple[Burden, ...] = ()
    tube: Tube | None = None
    bags: int | None = None
    lost_unit: LateEvent | None = None
    gfr_change: GfrChange | None = None
    unknown: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Excess:
    """Deaths beyond those of the life table.

    Parameters
    ----------
    key, name : str
        For programs and for people.
    per_year : Quantity
        Deaths per year of life, beyond the table's.
    until_years : float
        From the operation on; none is counted later.
    """

    key: str
    name: str
    per_year: Quantity
    until_years: float


@dataclass(frozen=True, slots=True)
class Start:
    """The person, on the day of the operation.

    Parameters
    ----------
    age : float
        Years.
    table : LifeTable
        Deaths without regard to any illness.
    units : int
        Kidneys that drain: 1 or 2.
    first_share : Quantity
        Part of the filtration that the first of two does, above 0 and below 1.
    gfr : Quantity or None
        mL/min per 1.73 m²; None: not known.
    gfr_per_year : Quantity or None
        Its own course, mL/min per 1.73 m² a year; a rise is not carried on. None: not known.
    compensation : Quantity
        Part by which a remaining kidney does more once the other is lost, at least 0.
    excess : tuple of Excess
        Deaths from illness, where facts on record give them.
    """

    age: float
    table: LifeTable
    units: Literal[1, 2]
    first_share: Quantity
    gfr: Quantity | None
    gfr_per_year: Quantity | None
    compensation: Quantity
    excess: tuple[Excess, ...] = ()


@dataclass(frozen=True, slots=True)
class Rates:
    """Everything the simulation rests on besides the person.

    Parameters
    ----------
    options : tuple of OptionRates
        In the order of the pages.
    failure_gfr : float
        Below it the kidneys are called failed, mL/min per 1.73 m².
    notices : tuple of str
        Which rates the unit's own protocol replaced.
    """

    options: tuple[OptionRates, ...]
    failure_gfr: float = 15.0
    notices: tuple[str, ...] = ()
