"""What can go wrong while a disturbance is treated, and drugs that come back from bowel."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.record.concept import concepts
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth, all_of

if TYPE_CHECKING:
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.judge import State
    from thalweg.assess.chemistry.rules import ChemistryRules, Condition, Trap
    from thalweg.assess.chemistry.segment import Touched
    from thalweg.record.fact import Fact

__all__ = ["TREATMENT_TRAPS", "warning_findings"]

TREATMENT_TRAPS = Method(
    key="treatment-traps",
    title="what can go wrong here",
    formula="the conditions of each known trap against the record: applies, does not, or not known",
    valid_for="reminding whoever treats; the list is not complete and gives no dose",
    sources=("campbell-walsh-bowel", "thalweg-engineering"),
)


def _holds(
    condition: Condition, inputs: ChemistryInputs, state: State, found: Touched
) -> tuple[Truth, tuple[Fact, ...], str]:
    """Return whether a condition holds, what it rests on, and which concept would settle it."""
    if condition.touched_by_bowel is not None:
        wanted = found.truth if condition.touched_by_bowel else ~found.truth
        return wanted, found.facts, "bowel-in-urinary-tract"
    if condition.disturbance is not None:
        return state.of(condition.disturbance), (), "bicarbonate"
    if condition.fact is not None:
        truth = inputs.truth(condition.fact)
        return truth if condition.is_ else ~truth, inputs.because(condition.fact), condition.fact
    key = condition.of or ""
    reading = inputs.reading(key, condition.unit)
    if reading is None:
        return Truth.NOT_KNOWN, inputs.because(key), key
    below, above = condition.below, condition.above
    within = (below is None or reading.value < below) and (above is None or reading.value > above)
    return Truth.of(within), reading.facts, key


def _finding(
    key: str, trap: Trap, inputs: ChemistryInputs, state: State, found: Touched
) -> Finding | tuple[str, ...]:
    """Return a trap that applies, or else the concepts that would tell whether it does."""
    judged = [_holds(condition, inputs, state, found) for condition in trap.when]
    truth = all_of(one for one, _, _ in judged)
    if truth is not Truth.MET:
        unknown = [lacks for one, _, lacks in judged if one is Truth.NOT_KNOWN]
        return tuple(unknown) if truth is Truth.NOT_KNOWN else ()
    return Finding(
        name=f"trap-{key}",
        title=f"Beware: {key.replace('-', ' ')}",
        value="applies",
        unit=None,
        at=inputs.at,
        method=replace(TREATMENT_TRAPS, sources=trap.sources),
        facts=tuple(dict.fromkeys(fact for _, each, _ in judged for fact in each)),
        cautions=(trap.sentence,),
    )


def warning_findings(
    inputs: ChemistryInputs, state: State, found: Touched, rules: ChemistryRules
) -> tuple[Finding, ...]:
    """Return the traps that apply, and what is not recorded that could add one.

    Where nothing is disturbed and no bowel is touched, what is not recorded is left out: it would
    bury what is.
    """
    each = [_finding(key, trap, inputs, state, found) for key, trap in rules.traps.items()]
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
