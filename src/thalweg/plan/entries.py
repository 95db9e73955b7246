"""The entries of the catalogue: criteria and diversions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from thalweg.evidence.conditions.form import Condition
    from thalweg.plan.burdens import Burden
    from thalweg.plan.requirements import Exemption

__all__ = ["Ages", "Criterion", "Diversion", "People", "Standing", "Strength"]

Strength = Literal["required", "caution"]
Ages = Literal["any", "adults"]
Standing = Literal["usual", "last resort", "historical"]
People = Literal["adults", "children"]


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing that must hold for a diversion.

    Parameters
    ----------
    key : str
        Lower-case words joined by hyphens.
    sentence : str
        What must hold, as a person reads it.
    strength : "required" or "caution"
        Not met closes the option, or leaves it open with caution.
    holds : Condition
        The same in the form that is judged.
    sources : tuple of str
        Bibliography keys.
    note : str
        Where the published sources differ or need reading with care; may be empty.
    opens : str
        What would change it, where that is more than the fact itself; may be empty.
    local_source : str
        The unit's own source where its protocol replaced ours, else empty.
    domains : tuple of str
        What it asks about.
    ages : "any" or "adults"
        Adults: published for them alone, so that of a child it is not known whether it holds.
    """

    key: str
    sentence: str
    strength: Strength
    holds: Condition
    sources: tuple[str, ...]
    note: str
    opens: str
    local_source: str
    domains: tuple[str, ...] = ()
    ages: Ages = "any"


@dataclass(frozen=True, slots=True)
class Diversion:
    """One way to divert urine.

    Parameters
    ----------
    key, name, description : str
        For programs, for headings, and one plain paragraph.
    bowel : str
        The segment it uses, or empty.
    bowel_length_cm : tuple of float or None
        Usual length of that segment, cm, least and most.
    tubes : str
        Stents or catheters that it relies on, or empty.
    daily : tuple of Burden
        What daily life with it asks of the person.
    metabolic : str
        What the segment does to blood chemistry.
    follow_up : tuple of str
        What it commits the service to.
    criteria : tuple of Criterion
        In the order in which they are shown.
    sources : tuple of str
        Bibliography keys of the description.
    local_source : str
        As for a criterion.
    standing : "usual", "last resort" or "historical"
    standing_note : str
        Why it is not usual; empty where it is.
    published_for : "adults" or "children"
        In whom it was described.
    exemptions : tuple of Exemption
        Why it asks nothing of some domains.
    reach_as : str
        Key of the diversion whose routes its reach is judged on, beside its own; may be empty.
    """

    key: str
    name: str
    description: str
    bowel: str
    bowel_length_cm: tuple[float, float] | None
    tubes: str
    daily: tuple[Burden, ...]
    metabolic: str
    follow_up: tuple[str, ...]
    criteria: tuple[Criterion, ...]
    sources: tuple[str, ...]
    local_source: str
    standing: Standing = "usual"
    standing_note: str = ""
    published_for: People = "adults"
    exemptions: tuple[Exemption, ...] = ()
    reach_as: str = ""

    @property
    def titled(self) -> str:
        """Its name, with its standing where that is not usual: as a page lists it."""
        return self.name if self.standing == "usual" else f"{self.name} ({self.standing})"

    @property
    def burdens(self) -> tuple[str, ...]:
        """What daily life with it asks, in words."""
        return tuple(one.says for one in self.daily)

    @property
    def reach_keys(self) -> tuple[str, ...]:
        """Keys of the diversions whose routes its reach is judged on."""
        return (self.key, self.reach_as) if self.reach_as else (self.key,)
