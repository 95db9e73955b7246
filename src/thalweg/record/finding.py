"""A finding: something computed, that can always say how and from what."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from thalweg.record.fact import say_moment
from thalweg.record.truth import Truth
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from thalweg.record.fact import Fact, Moment
    from thalweg.record.method import Method

__all__ = ["Finding", "FindingValue"]

FindingValue = float | str | Truth | None


@dataclass(frozen=True, slots=True)
class Finding:
    """A value reached by a method from facts and other findings.

    Parameters
    ----------
    name : str
        What it is, in lower-case words joined by hyphens; stable, for programs.
    title : str
        What it is, for people.
    value : float, str, Truth or None
        None when it cannot be reached; `missing` then says what would settle it.
    unit : str or None
        UCUM code; ``"1"`` for a bare ratio or count, None for words.
    at : date or aware datetime
        The moment the value speaks of: that of the youngest fact used.
    method : Method
        How it was reached.
    facts, findings : tuple
        What it was reached from.
    interval : tuple of float, optional
        95 % interval in `unit`.
    cautions : tuple of str
        Sentences beyond those of the method.
    missing : tuple of str
        Keys of the concepts that would settle an unreached value.
    digits : int
        Decimals that a page shows; the value itself is never rounded.
    """

    name: str
    title: str
    value: FindingValue
    unit: str | None
    at: Moment
    method: Method
    facts: tuple[Fact, ...] = ()
    findings: tuple[Finding, ...] = ()
    interval: tuple[float, float] | None = None
    cautions: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    digits: int = 1

    def __post_init__(self) -> None:
        if isinstance(self.value, float) and self.unit is None:
            msg = f"the finding {self.name!r} has a number without a unit"
            raise ValueError(msg)
        if self.value is None and not self.missing and not self.cautions:
            msg = f"the finding {self.name!r} is not known and does not say why"
            raise ValueError(msg)

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """Own cautions, the method's, and what is questioned about the facts, each once."""
        questioned = [question for fact in self.all_facts for question in fact.questions]
        below = [caution for finding in self.findings for caution in finding.all_cautions]
        return tuple(dict.fromkeys([*self.cautions, *self.method.cautions, *questioned, *below]))

    @property
    def all_facts(self) -> tuple[Fact, ...]:
        """Every fact it rests on, through all the findings below it, each once."""
        below = [fact for finding in self.findings for fact in finding.all_facts]
        return tuple({fact.id: fact for fact in [*self.facts, *below]}.values())

    def with_cautions(self, cautions: Iterable[str]) -> Finding:
        """Return the same finding with further cautions."""
        return replace(self, cautions=tuple(dict.fromkeys([*self.cautions, *cautions])))

    def shown(self) -> str:
        """Return value, unit and interval as a page prints them."""
        if self.value is None:
            return "not known"
        if isinstance(self.value, Truth):
            return self.value.value
        if isinstance(self.value, str):
            return self.value
        unit = printed(self.unit) if self.unit else ""
        text = f"{self.value:.{self.digits}f}"
        if self.interval is not None:
            low, high = (f"{bound:.{self.digits}f}" for bound in self.interval)
            text += f" ({low} to {high})"
        return f"{text} {unit}".strip()

    def to_json(self, cite: Callable[[str], str] = str) -> dict[str, Any]:
        """Return the finding in the shape that every command's ``--json`` shares.

        Parameters
        ----------
        cite : callable
            Turns a bibliography key into a citation.
        """
        value = self.value.value if isinstance(self.value, Truth) else self.value
        return {
            "name": self.name,
            "title": self.title,
            "value": value,
            "unit": self.unit,
            "interval": list(self.interval) if self.interval else None,
            "date": self.at.isoformat(),
            "method": self.method.key,
            "formula": self.method.formula,
            "valid_for": self.method.valid_for,
            "source": "; ".join(cite(key) for key in self.method.sources),
            "facts": [fact.to_json() for fact in self.all_facts],
            "from": [finding.name for finding in self.findings],
            "missing": list(self.missing),
            "cautions": list(self.all_cautions),
        }

    def __str__(self) -> str:
        return f"{self.title}: {self.shown()} ({say_moment(self.at)})"
