"""What a renogram's page must say beside its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.rules import number
from thalweg.record.renogram import KIDNEYS
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.renogram.circumstances import Circumstances
    from thalweg.assess.renogram.draws import Draws
    from thalweg.assess.renogram.result import Estimate
    from thalweg.evidence.protocol import Rules
    from thalweg.record.renogram import Renogram

__all__ = ["decay_said", "study_said", "timing_of"]

MIN = 60.0


def timing_of(furosemide_s: float | None) -> str:
    """Return the protocol's usual name: F and the minutes from tracer to furosemide."""
    if furosemide_s is None:
        return "no furosemide stated"
    minutes = round(furosemide_s / MIN)
    if minutes == 0:
        return "F0"
    return f"F+{minutes}" if minutes > 0 else f"F−{-minutes}"


def decay_said(study: Renogram) -> str:
    """Return what was done about decay, with the size of what could not be done."""
    life = study.half_life_s
    if study.decay_corrected:
        return "The counts came corrected for decay."
    if study.decay_corrected is False:
        return "Decay was corrected here."
    late = 100.0 * (1.0 - 2.0 ** (-20.0 * MIN / life))
    true_half = 20.0 * MIN
    seen = 1.0 / (1.0 / true_half + 1.0 / life) / MIN
    return (
        "Nobody says whether decay was corrected. Shares do not depend on it. If it was not, "
        f"counts at 20 min are {late:.1f} % too low and a half-time of 20 min reads {seen:.1f} "
        "min; the intervals hold both."
    )


def _view(study: Renogram) -> list[str]:
    if study.view == "anterior":
        return [
            (
                "Anterior view: the kidneys lie deep and at different depths, which shifts the "
                "share; a posterior view or the geometric mean is asked for."
            )
        ]
    if study.view == "posterior":
        return [
            (
                "Posterior view only: kidneys at different depths, or one out of place, shift the "
                "share; the interval does not hold that."
            )
        ]
    if not study.view:
        return ["Nobody says from which side the camera looked."]
    return []


def _backgrounds(study: Renogram, found: Draws, rules: Rules) -> list[str]:
    weak = number(rules, "kidney-to-background", "at_most")
    said = []
    for side in (s for s in KIDNEYS if s in study.counts):
        background = found.backgrounds[side]
        if background.role != f"{side}-background":
            said.append(f"Background, {side} kidney: {background.said}.")
        ratio = background.kidney_to_background
        if ratio is not None and ratio <= weak:
            said.append(
                f"Kidney-to-background ratio of the {side} kidney is {ratio:.1f}, at most "
                f"{weak:g}: its share is poorly reproducible."
            )
    if "blood" in study.counts and not found.blood_corrected:
        said.append("Tissue could not be taken off the blood curve: an area is not stated.")
    return said


def _person(given: Circumstances, share: Estimate | None, rules: Rules) -> list[str]:
    said = []
    if given.both_diseased is Truth.MET:
        said.append(
            "Both kidneys are diseased: a share says nothing of either's own function; have total "
            "function measured."
        )
    low = number(rules, "share-low", "below")
    if share is not None and min(share.value, 100.0 - share.value) < low:
        side = "left" if share.value < low else "right"
        said.append(
            f"The {side} kidney's share is under {low:g} %: its curve is mostly background, and "
            "what it says of drainage is weak."
        )
    if given.age_years is not None and given.age_years < number(rules, "immature", "under_years"):
        said.append("A kidney of this age is immature: repeat the study later before deciding.")
    return said


def study_said(
    study: Renogram, given: Circumstances, share: Estimate | None, found: Draws, rules: Rules
) -> tuple[str, ...]:
    """Return the sentences about a study that every page carries."""
    said = [*study.cautions, *_backgrounds(study, found, rules), *_view(study)]
    said += _person(given, share, rules)
    if study.furosemide_s is None:
        said.append("No furosemide is stated: emptying was judged without it.")
    if not study.tracer:
        said.append("The tracer is not stated: windows and limits are those of MAG3.")
    elif "MAG3" not in study.tracer.upper() and "EC" not in study.tracer.upper().split():
        said.append(f"Windows and limits are those of MAG3; this study used {study.tracer}.")
    said.append("The camera's dead time was not corrected: it matters only at very high rates.")
    return tuple(dict.fromkeys(said))
