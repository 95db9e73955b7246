"""Which disturbances the numbers show, alone or together, and what would settle the rest."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from thalweg.assess.chemistry import response
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.chemistry.derived import Numbers
    from thalweg.assess.chemistry.rules import AcidBase, ChemistryRules, Side

__all__ = ["State", "state_of"]

GAS = ("ph-arterial", "pco2-arterial")


@dataclass(slots=True)
class State:
    """What the numbers show of each disturbance.

    Parameters
    ----------
    truths : dict of str to Truth
        ``metabolic acidosis``, ``normal-gap acidosis``, ``high-gap acidosis``, ``metabolic
        alkalosis``, ``respiratory acidosis``, ``respiratory alkalosis``.
    presumed : bool
        True where the metabolic reading stands without a blood gas to exclude that bicarbonate
        answers a disturbance of breathing.
    settles : list of str
        Concepts that would settle what is not known.
    notes : list of str
        Sentences for the reader.
    """

    truths: dict[str, Truth] = field(default_factory=dict)
    presumed: bool = False
    settles: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def of(self, name: AcidBase) -> Truth:
        """Return what is known of a metabolic disturbance."""
        return self.truths[name]


@dataclass(frozen=True, slots=True)
class _Seen:
    """The values the judgement compares, in mmol/L, mmHg and pH; None where not known."""

    base: float
    side: Side
    ph: float | None
    pco2: float | None
    pco2_off: float
    """How far carbon dioxide may lie from the arterial, mmHg; 0 where it is arterial."""
    explained: tuple[float, float] | None
    high_gap: Truth
    gap_least: float | None
    ratio: float | None


def _seen(numbers: Numbers, rules: ChemistryRules) -> _Seen:
    assert numbers.bicarbonate is not None  # noqa: S101 - callers have checked
    gas, base = numbers.gas, numbers.bicarbonate.value
    ph = gas.ph.value if gas is not None and gas.ph is not None else None
    if ph is not None and gas is not None and gas.sample == "venous":
        ph += rules.settings["venous-ph"]
    pco2, off = None, 0.0
    if gas is not None and gas.pco2 is not None and gas.sample in ("arterial", "capillary"):
        pco2 = gas.pco2.value
        off = rules.settings["capillary-pco2-close"] if gas.sample == "capillary" else 0.0
    explained = None
    if pco2 is not None:
        low, _ = response.bicarbonate_explained(pco2 - off)
        _, high = response.bicarbonate_explained(pco2 + off)
        explained = (float(low), float(high))
    high_gap, gap_least = Truth.NOT_KNOWN, None
    if numbers.gap_range is not None:
        gap_least, most = numbers.gap_range
        limit, close = rules.references["anion-gap"].high, rules.settings["gap-close"]
        if gap_least > limit + close:
            high_gap = Truth.MET
        elif most <= limit:
            high_gap = Truth.NOT_MET
    side = rules.references["bicarbonate"].side(base)
    return _Seen(base, side, ph, pco2, off, explained, high_gap, gap_least, numbers.ratio)


def _certain_gap(seen: _Seen, rules: ChemistryRules) -> bool:
    """Return whether the gap is so high that it is an acidosis at any bicarbonate."""
    return seen.gap_least is not None and seen.gap_least > rules.settings["gap-certain"]


def _beyond_breathing(seen: _Seen, rules: ChemistryRules, side: Side) -> bool:
    """Return whether bicarbonate lies farther to a side than carbon dioxide explains.

    At an ordinary carbon dioxide the reference range of bicarbonate decides, not the line.
    """
    if seen.explained is None or seen.pco2 is None:
        return False
    opposite = {"low": "high", "high": "low"}[side]
    if seen.side != side and rules.references["pco2-arterial"].side(seen.pco2) != opposite:
        return False
    low, high = seen.explained
    return seen.base < low if side == "low" else seen.base > high


def _acidosis(seen: _Seen, rules: ChemistryRules, state: State) -> Truth:
    """Judge metabolic acidosis: bicarbonate low beyond what breathing explains, or a high gap."""
    if _certain_gap(seen, rules) or _beyond_breathing(seen, rules, "low"):
        return Truth.MET
    if seen.side == "low":
        return _low_bicarbonate(seen, rules, state)
    if seen.high_gap is Truth.MET:
        state.notes.append(
            "The anion gap is raised without a low bicarbonate: an acidosis hidden by an "
            "alkalosis, or a mistake of measurement. Lactate and ketones, and a repeat, tell."
        )
        state.settles.append("lactate")
        return Truth.NOT_KNOWN
    return Truth.NOT_MET


def _low_bicarbonate(seen: _Seen, rules: ChemistryRules, state: State) -> Truth:
    """Judge a low bicarbonate that carbon dioxide could explain, or that stands alone."""
    if seen.ph is not None and seen.ph < rules.references["ph-arterial"].middle:
        return Truth.MET
    if seen.ph is not None and seen.pco2 is not None:
        state.notes.append(
            "The low bicarbonate is what long over-breathing alone would bring: pH is not low."
        )
        return Truth.NOT_MET
    state.settles += GAS
    if seen.ph is not None or seen.pco2 is not None:
        state.notes.append(
            "Whether the low bicarbonate is metabolic or answers over-breathing is open: both pH "
            "and carbon dioxide from an artery are needed."
        )
        return Truth.NOT_KNOWN
    state.presumed = True
    if seen.high_gap is not Truth.MET:
        state.notes.append(
            "No blood gas: a low bicarbonate with a normal gap is also how the kidneys answer long "
            "over-breathing. pH and carbon dioxide from an artery tell them apart."
        )
    return Truth.MET


def _alkalosis(seen: _Seen, rules: ChemistryRules, state: State) -> Truth:
    """Judge metabolic alkalosis: bicarbonate high beyond what breathing explains, or hidden."""
    if _beyond_breathing(seen, rules, "high"):
        return Truth.MET
    if seen.side == "high":
        return _high_bicarbonate(seen, rules, state)
    steep = seen.ratio is not None and seen.ratio > rules.settings["delta-high"]
    if steep and seen.high_gap is Truth.MET:
        state.notes.append(
            "The gap has risen more than twice as far as bicarbonate has fallen: bicarbonate stood "
            "higher before, by an alkalosis or by holding back carbon dioxide."
        )
        return Truth.MET
    if seen.side == "normal" and _certain_gap(seen, rules):
        state.notes.append("So high a gap with a normal bicarbonate hides an alkalosis.")
        return Truth.MET
    return Truth.NOT_MET


def _high_bicarbonate(seen: _Seen, rules: ChemistryRules, state: State) -> Truth:
    """Judge a high bicarbonate that carbon dioxide could explain, or that stands alone."""
    if seen.ph is not None and seen.ph > rules.references["ph-arterial"].middle:
        return Truth.MET
    if seen.ph is not None and seen.pco2 is not None:
        state.notes.append("The high bicarbonate is what long under-breathing would bring.")
        return Truth.NOT_MET
    state.settles += GAS
    if seen.ph is not None or seen.pco2 is not None:
        return Truth.NOT_KNOWN
    state.presumed = True
    state.notes.append(
        "No blood gas: a high bicarbonate is also how the kidneys answer long under-breathing."
    )
    return Truth.MET


def _kinds(seen: _Seen, rules: ChemistryRules, acidosis: Truth) -> tuple[Truth, Truth]:
    """Return what is known of a normal-gap and of a high-gap acidosis."""
    if acidosis is not Truth.MET:
        return acidosis, acidosis
    if seen.ratio is not None and seen.ratio < rules.settings["delta-low"]:
        return Truth.MET, Truth.NOT_MET
    if seen.high_gap is not Truth.MET:
        return ~seen.high_gap, seen.high_gap
    if seen.ratio is None:
        # The gap is high for any albumin, or bicarbonate not low: how much of it is not known.
        return (Truth.NOT_MET if seen.side != "low" else Truth.NOT_KNOWN), Truth.MET
    return Truth.of(seen.ratio < rules.settings["delta-mixed"]), Truth.MET


def _band(seen: _Seen, rules: ChemistryRules, state: State) -> tuple[float, float]:
    """Return the carbon dioxide that needs no disturbance of breathing to explain it, mmHg."""
    if state.truths["metabolic acidosis"] is Truth.MET and seen.side == "low":
        middle, spread = float(response.winters_pco2(seen.base)), response.WINTERS_SPREAD_MMHG
    elif state.truths["metabolic alkalosis"] is Truth.MET and seen.side == "high":
        middle, spread = (
            float(response.pco2_in_alkalosis(seen.base)),
            (response.ALKALOSIS_SPREAD_MMHG),
        )
    else:
        reference = rules.references["pco2-arterial"]
        return reference.low, reference.high
    return middle - spread, middle + spread


def _beyond(excess: float, off: float) -> Truth:
    """Return whether a limit is passed, not known where it is nearer than the measure is sure."""
    return Truth.NOT_KNOWN if abs(excess) < off else Truth.of(excess > 0)


def _breathing(numbers: Numbers, seen: _Seen, rules: ChemistryRules, state: State) -> None:
    """Judge breathing from arterial carbon dioxide, or from capillary away from the limits.

    From venous only what it can exclude.
    """
    if seen.pco2 is not None:
        low, high = _band(seen, rules, state)
        state.truths["respiratory acidosis"] = _beyond(seen.pco2 - high, seen.pco2_off)
        state.truths["respiratory alkalosis"] = _beyond(low - seen.pco2, seen.pco2_off)
        where = "above" if seen.pco2 > high else "below" if seen.pco2 < low else "within"
        kind = "Capillary" if seen.pco2_off else "Arterial"
        state.notes.append(
            f"{kind} carbon dioxide of {seen.pco2:.0f} mmHg lies {where} the {low:.0f} to "
            f"{high:.0f} mmHg that need no disturbance of breathing."
        )
        judged = (state.truths["respiratory acidosis"], state.truths["respiratory alkalosis"])
        if Truth.NOT_KNOWN in judged:
            state.notes.append(
                f"Capillary carbon dioxide differs by some {seen.pco2_off:g} mmHg from arterial: "
                "so near to the limit it does not settle how the person breathes."
            )
            state.settles.append("pco2-arterial")
        return
    acidosis = Truth.NOT_KNOWN
    gas = numbers.gas
    venous = gas is not None and gas.sample == "venous" and gas.pco2 is not None
    if venous and gas is not None and gas.pco2 is not None and seen.side != "low":
        screen = rules.settings["venous-pco2-screen"]
        if gas.pco2.value < screen:
            acidosis = Truth.NOT_MET
            state.notes.append(
                f"A venous carbon dioxide below {screen:g} mmHg excludes that it is held back."
            )
    state.truths["respiratory acidosis"] = acidosis
    state.truths["respiratory alkalosis"] = Truth.NOT_KNOWN
    state.settles.append("pco2-arterial")


def state_of(numbers: Numbers, rules: ChemistryRules) -> State:
    """Return what the numbers show of each disturbance.

    Parameters
    ----------
    numbers : Numbers
    rules : ChemistryRules
    """
    state = State()
    names = ("metabolic acidosis", "normal-gap acidosis", "high-gap acidosis")
    if numbers.bicarbonate is None:
        every = (*names, "metabolic alkalosis", "respiratory acidosis", "respiratory alkalosis")
        state.truths = dict.fromkeys(every, Truth.NOT_KNOWN)
        state.settles = ["bicarbonate", *GAS]
        return state
    seen = _seen(numbers, rules)
    acidosis = _acidosis(seen, rules, state)
    normal, high = _kinds(seen, rules, acidosis)
    state.truths = dict(zip(names, (acidosis, normal, high), strict=True))
    state.truths["metabolic alkalosis"] = _alkalosis(seen, rules, state)
    if acidosis is Truth.MET and Truth.NOT_KNOWN in (normal, high):
        wide = numbers.gap_range is not None and numbers.gap_range[0] < numbers.gap_range[1]
        state.settles += ["albumin"] if wide else ["sodium", "chloride"]
    _breathing(numbers, seen, rules, state)
    state.settles = list(dict.fromkeys(state.settles))
    return state
