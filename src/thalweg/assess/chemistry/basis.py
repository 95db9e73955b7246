"""Which bicarbonate and which blood gas the report stands on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from thalweg.assess.chemistry.gap import BICARBONATE
from thalweg.assess.chemistry.gas import BICARBONATE_FROM_GAS, bicarbonate_from_gas
from thalweg.assess.chemistry.inputs import ANY_BICARBONATE, Reading, days_between
from thalweg.assess.chemistry.made import apart, made
from thalweg.record.fact import moment_key

if TYPE_CHECKING:
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.rules import ChemistryRules

__all__ = ["Gas", "Sample", "bicarbonate_of", "gas_of"]

Sample = Literal["arterial", "capillary", "venous", "not said"]
_ENDING: dict[Sample, str] = {
    "arterial": "-arterial",
    "capillary": "-capillary",
    "venous": "-venous",
    "not said": "",
}

TOTAL_CO2 = (
    "Total CO2 stands in for bicarbonate: it holds dissolved carbon dioxide too and reads about 1 "
    "mmol/L higher, and lower where the tube stood open or was not filled."
)
VENOUS = (
    "The blood gas is venous: its pH (0.03 lower) and bicarbonate (1 mmol/L higher) serve, its "
    "carbon dioxide does not stand for the arterial."
)
CAPILLARY = (
    "The blood gas is capillary: where the place was warmed and bled freely, its pH (0.02) and "
    "carbon dioxide (2 mmHg) lie close to the arterial; in shock, cold or swelling they do not."
)
NOT_SAID = (
    "It is not said whether the blood gas is arterial, capillary or venous: its carbon dioxide was "
    "not used to judge breathing."
)


@dataclass(frozen=True, slots=True)
class Gas:
    """pH and carbon dioxide (mmHg) of one kind of sample.

    Parameters
    ----------
    sample : "arterial", "capillary", "venous" or "not said"
    ph, pco2 : Reading or None
    """

    sample: Sample
    ph: Reading | None
    pco2: Reading | None

    @property
    def caution(self) -> str:
        """What to say about the kind of sample; empty for an arterial one."""
        said = {"arterial": "", "capillary": CAPILLARY, "venous": VENOUS, "not said": NOT_SAID}
        return said[self.sample]


def gas_of(inputs: ChemistryInputs, rules: ChemistryRules) -> Gas | None:
    """Return the latest blood gas, the one nearest to arterial on one day; None without any."""
    found: list[tuple[int, Gas]] = []
    for order, (sample, ending) in enumerate(_ENDING.items()):
        ph = inputs.reading(f"ph{ending}", "[pH]")
        pco2 = inputs.reading(f"pco2{ending}", "mm[Hg]")
        if ph and pco2 and apart([ph, pco2], rules):
            # Two samples: the younger is the state, the older says nothing of it.
            ph, pco2 = (ph, None) if moment_key(ph.at) > moment_key(pco2.at) else (None, pco2)
        if ph or pco2:
            found.append((order, Gas(sample, ph, pco2)))
    if not found:
        return None

    def age(one: tuple[int, Gas]) -> tuple[int, int]:
        order, gas = one
        there = [reading for reading in (gas.ph, gas.pco2) if reading]
        return min(days_between(reading.at, inputs.at) for reading in there), order

    return min(found, key=age)[1]


def bicarbonate_of(inputs: ChemistryInputs, gas: Gas | None) -> Reading | None:
    """Return bicarbonate (mmol/L): measured, else total CO2, else from the blood gas.

    Of measured bicarbonate and total CO2 the younger counts, and bicarbonate on one day.
    """
    there = [
        (key, reading)
        for key in ANY_BICARBONATE
        if (reading := inputs.reading(key, "mmol/L")) is not None
    ]
    if there:
        key, reading = min(there, key=lambda one: days_between(one[1].at, inputs.at))
        return reading if key == "bicarbonate" else replace(reading, cautions=(TOTAL_CO2,))
    if gas is None or gas.ph is None or gas.pco2 is None:
        return None
    value = float(bicarbonate_from_gas(gas.ph.value, gas.pco2.value))
    low, high = BICARBONATE
    if not low <= value <= high:
        # A pH and a carbon dioxide that cannot be of one sample; nothing stands on them.
        return None
    finding = made(
        "bicarbonate-from-gas",
        "Bicarbonate from the blood gas",
        value,
        "mmol/L",
        BICARBONATE_FROM_GAS,
        [gas.ph, gas.pco2],
    )
    return Reading(value, findings=(finding,))
