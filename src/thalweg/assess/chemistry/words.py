"""The judgement as findings: one line that names it, and one truth for each disturbance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.chemistry.inputs import Reading
from thalweg.assess.chemistry.made import made, unmade
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.chemistry.derived import Numbers
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.judge import State
    from thalweg.record.finding import Finding

__all__ = ["DISTURBANCE", "disturbance_findings", "named"]

DISTURBANCE = Method(
    key="acid-base-disturbance",
    title="disturbance named from the numbers",
    formula=(
        "bicarbonate against its range, pH and what carbon dioxide explains; the gap corrected for "
        "albumin and its delta ratio; carbon dioxide against what a simple disturbance brings"
    ),
    valid_for="results of one state; names what the numbers show and not why",
    sources=(
        "berend-acid-base-2014",
        "adrogue-madias-2010",
        "kraut-madias-2012",
        "kelly-venous-2010",
        "thalweg-engineering",
    ),
)


def _acidosis_words(state: State) -> str:
    normal, high = state.of("normal-gap acidosis"), state.of("high-gap acidosis")
    if normal is Truth.MET and high is Truth.MET:
        return "mixed metabolic acidosis, high gap and normal gap"
    if normal is Truth.MET:
        return "metabolic acidosis, normal gap (hyperchloraemic)"
    if high is Truth.MET:
        tail = "" if normal is Truth.NOT_MET else ", with or without a normal-gap part"
        return f"metabolic acidosis, high gap{tail}"
    return "metabolic acidosis, gap not known"


def named(state: State) -> str:
    """Return the disturbances in one line."""
    parts = []
    if state.of("metabolic acidosis") is Truth.MET:
        parts.append(_acidosis_words(state))
    parts += [
        name
        for name in ("metabolic alkalosis", "respiratory acidosis", "respiratory alkalosis")
        if state.truths[name] is Truth.MET
    ]
    if parts:
        words = ", with ".join(parts)
        return f"{words}; presumed, no blood gas" if state.presumed else words
    metabolic = (state.of("metabolic acidosis"), state.of("metabolic alkalosis"))
    if Truth.NOT_KNOWN in metabolic:
        return "not settled by these numbers"
    if state.truths["respiratory alkalosis"] is Truth.NOT_KNOWN:
        return "no metabolic disturbance; breathing not judged"
    return "no disturbance"


def disturbance_findings(
    inputs: ChemistryInputs, numbers: Numbers, state: State
) -> tuple[Finding, ...]:
    """Return the named disturbance, then what is known of each.

    Parameters
    ----------
    inputs : ChemistryInputs
    numbers : Numbers
    state : State
        What the numbers show.
    """
    name, title = "acid-base-disturbance", "Acid-base disturbance"
    base = numbers.bicarbonate
    if base is None:
        said = [] if inputs.conflicts("bicarbonate") else ["Bicarbonate decides: measure it."]
        return (unmade(name, title, None, DISTURBANCE, inputs, ["bicarbonate"], cautions=said),)
    gas = numbers.gas
    readings = [base]
    cautions = list(state.notes)
    if gas is not None:
        readings += [reading for reading in (gas.ph, gas.pco2) if reading is not None]
        cautions += [gas.caution] if gas.caution else []
    readings += [
        Reading(one.value, findings=(one,))
        for one in numbers.findings
        if one.name in ("anion-gap-corrected", "expected-pco2") and isinstance(one.value, float)
    ]
    settles = tuple(key for key in state.settles if inputs.chosen(key).fact is None)
    first = made(
        name,
        title,
        named(state),
        None,
        DISTURBANCE,
        readings,
        cautions=cautions,
        missing=settles,
    )
    of_first = [Reading(0.0, findings=(first,))]
    rest = [
        made(
            each.replace(" ", "-"),
            each[:1].upper() + each[1:],
            truth,
            None,
            DISTURBANCE,
            of_first,
            missing=settles if truth is Truth.NOT_KNOWN else (),
        )
        for each, truth in state.truths.items()
    ]
    return (first, *rest)
