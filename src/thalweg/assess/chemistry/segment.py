"""The bowel segment that urine touches, its pattern against the one seen, and what mimics it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from thalweg.assess.chemistry.inputs import Reading
from thalweg.assess.chemistry.made import made, unmade
from thalweg.evidence.conditions.ground import Judged, gathered
from thalweg.evidence.conditions.judge import judge
from thalweg.record.concept import concepts
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.judge import State
    from thalweg.assess.chemistry.rules import ChemistryRules, Expected, Mimic, Segment
    from thalweg.evidence.conditions.ground import Ground
    from thalweg.record.fact import Fact

__all__ = ["MIMICS", "SEGMENT_PATTERN", "Touched", "segment_findings", "touched"]

IN_BOWEL = "bowel-in-urinary-tract"
OF_DIVERSION = {
    "ileal-conduit": "ileum",
    "neobladder": "ileum",
    "continent-pouch": "ileum and colon",
    "colon-conduit": "colon",
    "jejunal-conduit": "jejunum",
    "ureterosigmoidostomy": "colon",
}
"""Usual segment by diversion; one that is not here uses no bowel."""

SEGMENT_PATTERN = Method(
    key="segment-pattern",
    title="pattern of the bowel segment against the pattern seen",
    formula="each expected item against the person's result: agrees, contradicts, or not known",
    valid_for="asking whether the diversion could explain what is seen; it never proves it",
    sources=("stein-metabolic-2014", "mcdougal-1992"),
)
MIMICS = Method(
    key="segment-mimics",
    title="what else makes the same disturbance",
    formula="causes of the disturbance seen that the record names, denies or does not mention",
    valid_for="a disturbance seen or not yet excluded; the list is not complete",
    sources=("kraut-madias-2012", "berend-gap-2017"),
)
_WORD = {
    Truth.MET: "fits, does not prove",
    Truth.NOT_MET: "does not fit",
    Truth.NOT_KNOWN: "not known",
}


@dataclass(frozen=True, slots=True)
class Touched:
    """Which segment urine touches, and how that is known.

    Parameters
    ----------
    truth : Truth
        Whether urine touches bowel at all.
    segment : str or None
        Word of the concept ``bowel-segment``; None where not known.
    facts : tuple of Fact
    how : str
        A sentence where it was concluded and not recorded.
    """

    truth: Truth
    segment: str | None
    facts: tuple[Fact, ...] = ()
    how: str = ""


def _operated(inputs: ChemistryInputs) -> bool:
    word = inputs.word("operation-date")
    try:
        return word is not None and date.fromisoformat(word) <= inputs.at
    except ValueError:
        return False


def touched(inputs: ChemistryInputs) -> Touched:
    """Return which bowel segment urine touches, recorded or concluded from the diversion made."""
    segment = inputs.word("bowel-segment")
    if segment is not None:
        truth = Truth.of(segment != "none")
        return Touched(truth, segment, inputs.because("bowel-segment"))
    truth, facts = inputs.truth(IN_BOWEL), inputs.because(IN_BOWEL)
    diversion = inputs.word("planned-diversion")
    made_of = None if diversion is None else OF_DIVERSION.get(diversion, "none")
    if made_of is not None and _operated(inputs) and truth is not Truth.NOT_MET:
        facts = (*facts, *inputs.because("planned-diversion", "operation-date"))
        how = f"Concluded from the {diversion} made; the segment itself is not recorded."
        return Touched(truth | Truth.of(made_of != "none"), made_of, facts, how)
    if truth is Truth.NOT_MET:
        return Touched(truth, "none", facts)
    return Touched(truth, None, facts)


def _item(
    expected: Expected, inputs: ChemistryInputs, state: State, rules: ChemistryRules
) -> tuple[str, Truth, tuple[Fact, ...]]:
    """Return one item's sentence, whether it agrees, and the facts it rests on."""
    if expected.acid_base is not None:
        truth = state.of(expected.acid_base)
        return f"{expected.acid_base}: {_seen(truth)}", truth, ()
    key = expected.of or ""
    name = concepts()[key].name.partition(",")[0]
    wanted = " or ".join(expected.is_)
    reference = rules.references[key]
    reading = inputs.reading(key, reference.unit)
    if reading is None:
        return f"{name} {wanted}: not known", Truth.NOT_KNOWN, ()
    side = reference.side(reading.value)
    truth = Truth.of(side in expected.is_)
    shown = f"{reading.value:.1f} {printed(reference.unit)} is {side}"
    verdict = "agrees" if truth is Truth.MET else "contradicts"
    return f"{name} {wanted}: {shown}, {verdict}", truth, reading.facts


def _seen(truth: Truth) -> str:
    words = {Truth.MET: "seen, agrees", Truth.NOT_MET: "not seen, contradicts"}
    return words.get(truth, "not known")


def _pattern(
    segment: Segment,
    found: Touched,
    inputs: ChemistryInputs,
    state: State,
    rules: ChemistryRules,
) -> Finding:
    method = replace(SEGMENT_PATTERN, sources=segment.sources)
    name, title = "segment-pattern", f"Pattern of the segment: {segment.name}"
    why = [found.how] if found.how else []
    rest = Reading(0.0, found.facts)
    if not segment.expects:
        return made(
            name, title, "none expected", None, method, [rest], cautions=[segment.says, *why]
        )
    items = [_item(expected, inputs, state, rules) for expected in segment.expects]
    # The disturbance stands first and decides; the ions beside it support or weaken.
    lead, others = items[0][1], [truth for _, truth, _ in items[1:]]
    agree = sum(truth is Truth.MET for _, truth, _ in items)
    against = sum(truth is Truth.NOT_MET for _, truth, _ in items)
    word = _WORD[lead]
    if lead is Truth.MET and Truth.NOT_MET in others:
        word = "fits in part"
    if lead is Truth.NOT_MET and not _disturbed(state):
        word = "not developed"
    value = f"{word}: {agree} of {len(items)} agree, {against} contradict"
    facts = tuple(dict.fromkeys(fact for _, _, each in items for fact in each))
    return made(
        name,
        title,
        value,
        None,
        method,
        [rest, Reading(0.0, facts)] if facts else [rest],
        cautions=[segment.says, *(sentence + "." for sentence, _, _ in items), *why],
        missing=tuple(
            expected.of
            for expected, (_, truth, _) in zip(segment.expects, items, strict=True)
            if expected.of and truth is Truth.NOT_KNOWN
        ),
    )


def _disturbed(state: State) -> bool:
    metabolic = (state.of("metabolic acidosis"), state.of("metabolic alkalosis"))
    return any(truth is not Truth.NOT_MET for truth in metabolic)


def _said(mimic: Mimic, ground: Ground) -> tuple[Judged, str]:
    """Return whether a mimic is recorded, and its sentence."""
    if mimic.when is None:
        return Judged(Truth.NOT_KNOWN), f"To think of: {mimic.sentence}"
    judged = judge(mimic.when, ground)
    if judged.truth is Truth.NOT_MET:
        return judged, ""
    if judged.truth is Truth.NOT_KNOWN:
        return judged, f"Not recorded: {mimic.sentence}"
    shown = "; ".join(found.shown() for found in judged.findings)
    return judged, f"{shown or 'Recorded'}: {mimic.sentence}"


def _mimics(inputs: ChemistryInputs, state: State, rules: ChemistryRules) -> Iterator[Finding]:
    """Yield what else makes the disturbance that is seen or not excluded."""
    if Truth.MET not in (state.of("metabolic acidosis"), state.of("metabolic alkalosis")):
        return
    asked = [one for one in rules.mimics.values() if state.of(one.of) is not Truth.NOT_MET]
    said = [_said(mimic, inputs.ground) for mimic in asked]
    counts = [sum(one.truth is each for one, _ in said) for each in Truth]
    present, absent, unknown = counts
    rest = gathered(Truth.NOT_KNOWN, (one for one, _ in said))
    sources = dict.fromkeys(source for mimic in asked for source in mimic.sources)
    yield Finding(
        name="segment-mimics",
        title="Other causes of the same",
        value=f"{present} recorded, {absent} denied, {unknown} not known",
        unit=None,
        at=inputs.at,
        method=replace(MIMICS, sources=tuple(sources)),
        facts=rest.facts,
        findings=rest.findings,
        cautions=tuple(
            sentence
            for _, sentence in sorted(said, key=lambda one: one[0].truth is not Truth.MET)
            if sentence
        ),
        missing=rest.missing,
    )


def segment_findings(
    inputs: ChemistryInputs, found: Touched, state: State, rules: ChemistryRules
) -> tuple[Finding, ...]:
    """Return the segment's pattern against the one seen, and what mimics it."""
    findings: list[Finding] = []
    if found.segment is not None:
        segment = rules.segments[found.segment.replace(" ", "-")]
        findings.append(_pattern(segment, found, inputs, state, rules))
    elif found.truth is not Truth.NOT_KNOWN or inputs.conflicts("bowel-segment", IN_BOWEL):
        findings.append(
            unmade(
                "segment-pattern",
                "Pattern of the segment",
                None,
                SEGMENT_PATTERN,
                inputs,
                ["bowel-segment"],
            )
        )
    return (*findings, *_mimics(inputs, state, rules))
