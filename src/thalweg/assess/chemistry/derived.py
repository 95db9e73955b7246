"""Every number that the results allow, and the values that the judgement needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.chemistry import gap, gas, response
from thalweg.assess.chemistry.basis import Gas, bicarbonate_of, gas_of
from thalweg.assess.chemistry.inputs import Reading, days_between
from thalweg.assess.chemistry.made import apart, made, slow, unmade
from thalweg.record.units import convert

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.rules import ChemistryRules
    from thalweg.record.finding import Finding

__all__ = ["Numbers", "numbers_of"]

MMOL_L = "mmol/L"


@dataclass(frozen=True, slots=True)
class Numbers:
    """What was worked out, for the judgement and for the page.

    Parameters
    ----------
    bicarbonate : Reading or None
        mmol/L.
    gas : Gas or None
        The blood gas, of the same state as the bicarbonate.
    gap_range : tuple of float or None
        Least and greatest corrected anion gap that the results allow, mmol/L.
    ratio : float or None
        Delta ratio; None where it is undefined or cannot be made.
    findings : tuple of Finding
    """

    bicarbonate: Reading | None
    gas: Gas | None
    gap_range: tuple[float, float] | None
    ratio: float | None
    findings: tuple[Finding, ...]


def _plain_gap(inputs: ChemistryInputs, rules: ChemistryRules, base: Reading | None) -> Finding:
    name, title = "anion-gap", "Anion gap (without potassium)"
    sodium, chloride = (inputs.reading(key, MMOL_L) for key in ("sodium", "chloride"))
    if sodium is None or chloride is None or base is None:
        needs = ["sodium", "chloride", *(["bicarbonate"] if base is None else [])]
        return unmade(name, title, MMOL_L, gap.ANION_GAP, inputs, needs)
    said = apart([sodium, chloride, base], rules)
    if said:
        return unmade(name, title, MMOL_L, gap.ANION_GAP, inputs, ["sodium"], cautions=[said])
    value = float(gap.anion_gap(sodium.value, chloride.value, base.value))
    reference = rules.references["anion-gap"]
    cautions = []
    if value < reference.low:
        cautions.append(
            f"A gap below {reference.low:g} mmol/L is as a rule a mistake of measurement, else low "
            "albumin, paraprotein or lithium: repeat it."
        )
    return made(
        name, title, value, MMOL_L, gap.ANION_GAP, [sodium, chloride, base], cautions=cautions
    )


def _gap_with_potassium(
    inputs: ChemistryInputs, rules: ChemistryRules, base: Reading | None
) -> Iterator[Finding]:
    keys = ("sodium", "chloride", "potassium")
    sodium, chloride, potassium = (inputs.reading(key, MMOL_L) for key in keys)
    if sodium is None or chloride is None or potassium is None or base is None:
        return
    if apart([sodium, chloride, potassium, base], rules):
        return
    value = float(gap.anion_gap(sodium.value, chloride.value, base.value, potassium.value))
    yield made(
        "anion-gap-with-potassium",
        "Anion gap with potassium",
        value,
        MMOL_L,
        gap.ANION_GAP_WITH_POTASSIUM,
        [sodium, chloride, potassium, base],
    )


def _corrected(
    inputs: ChemistryInputs, rules: ChemistryRules, plain: Finding
) -> tuple[Finding, tuple[float, float]]:
    """Return the gap corrected for albumin and its range; without albumin only the range."""
    assert isinstance(plain.value, float)  # noqa: S101 - callers have checked
    name, title = "anion-gap-corrected", "Anion gap corrected for albumin"
    usual = rules.references["albumin"].middle
    albumin = inputs.reading("albumin", "g/L")
    of_gap = Reading(plain.value, findings=(plain,))
    usable, said = (False, "") if albumin is None else slow(albumin, [of_gap], rules)
    if albumin is None or not usable:
        ends = [rules.settings[f"albumin-{end}"] for end in ("most", "least")]
        low, high = (float(gap.albumin_corrected_gap(plain.value, end, usual)) for end in ends)
        cautions = [
            said,
            (
                f"Between {low:.1f} and {high:.1f} mmol/L for any albumin from {ends[1]:g} to "
                f"{ends[0]:g} g/L."
            ),
        ]
        method = gap.ALBUMIN_CORRECTED_GAP
        kept = [caution for caution in cautions if caution]
        finding = unmade(name, title, MMOL_L, method, inputs, ["albumin"], cautions=kept)
        return finding, (low, high)
    value = float(gap.albumin_corrected_gap(plain.value, albumin.value, usual))
    limit, close = rules.references["anion-gap"].high, rules.settings["gap-close"]
    cautions = [said] if said else []
    if abs(value - limit) <= close:
        cautions.append(
            f"The gap lies within {close:g} mmol/L of the limit of {limit:g} mmol/L, about the "
            "error of three measurements together: repeat before building on which side it lies."
        )
    finding = made(
        name,
        title,
        value,
        MMOL_L,
        gap.ALBUMIN_CORRECTED_GAP,
        [of_gap, albumin],
        cautions=cautions,
    )
    return finding, (value, value)


def _delta(rules: ChemistryRules, corrected: Finding, base: Reading) -> Finding:
    gap_usual = rules.references["anion-gap"].middle
    base_usual = rules.references["bicarbonate"].middle
    assert isinstance(corrected.value, float)  # noqa: S101 - callers have checked
    ratio = float(gap.delta_ratio(corrected.value, base.value, gap_usual, base_usual))
    cautions, value = [], None
    if np.isnan(ratio):
        cautions.append(
            f"Undefined: bicarbonate has not fallen below the usual {base_usual:g} mmol/L: there "
            "is nothing to divide by."
        )
    else:
        value = ratio
        close = rules.settings["gap-close"]
        ends = [
            float(gap.delta_ratio(corrected.value, base.value, gap_usual + step, base_usual))
            for step in (close, -close)
        ]
        cautions.append(
            f"With a usual gap of {gap_usual + close:g} or {gap_usual - close:g} instead of "
            f"{gap_usual:g} mmol/L it would be {ends[0]:.2f} or {ends[1]:.2f}."
        )
    readings = [Reading(corrected.value, findings=(corrected,)), base]
    return made(
        "delta-ratio",
        "Delta ratio",
        value,
        "1",
        gap.DELTA_RATIO,
        readings,
        cautions=cautions,
        digits=2,
    )


def _from_gas(found: Gas, base: Reading, rules: ChemistryRules) -> Iterator[Finding]:
    """Yield bicarbonate as the gas has it, and whether it agrees with the measured one."""
    if base.findings or found.ph is None or found.pco2 is None:
        yield from base.findings
        return
    value = float(gas.bicarbonate_from_gas(found.ph.value, found.pco2.value))
    cautions = [found.caution] if found.caution else []
    differs = abs(value - base.value)
    if differs > rules.settings["gas-differs"]:
        cautions.append(
            f"Measured bicarbonate is {base.value:.1f} and that from the blood gas {value:.1f} "
            f"mmol/L, {differs:.1f} apart, more than the two methods explain: one of the three "
            "results is wrong or of another sample. Repeat before acting."
        )
    yield made(
        "bicarbonate-from-gas",
        "Bicarbonate from the blood gas",
        value,
        MMOL_L,
        gas.BICARBONATE_FROM_GAS,
        [found.ph, found.pco2],
        cautions=cautions,
    )


def _base_excess(inputs: ChemistryInputs, found: Gas | None, base: Reading) -> Iterator[Finding]:
    """Yield the base excess computed from pH, where the laboratory gave none."""
    if inputs.reading("base-excess") is not None or found is None or found.ph is None:
        return
    yield made(
        "base-excess",
        "Base excess, computed",
        float(gas.base_excess_fluid(found.ph.value, base.value)),
        MMOL_L,
        gas.BASE_EXCESS_FLUID,
        [found.ph, base],
        cautions=[found.caution] if found.caution else [],
    )


def _expected(base: Reading, found: Gas | None, rules: ChemistryRules) -> Iterator[Finding]:
    """Yield the carbon dioxide that a simple metabolic disturbance would bring."""
    side = rules.references["bicarbonate"].side(base.value)
    if side == "normal":
        return
    low = side == "low"
    name = "metabolic acidosis" if low else "metabolic alkalosis"
    method = response.WINTERS if low else response.RESPONSE_TO_ALKALOSIS
    spread = response.WINTERS_SPREAD_MMHG if low else response.ALKALOSIS_SPREAD_MMHG
    value = float((response.winters_pco2 if low else response.pco2_in_alkalosis)(base.value))
    low_kpa, high_kpa = (convert(value + step, "mm[Hg]", "kPa") for step in (-spread, spread))
    cautions = [found.caution] if found is not None and found.caution else []
    yield made(
        "expected-pco2",
        f"pCO2 expected in a simple {name} ({low_kpa:.1f} to {high_kpa:.1f} kPa)",
        value,
        "mm[Hg]",
        method,
        [base],
        cautions=cautions,
        interval=(value - spread, value + spread),
        digits=0,
    )


def _of_one_state(found: Gas | None, base: Reading | None, rules: ChemistryRules) -> Gas | None:
    """Return the blood gas where it was taken with the bicarbonate, else None."""
    if found is None or base is None:
        return found
    limit = rules.settings["together-days"]
    there = [reading for reading in (found.ph, found.pco2) if reading]
    return found if all(days_between(one.at, base.at) <= limit for one in there) else None


def numbers_of(inputs: ChemistryInputs, rules: ChemistryRules) -> Numbers:
    """Return every number that the results allow.

    Parameters
    ----------
    inputs : ChemistryInputs
    rules : ChemistryRules

    Raises
    ------
    InputError
        If a result is outside what a formula may be used for.
    """
    latest = gas_of(inputs, rules)
    base = bicarbonate_of(inputs, latest)
    found = _of_one_state(latest, base, rules)
    plain = _plain_gap(inputs, rules, base)
    findings = [plain, *_gap_with_potassium(inputs, rules, base)]
    gap_range, ratio = None, None
    if isinstance(plain.value, float) and base is not None:
        corrected, gap_range = _corrected(inputs, rules, plain)
        findings.append(corrected)
        if isinstance(corrected.value, float):
            delta = _delta(rules, corrected, base)
            ratio = delta.value if isinstance(delta.value, float) else None
            findings.append(delta)
    if base is not None:
        findings += _from_gas(found, base, rules) if found is not None else base.findings
        findings += _base_excess(inputs, found, base)
        findings += _expected(base, found, rules)
    return Numbers(base, found, gap_range, ratio, tuple(findings))
