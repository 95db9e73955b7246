"""The chemistry report: the disturbance, the numbers under it, the segment, limits, warnings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.chemistry.derived import numbers_of
from thalweg.assess.chemistry.inputs import ANY_BICARBONATE, USED, ChemistryInputs, days_between
from thalweg.assess.chemistry.judge import state_of
from thalweg.assess.chemistry.limits import limit_findings
from thalweg.assess.chemistry.rules import ChemistryRules, chemistry_rules
from thalweg.assess.chemistry.segment import segment_findings, touched
from thalweg.assess.chemistry.sizes import size_findings
from thalweg.assess.chemistry.traps import warning_findings
from thalweg.assess.chemistry.words import disturbance_findings

if TYPE_CHECKING:
    from thalweg.record.finding import Finding

__all__ = ["ChemistryInputs", "ChemistryRules", "chemistry_findings", "chemistry_rules"]


def _age(inputs: ChemistryInputs, rules: ChemistryRules) -> list[str]:
    """Return a sentence where the bicarbonate is old."""
    facts = inputs.because(*ANY_BICARBONATE)
    if not facts:
        return []
    days = min(days_between(fact.at, inputs.at) for fact in facts)
    if days <= rules.settings["old-days"]:
        return []
    return [f"The bicarbonate is {days} days old: it says how it was then."]


def chemistry_findings(
    inputs: ChemistryInputs, rules: ChemistryRules | None = None
) -> tuple[Finding, ...]:
    """Return all that the recorded results say of acid-base and electrolytes.

    Parameters
    ----------
    inputs : ChemistryInputs
        The facts; none is guessed.
    rules : ChemistryRules, optional
        Ranges, limits and patterns; the packaged ones by default.

    Returns
    -------
    tuple of Finding
        ``acid-base-disturbance`` and the truth of each disturbance; the gaps, the delta ratio,
        what the blood gas says and what is expected of it; sizes; the pattern of the bowel
        segment and what mimics it; the limits crossed; what can go wrong in treatment. What
        cannot be made stands without value and says what is missing, where that matters.

    Raises
    ------
    InputError
        If a result is outside what a formula may be used for.
    UnitError
        If a result's unit does not fit.
    """
    rules = rules or chemistry_rules()
    numbers = numbers_of(inputs, rules)
    state = state_of(numbers, rules)
    found = touched(inputs)
    first, *truths = disturbance_findings(inputs, numbers, state)
    said = [*_age(inputs, rules), *inputs.conflicts(*USED), *rules.notices]
    return (
        first.with_cautions(said),
        *truths,
        *numbers.findings,
        *size_findings(inputs, numbers, found, rules),
        *segment_findings(inputs, found, state, rules),
        *limit_findings(inputs, numbers, rules),
        *warning_findings(inputs, state, found, rules),
    )
