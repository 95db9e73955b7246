"""What can go wrong while a disturbance is treated, and drugs that come back from bowel."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from thalweg.assess.chemistry.rules import Disturbed, TouchedByBowel
from thalweg.assess.chemistry.segment import IN_BOWEL
from thalweg.evidence.conditions.ground import Judged
from thalweg.evidence.conditions.judge import judge
from thalweg.record.concept import concepts
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.judge import State
    from thalweg.assess.chemistry.rules import ChemistryRules, Trap
    from thalweg.assess.chemistry.segment import Touched
    from thalweg.evidence.conditions.ground import Ground

__all__ = ["TREATMENT_TRAPS", "warning_findings"]

TREATMENT_TRAPS = Method(
    key="treatment-traps",
    title="what can go wrong here",
    formula="the conditions of each known trap against the record: applies, does not, or not known",
    valid_for="reminding whoever treats; the list is not complete and gives no dose",
    sources=("campbell-walsh-bowel", "thalweg-engineering"),
)


def _disturbed(condition: Disturbed, state: State) -> Judged:
    truth = state.of(condition.name)
    return Judged(truth, missing=("bicarbonate",) if truth is Truth.NOT_KNOWN else ())


def _touched(condition: TouchedByBowel, found: Touched) -> Judged:
    truth = found.truth if condition.expected else ~found.truth
    return Judged(truth, found.facts, missing=(IN_BOWEL,) if truth is Truth.NOT_KNOWN else ())


def _finding(
    key: str, trap: Trap, inputs: ChemistryInputs, ground: Ground
) -> Finding | tuple[str, ...]:
    """Return a trap that applies, or else the concepts that would tell whether it does."""
    judged = judge(trap.when, ground)
    if judged.truth is not Truth.MET:
        return judged.missing
    return Finding(
        name=f"trap-{key}",
        title=f"Beware: {key.replace('-', ' ')}",
        value="applies",
        unit=None,
        at=inputs.at,
        method=replace(TREATMENT_TRAPS, sources=trap.sources),
        facts=judged.facts,
        findings=judged.findings,
        cautions=(trap.sentence,),
    )


def warning_findings(
    inputs: ChemistryInputs, state: State, found: Touched, rules: ChemistryRules
) -> tuple[Finding, ...]:
    """Return the traps that apply, and what is not recorded that could add one.

    Where nothing is disturbed and no bowel is touched, what is not recorded is left out: it would
    bury what is.
    """
    ground = replace(
        inputs.ground,
        own={
            Disturbed: partial(_disturbed, state=state),
            TouchedByBowel: partial(_touched, found=found),
        },
    )
    each = [_finding(key, trap, inputs, ground) for key, trap in rules.traps.items()]
    met = [one for one in each if isinstance(one, Finding)]
    missing = dict.fromkeys(key for one in each if not isinstance(one, Finding) for key in one)
    disturbed = Truth.MET in (state.of("metabolic acidosis"), state.of("metabolic alkalosis"))
    if missing and (disturbed or found.truth is Truth.MET):
        names = "; ".join(concepts()[key].name for key in missing)
        met.append(
            Finding(
                name="traps-not-known",
                title="Entries that could add a warning",
                value=f"{len(missing)} not recorded",
                unit=None,
                at=inputs.at,
                method=TREATMENT_TRAPS,
                cautions=(f"Not recorded, and would matter for treatment: {names}.",),
                missing=tuple(missing),
            )
        )
    return tuple(met)
