"""Findings beside the acid-base core: deficits, calcium, osmolality, the gap of the urine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.chemistry import amounts, gap
from thalweg.assess.chemistry.inputs import Reading
from thalweg.assess.chemistry.made import apart, made, slow, unmade
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.assess.chemistry.derived import Numbers
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.rules import ChemistryRules
    from thalweg.assess.chemistry.segment import Touched
    from thalweg.record.finding import Finding

__all__ = ["size_findings"]

MMOL_L = "mmol/L"
URINE_KEYS = ("urine-sodium", "urine-potassium", "urine-chloride")
IN_BOWEL = "bowel-in-urinary-tract"
FROM_BOWEL = (
    "Not made: this urine has lain in bowel, which takes up ammonium and chloride and gives off "
    "bicarbonate and sodium. Its anion gap and its pH say nothing about the kidneys. Urine "
    "straight from a ureter or nephrostomy would."
)
BOWEL_NOT_SAID = (
    "A number without a meaning yet: it is not recorded whether this urine has touched bowel. From "
    "a conduit, pouch or neobladder it must not be read."
)


def _bicarbonate_deficit(
    inputs: ChemistryInputs, base: Reading, rules: ChemistryRules
) -> Iterator[Finding]:
    if rules.references["bicarbonate"].side(base.value) != "low":
        return
    name, title = "bicarbonate-deficit", "Size of the bicarbonate deficit"
    weight = inputs.reading("weight", "kg")
    usable, said = (False, "") if weight is None else slow(weight, [base], rules)
    if weight is None or not usable:
        cautions = [said] if said else []
        yield unmade(
            name, title, "mmol", amounts.BICARBONATE_DEFICIT, inputs, ["weight"], cautions=cautions
        )
        return
    numbers = rules.settings
    target = numbers["deficit-target"]
    widest = max(numbers["deficit-share-high"], float(amounts.bicarbonate_space(base.value)))
    sizes = [
        float(amounts.bicarbonate_deficit(base.value, weight.value, target, share))
        for share in (numbers["deficit-share-low"], numbers["deficit-share"], widest)
    ]
    cautions = [
        (
            f"The range is that of the share of body weight, {numbers['deficit-share-low']:g} to "
            f"{widest:.2f}; target {target:g} mmol/L."
        ),
        *([said] if said else []),
    ]
    yield made(
        name,
        title,
        sizes[1],
        "mmol",
        amounts.BICARBONATE_DEFICIT,
        [base, weight],
        cautions=cautions,
        interval=(sizes[0], sizes[2]),
        digits=0,
    )


def _base_deficit(
    inputs: ChemistryInputs, numbers: Numbers, rules: ChemistryRules
) -> Iterator[Finding]:
    given = inputs.reading("base-excess", MMOL_L)
    computed = next((one for one in numbers.findings if one.name == "base-excess"), None)
    if given is None and computed is not None and isinstance(computed.value, float):
        given = Reading(computed.value, findings=(computed,))
    weight = inputs.reading("weight", "kg")
    if given is None or given.value >= 0 or weight is None or not slow(weight, [given], rules)[0]:
        return
    yield made(
        "base-deficit",
        "Size of the base deficit",
        float(amounts.base_deficit(given.value, weight.value)),
        "mmol",
        amounts.BASE_DEFICIT,
        [given, weight],
        digits=0,
    )


def _calcium(inputs: ChemistryInputs, rules: ChemistryRules) -> Iterator[Finding]:
    calcium, albumin = inputs.reading("calcium", MMOL_L), inputs.reading("albumin", "g/L")
    if calcium is None:
        return
    name, title = "calcium-adjusted", "Total calcium adjusted for albumin"
    method = amounts.ADJUSTED_CALCIUM
    usable, said = (False, "") if albumin is None else slow(albumin, [calcium], rules)
    if albumin is None or not usable:
        cautions = [said] if said else []
        yield unmade(name, title, MMOL_L, method, inputs, ["albumin"], cautions=cautions)
        return
    cautions = [said] if said else []
    if inputs.reading("ionised-calcium") is not None:
        cautions.append("Ionised calcium was measured: go by that.")
    value = float(amounts.adjusted_calcium(calcium.value, albumin.value))
    yield made(name, title, value, MMOL_L, method, [calcium, albumin], cautions=cautions, digits=2)


def _osmolality(inputs: ChemistryInputs, rules: ChemistryRules) -> Iterator[Finding]:
    sodium, glucose, urea = (inputs.reading(key, MMOL_L) for key in ("sodium", "glucose", "urea"))
    measured = inputs.reading("osmolality", "mosm/kg")
    if sodium is None or glucose is None or urea is None:
        if measured is not None:
            needs = ["sodium", "glucose", "urea"]
            yield unmade(
                "osmolal-gap", "Osmolal gap", "mosm/kg", amounts.OSMOLAL_GAP, inputs, needs
            )
        return
    if apart([sodium, glucose, urea], rules):
        return
    value = float(amounts.calculated_osmolality(sodium.value, glucose.value, urea.value))
    calculated = made(
        "osmolality-calculated",
        "Osmolality, calculated",
        value,
        "mosm/kg",
        amounts.OSMOLALITY,
        [sodium, glucose, urea],
        digits=0,
    )
    yield calculated
    of_it = Reading(value, findings=(calculated,))
    if measured is None or apart([measured, sodium], rules):
        return
    size = measured.value - value
    limit = rules.settings["osmolal-gap"]
    raised = f"Above {limit:g} mOsm/kg: look for alcohols and other small molecules."
    yield made(
        "osmolal-gap",
        "Osmolal gap",
        size,
        "mosm/kg",
        amounts.OSMOLAL_GAP,
        [measured, of_it],
        cautions=[raised] if size > limit else [],
        digits=0,
    )


def _urine(inputs: ChemistryInputs, found: Touched, rules: ChemistryRules) -> Iterator[Finding]:
    ions = [inputs.reading(key, MMOL_L) for key in URINE_KEYS]
    there = [ion for ion in ions if ion is not None]
    if not there:
        return
    name, title, method = "urine-anion-gap", "Anion gap of the urine", gap.URINE_ANION_GAP
    if found.truth is Truth.MET:
        because = Reading(0.0, found.facts)
        yield made(
            name,
            title,
            None,
            MMOL_L,
            method,
            [*there, because],
            cautions=[FROM_BOWEL],
        )
        return
    said = apart(there, rules) if len(there) == len(URINE_KEYS) else ""
    if len(there) < len(URINE_KEYS) or said:
        cautions = [said] if said else []
        yield unmade(name, title, MMOL_L, method, inputs, URINE_KEYS, cautions=cautions)
        return
    value = float(gap.urine_anion_gap(*(ion.value for ion in there)))
    reading = (
        "Negative: the kidneys answer with ammonium, as with loss of base from the gut."
        if value < 0
        else "Positive: the kidneys answer with too little ammonium, as in tubular acidosis."
    )
    cautions = [f"In a normal-gap acidosis only. {reading}"]
    missing: tuple[str, ...] = ()
    if found.truth is Truth.NOT_KNOWN:
        missing = (IN_BOWEL,)
        cautions = [BOWEL_NOT_SAID]
    yield made(
        name, title, value, MMOL_L, method, there, cautions=cautions, missing=missing, digits=0
    )


def size_findings(
    inputs: ChemistryInputs, numbers: Numbers, found: Touched, rules: ChemistryRules
) -> tuple[Finding, ...]:
    """Return the findings beside the acid-base core that the results allow.

    Raises
    ------
    InputError
        If a result is outside what a formula may be used for.
    """
    made_here: list[Finding] = []
    if numbers.bicarbonate is not None:
        made_here += _bicarbonate_deficit(inputs, numbers.bicarbonate, rules)
    made_here += _base_deficit(inputs, numbers, rules)
    made_here += _calcium(inputs, rules)
    made_here += _osmolality(inputs, rules)
    made_here += _urine(inputs, found, rules)
    return tuple(made_here)
