"""The plan's opening: what matters at a glance, and who the person is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.case import age_in_years
from thalweg.record.concept import concepts
from thalweg.record.fact import Mark, PixelMark, say, say_moment
from thalweg.record.units import printed
from thalweg.sheets.document import Block, Cautions, Cell, Items, Section, Table, Text, Tone
from thalweg.sheets.plan.renogram import key_findings
from thalweg.sheets.plan.words import VERDICT_TONE

if TYPE_CHECKING:
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding
    from thalweg.sheets.plan.content import PlanContent

__all__ = ["at_a_glance", "facts_section"]

SHOWN = 2
ORDER = ("open", "open with cautions", "not yet decidable", "closed")


def _value(finding_name: str, content: PlanContent) -> str:
    found = next((f for f in content.kidney if f.name == finding_name), None)
    return "not known" if found is None else found.shown()


def _opening(content: PlanContent) -> str:
    age = int(age_in_years(content.case.person.born, content.at))
    indication, _ = content.case.word("indication")
    intent, _ = content.case.word("intent")
    why = indication or "indication not recorded"
    with_intent = f", {intent} intent" if intent else ""
    return (
        f"{age} years, {content.case.person.sex}; {why}{with_intent}. "
        f"Filtration rate to rely on: {_value('gfr-to-rely-on', content)}."
    )


def _best_margin(content: PlanContent, side: str) -> Finding | None:
    """Return the greatest margin of one ureter to a site on the skin."""
    found = [
        finding
        for finding in content.margins
        if finding.name.startswith(
            (f"margin-cutaneous-bilateral-{side}", f"margin-cutaneous-single-{side}")
        )
        and isinstance(finding.value, float)
    ]
    return max(found, key=lambda finding: float(str(finding.value)), default=None)


def _key_numbers(content: PlanContent) -> Table:
    """Return the few numbers that a reader looks for first, and where each is explained."""
    wanted = ("gfr-to-rely-on", "gfr-category")
    rows = [(finding, "Kidneys") for finding in content.kidney if finding.name in wanted]
    for study in content.renograms:
        rows += [(finding, "Renogram") for finding in key_findings(study)]
    if content.chemistry is not None:
        rows += [(one, "Acid-base and electrolytes") for one in content.chemistry.key_findings]
    for ureter in content.ureters:
        named = (f"ureter-length-{ureter.side}", f"ureter-narrowing-1-{ureter.side}")
        where = f"{ureter.side.capitalize()} ureter"
        rows += [(finding, where) for finding in ureter.findings if finding.name in named]
        again = [f for f in ureter.findings if f.name.startswith("ureter-narrowing-at-")]
        rows += [(finding, where) for finding in again[:1]]
        best = _best_margin(content, ureter.side)
        rows += [(best, "Reach")] if best is not None else []
    for film in content.radiographs:
        # What is proven where there is one, else the shadow's own length.
        last = film.findings[-1:]
        rows += [(finding, f"{film.side.capitalize()} ureter on a radiograph") for finding in last]
    return Table(
        ("What", "Value", "As of", "Explained under"),
        tuple(
            (finding.title, finding.shown(), say_moment(finding.at)[:10], where)
            for finding, where in rows
        ),
        (5.2, 2.9, 1.3, 2.0),
        caption="Key numbers.",
    )


def at_a_glance(content: PlanContent) -> Section:
    """Return the first section: verdicts in one table, and what is missing most."""
    rows = []
    ranked = sorted(content.appraisal.diversions, key=lambda row: ORDER.index(row.verdict))
    for row in ranked:
        why = row.would_open or (
            (f"to settle: {', '.join(concepts()[key].name for key in row.missing)}",)
            if row.missing
            else ()
        )
        if not why and row.own_cautions:
            more = len(row.own_cautions) - SHOWN
            why = row.own_cautions[:SHOWN] + ((f"and {more} more below",) if more > 0 else ())
        rows.append(
            (row.diversion.titled, Cell(row.verdict, VERDICT_TONE[row.verdict]), "; ".join(why))
        )
    blocks: list[Block] = [
        Text(_opening(content), lead=True),
        Table(
            ("Diversion", "Verdict", "Because, or what would change it"),
            tuple(rows),
            (2.6, 2.0, 6.0),
            caption="Open means that no recorded criterion speaks against it, not that it is "
            "advised.",
        ),
        _key_numbers(content),
    ]
    settlers = content.appraisal.settles
    # The checklist that follows ranks by what could change, and one ranking is enough.
    if settlers and content.completeness is None:
        blocks.append(Text("Settle next, most useful first:"))
        blocks.append(
            Items(
                tuple(
                    f"{one.name}: helps to decide {len(one.waiting)}"
                    + (f", alone decides {len(one.alone)}" if one.alone else "")
                    for one in settlers
                )
            )
        )
    blocks.append(Cautions((*content.problems, *content.notices)))
    return Section("glance", "At a glance", tuple(blocks))


def _row(fact: Fact) -> tuple[str, Cell, str, str]:
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    label = f" ({fact.label})" if fact.label else ""
    tone = Tone.CARE if fact.questions else Tone.PLAIN
    value = Cell(f"{say(fact.value)}{unit}", tone)
    return concepts()[fact.concept].name + label, value, say_moment(fact.at), str(fact.origin)


def facts_section(content: PlanContent) -> Section:
    """Return what is on record: the latest fact of each kind, conflicts said."""
    rows: list[tuple[str, Cell, str, str]] = []
    conflicts = []
    for key in concepts():
        for label in content.case.labels(key):
            chosen = content.case.latest(key, label=label)
            if chosen.conflict:
                conflicts.append(chosen.caution)
            # A renogram's file is named by its hash, which tells a reader nothing.
            if key == "renogram":
                continue
            if chosen.fact is not None and not isinstance(chosen.fact.value, (Mark, PixelMark)):
                rows.append(_row(chosen.fact))
    questions = [q for fact in content.case.facts for q in fact.questions]
    return Section(
        "facts",
        "What is on record",
        (
            Table(
                ("What", "Value", "As of", "From"),
                tuple(rows),
                (3.4, 2.2, 2.2, 3.2),
                caption="The latest of each; marks on the images are left out.",
            ),
            Cautions((*conflicts, *questions)),
        ),
        new_page=True,
    )
