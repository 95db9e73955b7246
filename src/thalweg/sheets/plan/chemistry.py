"""The plan's page on acid-base and electrolytes: results at a glance, then what they say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.record.concept import concepts
from thalweg.record.fact import say_moment
from thalweg.record.truth import Truth
from thalweg.record.units import printed
from thalweg.sheets.document import Block, Cautions, Cell, Items, Section, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from thalweg.assess.chemistry.rules import Reference
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding

__all__ = ["PlannedChemistry", "chemistry_section"]

MEASURED = (
    *("sodium", "potassium", "chloride", "bicarbonate", "total-co2", "albumin", "urea"),
    *("magnesium", "calcium", "ionised-calcium", "ph-arterial", "pco2-arterial"),
)
"""Results that the page shows against their range, in this order."""

SAID = (
    *("anion-gap", "anion-gap-corrected", "delta-ratio", "expected-pco2", "bicarbonate-from-gas"),
    *("base-excess", "bicarbonate-deficit", "base-deficit", "calcium-adjusted", "osmolal-gap"),
    *("urine-anion-gap", "bicarbonate-trend"),
)
"""Findings that the second table shows, in this order."""
LISTED = ("segment-pattern", "segment-mimics")
"""Findings whose sentences stand as lists of their own."""

RANGE_OF = {"total-co2": "bicarbonate"}
_TONE = {"low": Tone.CARE, "normal": Tone.GOOD, "high": Tone.CARE}
_LEVEL = {"urgent": Tone.BAD, "review": Tone.CARE, "flag": Tone.CARE}


@dataclass(frozen=True, eq=False)
class PlannedChemistry:
    """What the plan says of acid-base and electrolytes.

    Parameters
    ----------
    findings : tuple of Finding
        As the report gives them.
    references : mapping of str to Reference
        The ranges they were judged by, the unit's own included.
    """

    findings: tuple[Finding, ...]
    references: Mapping[str, Reference]

    def finding(self, name: str) -> Finding | None:
        """Return the finding of that name, or None where it was not made."""
        return next((one for one in self.findings if one.name == name), None)

    @property
    def key_findings(self) -> tuple[Finding, ...]:
        """The two lines that a reader looks for first."""
        names = ("acid-base-disturbance", "chemistry-level")
        return tuple(one for one in map(self.finding, names) if one is not None)


def _measured(case: Case, planned: PlannedChemistry) -> Iterator[tuple[Cell | str, ...]]:
    """Yield each result with its range, its side of it said in words beside the colour."""
    for key in MEASURED:
        reference = planned.references[RANGE_OF.get(key, key)]
        value, chosen = case.quantity(key, reference.unit)
        span = f"{reference.low:g} to {reference.high:g} {printed(reference.unit)}"
        name = concepts()[key].name.removesuffix(", blood")
        if chosen.conflict:
            yield name, Cell("two results contradict", Tone.UNKNOWN), span, ""
        elif value is None and key in ("sodium", "potassium", "chloride"):
            yield name, Cell("not measured", Tone.UNKNOWN), span, ""
        elif value is not None and chosen.fact is not None:
            side = reference.side(value)
            shown = f"{value:.4g} {printed(reference.unit)}: {side}"
            yield name, Cell(shown, _TONE[side]), span, say_moment(chosen.fact.at)[:10]


def _shown(planned: PlannedChemistry) -> list[Finding]:
    """Return the findings of the second table, in its order."""
    names = ("acid-base-disturbance", *SAID, *LISTED)
    first = [one for one in map(planned.finding, names) if one is not None]
    limits = ("limit-", "chemistry-level")
    rest = [one for one in planned.findings if one not in first]
    return [*first, *(one for one in rest if not one.name.startswith(limits))]


def _said(planned: PlannedChemistry) -> Iterator[tuple[Cell | str, ...]]:
    for finding in _shown(planned):
        value: Cell | str = finding.shown()
        if finding.value is None or finding.value is Truth.NOT_KNOWN:
            value = Cell("not known", Tone.UNKNOWN)
        # The truths rest on the disturbance named above them, and the lists print their own.
        told = isinstance(finding.value, Truth) or finding.name in LISTED
        marks = "" if told else source_marks(finding.method.sources)
        yield finding.title, value, say_moment(finding.at)[:10], marks


def _levels(planned: PlannedChemistry) -> Table:
    rows = []
    level = planned.finding("chemistry-level")
    if level is not None:
        word = str(level.value) if level.value is not None else "not known"
        tone = _LEVEL.get(word.partition(";")[0], Tone.GOOD)
        cell = Cell(word, Tone.UNKNOWN if level.value is None else tone)
        rows.append((level.title, cell, say_moment(level.at)[:10], ""))
    for finding in planned.findings:
        if finding.name.startswith("limit-"):
            tone = Tone.CARE if finding.value is Truth.MET else Tone.UNKNOWN
            word = "crossed" if tone is Tone.CARE else "crossed once"
            marks = source_marks(finding.method.sources)
            rows.append((finding.title, Cell(word, tone), say_moment(finding.at)[:10], marks))
    return Table(
        ("What", "Value", "As of", "Source"),
        tuple(rows),
        (4.6, 2.4, 1.4, 2.8),
        caption="A limit asks somebody to look; it is not an order to treat.",
    )


def _listed(planned: PlannedChemistry) -> Iterator[Block]:
    """Yield the segment's pattern and the other causes, each item a line."""
    for name in LISTED:
        finding = planned.finding(name)
        if finding is not None:
            marks = source_marks(finding.method.sources)
            yield Text(f"{finding.title}: {finding.shown()}. {marks}")
            yield Items(finding.cautions)


def _cautions(planned: PlannedChemistry) -> tuple[str, ...]:
    """Return what to heed: warnings first; what stands under Kidneys is not said again."""
    first = [one for one in planned.findings if one.name.startswith(("acid-base", "trap"))]
    limits = [one for one in planned.findings if one.name.startswith("limit-")]
    numbers = [one for one in _shown(planned) if one.name in SAID]
    ordered = (*first, *numbers, *limits)
    return tuple(
        dict.fromkeys(said for one in ordered for said in (*one.cautions, *one.method.cautions))
    )


def chemistry_section(case: Case, planned: PlannedChemistry) -> Section:
    """Return the page on acid-base and electrolytes.

    Parameters
    ----------
    case : Case
        As known on the plan's day.
    planned : PlannedChemistry
    """
    first = planned.finding("acid-base-disturbance")
    named = "not known" if first is None else first.shown()
    measured = Table(
        ("Result", "Value", "Range", "As of"),
        tuple(_measured(case, planned)),
        (3.6, 3.4, 3.0, 1.4),
        caption="The latest of each. Ranges in common use, unless the unit has put in its own.",
    )
    blocks: list[Block] = [
        Text(f"{named[:1].upper()}{named[1:]}.", lead=True),
        measured,
        _levels(planned),
        Table(
            ("What", "Value", "As of", "Source"),
            tuple(_said(planned)),
            (3.8, 3.4, 1.4, 2.8),
        ),
        *_listed(planned),
        Cautions(_cautions(planned)),
    ]
    return Section("chemistry", "Acid-base and electrolytes", tuple(blocks), new_page=True)
