"""What is computed before the scores: body mass index, weight lost, and what follows from what."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.evidence.conditions.ground import FactAges, Ground
from thalweg.evidence.conditions.judge import judge
from thalweg.record.concept import concept
from thalweg.record.fact import say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.assess.fitness.inputs import FitnessInputs
    from thalweg.assess.fitness.rulebook import Rulebook
    from thalweg.record.case import Chosen

__all__ = ["BODY_MASS_INDEX", "FOLLOWS", "WEIGHT_BETWEEN", "WEIGHT_LOST", "ground_of"]

BODY_MASS_INDEX = Method(
    key="body-mass-index",
    title="body mass index",
    formula="weight in kg / (height in m)², in kg/m²",
    valid_for="adults; says little with oedema, ascites or amputation",
    sources=("g8-table-2018",),
)
WEIGHT_LOST = Method(
    key="weight-lost-share",
    title="share of the weight that was lost",
    formula="loss / (weight now + loss) × 100, in %",
    valid_for="unintended loss; the weight taken about when the loss was asked for",
    sources=("thalweg-engineering",),
)
FOLLOWS = Method(
    key="follows-from-record",
    title="what follows from what is recorded",
    formula="an answer nobody recorded that another recorded answer leaves no choice about",
    valid_for="where the reason given holds; a recorded answer goes before it",
    sources=("thalweg-engineering",),
)
WEIGHT_BETWEEN = Method(
    key="weight-lost-between-weights",
    title="share of the weight that was lost, from two weights",
    formula=(
        "(earlier - newest) / earlier × 100, in %, of the newest weight, at most 31 days old, and "
        "the one nearest to the span before it, within a quarter of the span; a gain is 0"
    ),
    valid_for="where nobody answered how much was lost",
    sources=("thalweg-engineering",),
)
DAYS_A_MONTH = 365.25 / 12
FRESH_WEIGHT_DAYS = 31
SPAN_TOLERANCE = 0.25
"""Ours: a weight this share of the span too early or too late still speaks of the span."""
SPANS = ("1-month", "2-months", "3-months", "6-months")


def _lacking(
    name: str,
    title: str,
    unit: str,
    method: Method,
    missing: tuple[str, ...],
    inputs: FitnessInputs,
) -> Finding:
    return Finding(name, title, None, unit, inputs.at, method, missing=missing)


def _body_mass(facts: Mapping[str, Chosen], inputs: FitnessInputs) -> Finding:
    found = {key: facts[key].fact for key in ("height", "weight") if key in facts}
    height, weight = found.get("height"), found.get("weight")
    if height is None or weight is None:
        missing = tuple(key for key in ("height", "weight") if found.get(key) is None)
        return _lacking("bmi", "Body mass index", "kg/m2", BODY_MASS_INDEX, missing, inputs)
    return Finding(
        name="bmi",
        title="Body mass index",
        value=amount(weight, "kg") / amount(height, "m") ** 2,
        unit="kg/m2",
        # Height hardly changes: the index speaks of the day of the weight.
        at=weight.at,
        method=BODY_MASS_INDEX,
        facts=(height, weight),
    )


def _between_weights(span: str, inputs: FitnessInputs) -> Finding | None:
    """Return the share lost between two weights about so far apart; None without such a pair."""
    if not inputs.weights:
        return None
    now = inputs.weights[-1]
    if (inputs.at - day_of(now.at)).days > FRESH_WEIGHT_DAYS:
        return None
    days = int(span.partition("-")[0]) * DAYS_A_MONTH
    gaps = {fact: (day_of(now.at) - day_of(fact.at)).days for fact in inputs.weights}
    near = [fact for fact, gap in gaps.items() if abs(gap - days) <= days * SPAN_TOLERANCE]
    if not near:
        return None
    then = min(near, key=lambda fact: (abs(gaps[fact] - days), fact.id))
    heavy, light = amount(then, "kg"), amount(now, "kg")
    return Finding(
        name=f"weight-loss-share-{span}",
        title=f"Share of weight lost in {span.replace('-', ' ')}",
        value=max(0.0, 100.0 * (heavy - light) / heavy),
        unit="%",
        at=now.at,
        method=WEIGHT_BETWEEN,
        facts=(then, now),
        cautions=(
            (
                f"Computed from {heavy:g} kg on {say_moment(then.at)[:10]} and {light:g} kg on "
                f"{say_moment(now.at)[:10]}: nobody was asked, and whether it was wanted, or was "
                "water, is not known."
            ),
        ),
    )


def _weight_lost(
    span: str, facts: Mapping[str, Chosen], ages: FactAges, inputs: FitnessInputs
) -> Finding:
    asked, name = f"weight-loss-{span}", f"weight-loss-share-{span}"
    title = f"Share of weight lost in {span.replace('-', ' ')}"
    loss = facts[asked].fact if asked in facts else None
    weight = facts["weight"].fact if "weight" in facts else None
    if loss is None or ages.expired(loss, inputs.at):
        return _between_weights(span, inputs) or _lacking(
            name, title, "%", WEIGHT_LOST, (asked,), inputs
        )
    lost = amount(loss, "kg")
    if lost > 0.0 and weight is None:
        return _lacking(name, title, "%", WEIGHT_LOST, ("weight",), inputs)
    now = 0.0 if weight is None else amount(weight, "kg")
    return Finding(
        name=name,
        title=title,
        value=100.0 * lost / (now + lost) if lost > 0.0 else 0.0,
        unit="%",
        at=loss.at,
        method=WEIGHT_LOST,
        facts=(loss, *((weight,) if weight is not None and lost > 0.0 else ())),
    )


def _said(key: str, value: bool | str, because: str) -> tuple[str, ...]:
    """Return the sentence that an answer which counts is read with; a no adds nothing."""
    if value is False:
        return ()
    return (f"'{concept(key).name}' is not recorded; it follows because {because}.",)


def _following(rules: Rulebook, ground: Ground) -> dict[str, Finding]:
    """Return the answers that follow, in order, each able to carry the next."""
    found = dict(ground.instead)
    for row in rules.follows:
        judged = judge(row.when, replace(ground, instead=found))
        if judged.truth is not Truth.MET:
            continue
        for key, value in row.then.items():
            chosen = ground.facts.get(key)
            recorded = chosen is not None and (
                bool(chosen.conflict)
                or (chosen.fact is not None and not ground.ages.expired(chosen.fact, ground.at))
            )
            if recorded or key in found:
                continue
            found[key] = Finding(
                name=key,
                title=concept(key).name.capitalize(),
                value=Truth.of(value) if isinstance(value, bool) else value,
                unit=None,
                at=youngest(judged.facts).at if judged.facts else ground.at,
                method=FOLLOWS,
                facts=judged.facts,
                findings=judged.findings,
                cautions=_said(key, value, row.because),
            )
    return found


def ground_of(inputs: FitnessInputs, rules: Rulebook) -> Ground:
    """Return everything that the rules are judged on.

    Parameters
    ----------
    inputs : FitnessInputs
    rules : Rulebook
    """
    findings = {
        "age": inputs.age_finding,
        "gfr": inputs.gfr,
        "bmi": _body_mass(inputs.facts, inputs),
        **{
            f"weight-loss-share-{span}": _weight_lost(span, inputs.facts, rules.ages, inputs)
            for span in SPANS
        },
    }
    instead = {"acute-kidney-injury": inputs.injury}
    ground = Ground(inputs.facts, inputs.at, findings, instead, inputs.sex, rules.ages)
    return replace(ground, instead=_following(rules, ground))
