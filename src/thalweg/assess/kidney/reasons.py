"""What to say beside the filtration rate that is relied on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.facts import day_of
from thalweg.assess.kidney.children import U25_YEARS
from thalweg.assess.kidney.estimates import adult
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from thalweg.assess.kidney.inputs import KidneyInputs
    from thalweg.record.finding import Finding

__all__ = ["ADULT", "CHILD", "COMBINED_DAYS", "DISAGREEMENT", "cautions_about", "marker_days"]

# Ours, not published: markers so far apart are not combined; it is said.
COMBINED_DAYS = 90
# The yardstick by which the accuracy of estimates is published.
DISAGREEMENT = 0.30

ADULT = {
    "combined": "egfr-ckd-epi-2021-creatinine-cystatin",
    "cystatin": "egfr-ckd-epi-2012-cystatin",
    "creatinine": "egfr-ckd-epi-2021-creatinine",
}
CHILD = {
    "combined": "egfr-ckid-u25-mean",
    "cystatin": "egfr-ckid-u25-cystatin",
    "creatinine": "egfr-ckid-u25-creatinine",
    "schwartz": "egfr-schwartz-2009",
}


def marker_days(inputs: KidneyInputs) -> int:
    """Return by how many days cystatin C is younger than creatinine; 0 without both."""
    first, second = inputs.creatinine.fact, inputs.cystatin_c.fact
    if first is None or second is None:
        return 0
    return (day_of(second.at) - day_of(first.at)).days


def _flag_cautions(inputs: KidneyInputs, kind: str) -> Iterator[str]:
    flags = {"muscle-loss": "muscle loss", "bowel-in-urinary-tract": "bowel in the urinary tract"}
    present = [name for key, name in flags.items() if inputs.truth(key) is Truth.MET]
    unknown = [
        name
        for key, name in flags.items()
        if inputs.truth(key) is Truth.NOT_KNOWN and not inputs.chosen(key).conflict
    ]
    for key in flags:
        if inputs.chosen(key).conflict:
            yield inputs.chosen(key).caution
    if present and kind == "cystatin":
        yield f"Cystatin C goes before creatinine here because of {' and '.join(present)}."
    elif present:
        yield (
            f"Creatinine misleads here because of {' and '.join(present)}: have cystatin C or, "
            "better, the rate itself measured before deciding anything on this figure."
        )
    if inputs.urea.fact is not None and "bowel in the urinary tract" in present:
        yield "Urea does not settle it: bowel takes urea back even more than creatinine."
    if unknown and kind != "cystatin":
        yield (
            f"Not recorded whether there is {' or '.join(unknown)}; either would bias creatinine."
        )


def _disagreement(inputs: KidneyInputs, made: Mapping[str, Finding]) -> Iterator[str]:
    names = ADULT if adult(inputs) else CHILD
    pair = [made.get(names[marker]) for marker in ("creatinine", "cystatin")]
    values = [f.value for f in pair if f is not None and isinstance(f.value, float)]
    if len(values) == len(pair) and abs(values[0] - values[1]) > DISAGREEMENT * max(values):
        yield (
            f"Creatinine gives {values[0]:.0f} and cystatin C {values[1]:.0f} mL/min/1.73 m², more "
            "than 30 % apart: look for the reason, and have the rate measured."
        )


def _both_ages(inputs: KidneyInputs, kind: str, made: Mapping[str, Finding]) -> Iterator[str]:
    if not adult(inputs) or inputs.age_years > U25_YEARS[1]:
        return
    other = made.get(CHILD[kind])
    figure = (
        f"CKiD U25 gives {other.value:.0f} mL/min/1.73 m²"
        if other is not None and isinstance(other.value, float)
        else "CKiD U25 needs the height as well"
    )
    yield (
        "From 18 to 25 years equations for adults and for the young both exist; the one for "
        f"adults is used here, {figure}."
    )
    if kind == "creatinine":
        yield (
            "With kidney disease since childhood the adult equation by creatinine (that of 2009) "
            "read 8 mL/min/1.73 m² too high at this age."
        )


def _marker_gap(inputs: KidneyInputs, kind: str) -> Iterator[str]:
    days = marker_days(inputs)
    if abs(days) > COMBINED_DAYS and kind != "combined":
        older = "creatinine" if days > 0 else "cystatin C"
        yield f"The {older} is {abs(days)} days older and was not combined with the other."
        if days < 0 and kind == "cystatin":
            yield "The cystatin C relied on is the older result: repeat it."


def _contradictions(inputs: KidneyInputs) -> Iterator[str]:
    """Contradicting results, which narrowed the choice."""
    for key in ("creatinine", "cystatin-c"):
        if inputs.chosen(key).conflict:
            yield inputs.chosen(key).caution


def cautions_about(kind: str, inputs: KidneyInputs, made: Mapping[str, Finding]) -> tuple[str, ...]:
    """Return the cautions that go with relying on an estimate.

    Parameters
    ----------
    kind : str
        What it rests on: a key of `ADULT` or `CHILD`.
    inputs : KidneyInputs
        The facts.
    made : mapping of str to Finding
        The estimates that have a value, by name.
    """
    return (
        *_flag_cautions(inputs, kind),
        *_contradictions(inputs),
        *_marker_gap(inputs, kind),
        *_disagreement(inputs, made),
        *_both_ages(inputs, kind, made),
    )
