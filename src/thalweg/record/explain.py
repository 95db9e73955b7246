"""Walk back from a finding to the facts and the publication it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.record.concept import concepts
from thalweg.record.fact import say, say_moment
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["Step", "as_text", "as_tree"]


@dataclass(frozen=True, slots=True)
class Step:
    """One node of the explanation: a headline, details below it, and what it rests on."""

    headline: str
    details: tuple[str, ...]
    below: tuple[Step, ...]


def _fact_step(fact: Fact) -> Step:
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    known = concepts().get(fact.concept)
    name = known.name if known else fact.concept
    label = f" ({fact.label})" if fact.label else ""
    return Step(
        f"{name}{label}: {say(fact.value)}{unit}, {say_moment(fact.at)}",
        (f"from {fact.origin}", *(f"questioned: {q}" for q in fact.questions)),
        (),
    )


def as_tree(finding: Finding, cite: Callable[[str], str] = str) -> Step:
    """Return the explanation of a finding as nested steps.

    Parameters
    ----------
    finding : Finding
        What to explain.
    cite : callable
        Turns a bibliography key into a citation.
    """
    method = finding.method
    details = [f"{method.title}: {method.formula}", f"for {method.valid_for}"]
    details += [f"source: {cite(key)}" for key in method.sources]
    if finding.missing:
        details.append(f"would be settled by: {', '.join(finding.missing)}")
    details += [f"caution: {c}" for c in (*finding.cautions, *method.cautions)]
    below = [as_tree(f, cite) for f in finding.findings]
    return Step(str(finding), tuple(details), (*below, *map(_fact_step, finding.facts)))


def _lines(step: Step, depth: int) -> Iterator[str]:
    pad = "  " * depth
    yield f"{pad}{step.headline}"
    for detail in step.details:
        yield f"{pad}    {detail}"
    for below in step.below:
        yield from _lines(below, depth + 1)


def as_text(finding: Finding, cite: Callable[[str], str] = str) -> str:
    """Return the explanation of a finding as indented lines."""
    return "\n".join(_lines(as_tree(finding, cite), 0))
