"""The domains that every diversion must answer, by a criterion or by saying why it asks nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from thalweg.plan.entries import Criterion, Diversion

__all__ = [
    "DOMAINS",
    "REQUIRED_DOMAINS",
    "Exemption",
    "Requirement",
    "requirements_of",
    "unknown_domains",
]

REQUIRED_DOMAINS = (
    "renal units",
    "ureters",
    "kidney function",
    "liver",
    "bowel",
    "radiation field",
    "urethra",
    "hands",
    "understanding",
    "support at home",
    "life expectancy",
)
"""What every diversion of the packaged catalogue must answer."""
DOMAINS = (
    *REQUIRED_DOMAINS,
    *("fitness", "wishes", "intent", "age", "bladder", "outlet", "tumour", "upper tract"),
    *("bleeding", "earlier operations"),
)


@dataclass(frozen=True, slots=True)
class Exemption:
    """Why a diversion asks nothing of a domain.

    Parameters
    ----------
    key : str
    domains : tuple of str
    sentence : str
    sources : tuple of str
        Bibliography keys.
    local_source : str
        As for a criterion.
    """

    key: str
    domains: tuple[str, ...]
    sentence: str
    sources: tuple[str, ...]
    local_source: str = ""


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a diversion asks of one domain: its criteria, or why there is none."""

    domain: str
    criteria: tuple[Criterion, ...]
    exemptions: tuple[Exemption, ...]

    @property
    def answered(self) -> bool:
        """Whether the catalogue says anything of the domain."""
        return bool(self.criteria or self.exemptions)

    def to_json(self, cite: Callable[[str], str]) -> dict[str, Any]:
        """Return it for programs."""
        return {
            "domain": self.domain,
            "criteria": [one.key for one in self.criteria],
            "nothing_because": [
                {
                    "sentence": one.sentence,
                    "source": one.local_source or "; ".join(cite(key) for key in one.sources),
                }
                for one in self.exemptions
            ],
        }


def requirements_of(diversion: Diversion) -> tuple[Requirement, ...]:
    """Return what a diversion asks of each domain, those every diversion answers first.

    Parameters
    ----------
    diversion : Diversion
    """
    found = (
        Requirement(
            domain,
            tuple(one for one in diversion.criteria if domain in one.domains),
            tuple(one for one in diversion.exemptions if domain in one.domains),
        )
        for domain in DOMAINS
    )
    return tuple(one for one in found if one.answered or one.domain in REQUIRED_DOMAINS)


def unknown_domains(domains: Iterable[str]) -> tuple[str, ...]:
    """Return those of some words that are no domain."""
    return tuple(domain for domain in domains if domain not in DOMAINS)
