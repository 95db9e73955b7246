"""Each published estimate as a finding: made, or said why not, or left out where it is no use."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.assess.kidney import body, children, ckd_epi
from thalweg.assess.kidney.recipes import DRUG_DOSE, INDEXED, RECIPES, UNITS
from thalweg.record.fact import Fact, moment_key
from thalweg.record.finding import Finding
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from thalweg.assess.kidney.inputs import KidneyInputs
    from thalweg.assess.kidney.recipes import Recipe

__all__ = ["adult", "body_surface", "doubts_creatinine", "estimates"]

_NAMES = {
    "creatinine": "creatinine",
    "cystatin-c": "cystatin C",
    "height": "height",
    "weight": "weight",
}
_BLOOD = ("creatinine", "cystatin-c")
# Ours, not published: how far apart results may lie before the reader is told.
BLOOD_DAYS = 7
BODY_DAYS = 90
OLDEST_OF_COCKCROFT = 92.0


def adult(inputs: KidneyInputs) -> bool:
    """Return whether the equations for adults apply."""
    return inputs.age_years >= ckd_epi.ADULT_YEARS[0]


def doubts_creatinine(inputs: KidneyInputs) -> bool:
    """Return whether muscle loss or bowel in the urinary tract is known to be there."""
    flags = ("muscle-loss", "bowel-in-urinary-tract")
    return any(inputs.truth(flag) is Truth.MET for flag in flags)


def _worth_saying(recipe: Recipe, missing: Sequence[str], inputs: KidneyInputs) -> bool:
    """Return whether a reader is served by being told that this estimate lacks something."""
    if recipe.name == "egfr-ckd-epi-2021-creatinine":
        return True
    if recipe.name == "egfr-ckid-u25-creatinine":
        return not adult(inputs) or list(missing) == ["height"]
    if recipe.name == "egfr-ckd-epi-2012-cystatin":
        return doubts_creatinine(inputs)
    if recipe.name == "egfr-ckid-u25-cystatin":
        return doubts_creatinine(inputs) and not adult(inputs)
    return False


def _days_apart(facts: Sequence[Fact]) -> int:
    days = [day_of(fact.at) for fact in facts]
    return (max(days) - min(days)).days


def _apart(facts: Sequence[Fact]) -> list[str]:
    blood = [fact for fact in facts if fact.concept in _BLOOD]
    said = []
    if (days := _days_apart(blood)) > BLOOD_DAYS:
        said.append(
            f"Creatinine and cystatin C lie {days} days apart: one estimate of two different times."
        )
    for fact in facts:
        days = _days_apart([fact, youngest(blood)]) if fact not in blood else 0
        if days > BODY_DAYS:
            said.append(f"The {_NAMES[fact.concept]} lies {days} days from the blood result.")
    return said


def _about_creatinine(inputs: KidneyInputs) -> tuple[list[str], list[Fact]]:
    said, because = [], []
    if inputs.truth("muscle-loss") is Truth.MET:
        said.append("Muscle loss is recorded: an estimate from creatinine reads too high.")
        because.append(inputs.muscle_loss.fact)
    if inputs.truth("bowel-in-urinary-tract") is Truth.MET:
        said.append(
            "Bowel lies in the urinary tract and takes creatinine and urea back into the blood: "
            "an estimate from creatinine may read too low."
        )
        because.append(inputs.bowel_in_urinary_tract.fact)
    return said, [fact for fact in because if fact is not None]


def _unmade(recipe: Recipe, inputs: KidneyInputs, missing: Sequence[str]) -> Finding:
    rivals = tuple(fact for key in recipe.needs for fact in inputs.chosen(key).conflict)
    cautions = [inputs.chosen(key).caution for key in recipe.needs if inputs.chosen(key).conflict]
    if missing:
        names = " and ".join(_NAMES[key] for key in missing)
        cautions.append(f"Cannot be made: no {names} is recorded.")
    return Finding(
        name=recipe.name,
        title=recipe.title,
        value=None,
        unit=recipe.unit,
        at=youngest(rivals).at if rivals else inputs.at,
        method=recipe.method,
        facts=rivals,
        cautions=tuple(cautions),
        missing=tuple(missing),
        digits=0,
    )


def _made(recipe: Recipe, inputs: KidneyInputs, facts: Sequence[Fact]) -> Finding:
    values = {fact.concept: amount(fact, UNITS[fact.concept]) for fact in facts}
    cautions = _apart(facts)
    because: list[Fact] = []
    if "creatinine" in recipe.needs:
        said, because = _about_creatinine(inputs)
        cautions += said
    if recipe.name == DRUG_DOSE and inputs.age_years > OLDEST_OF_COCKCROFT:
        cautions.append("Older than anyone this equation was made from (18 to 92 years).")
    age = inputs.age
    return Finding(
        name=recipe.name,
        title=f"{recipe.title}, {inputs.sex}",
        value=float(recipe.compute(values, inputs.age_years, inputs.sex)),
        unit=recipe.unit,
        # A height taken today does not make last year's creatinine today's.
        at=youngest(fact for fact in facts if fact.concept in _BLOOD).at,
        method=recipe.method,
        facts=(*facts, *((age,) if isinstance(age, Fact) else ()), *because),
        findings=(age,) if isinstance(age, Finding) else (),
        cautions=tuple(cautions),
        digits=0,
    )


def _mean(found: Mapping[str, Finding], inputs: KidneyInputs) -> Finding | None:
    pair = [found.get(f"egfr-ckid-u25-{marker}") for marker in ("creatinine", "cystatin")]
    made = [finding for finding in pair if finding is not None]
    values = [finding.value for finding in made if isinstance(finding.value, float)]
    if len(values) < len(pair):
        return None
    markers = [inputs.creatinine.fact, inputs.cystatin_c.fact]
    return Finding(
        name="egfr-ckid-u25-mean",
        title=f"eGFR by creatinine, height and cystatin C (mean of CKiD U25), {inputs.sex}",
        value=float(children.ckid_u25_mean(*values)),
        unit=INDEXED,
        at=max((finding.at for finding in made), key=moment_key),
        method=children.CKID_U25_MEAN,
        findings=tuple(made),
        cautions=tuple(_apart([fact for fact in markers if fact is not None])),
        digits=0,
    )


def estimates(inputs: KidneyInputs) -> dict[str, Finding]:
    """Return the estimates for this age by name, in a fixed order.

    One that lacks a result is there, without value, where the lack matters; one that two
    contradicting results prevent is there with the contradiction; one made for another age is
    not there.

    Raises
    ------
    InputError
        If a result is outside what its equation may be used for.
    """
    found: dict[str, Finding] = {}
    for recipe in RECIPES:
        if not recipe.years[0] <= inputs.age_years <= recipe.years[1]:
            continue
        choices = {key: inputs.chosen(key) for key in recipe.needs}
        missing = [key for key, c in choices.items() if c.fact is None and not c.conflict]
        facts = [c.fact for c in choices.values() if c.fact is not None]
        if len(facts) == len(recipe.needs):
            found[recipe.name] = _made(recipe, inputs, facts)
        elif not missing or _worth_saying(recipe, missing, inputs):
            found[recipe.name] = _unmade(recipe, inputs, missing)
    mean = _mean(found, inputs)
    if mean is not None:
        found[mean.name] = mean
    return found


def body_surface(inputs: KidneyInputs) -> Finding | None:
    """Return body surface, or why it cannot be had; None where neither height nor weight is."""
    choices = {"height": inputs.height, "weight": inputs.weight}
    facts = [c.fact for c in choices.values() if c.fact is not None]
    rivals = tuple(fact for c in choices.values() for fact in c.conflict)
    if not facts and not rivals:
        return None
    missing = tuple(key for key, c in choices.items() if c.fact is None and not c.conflict)
    value, cautions = None, [c.caution for c in choices.values() if c.conflict]
    if len(facts) == len(choices):
        height, weight = (amount(fact, UNITS[fact.concept]) for fact in facts)
        value = float(body.mosteller(height, weight))
        other = float(body.du_bois(height, weight))
        if abs(other - value) > 0.03 * value:
            cautions.append(f"The formula of Du Bois gives {other:.2f} m²: the build is unusual.")
        if (days := _days_apart(facts)) > BODY_DAYS:
            cautions.append(f"Height and weight were taken {days} days apart.")
    return Finding(
        name="body-surface",
        title="Body surface",
        value=value,
        unit="m2",
        at=youngest([*facts, *rivals]).at,
        method=body.MOSTELLER,
        facts=(*facts, *rivals),
        cautions=tuple(cautions),
        missing=missing,
        digits=2,
    )
