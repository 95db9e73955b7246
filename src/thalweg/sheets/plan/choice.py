"""The plan's end: every diversion with its reasons, the calendar, the sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.bibliography import bibliography, cite
from thalweg.record.fact import say_moment
from thalweg.record.truth import Truth
from thalweg.sheets.document import Block, Cautions, Cell, Section, Table, Text, Tone
from thalweg.sheets.plan.diagrams import beside_diagram
from thalweg.sheets.plan.fitness import fitness_sources
from thalweg.sheets.plan.lifecourse import lifecourse_sources
from thalweg.sheets.plan.nearest import nearest_blocks, nearest_sources
from thalweg.sheets.plan.preferences import preference_sources
from thalweg.sheets.plan.published import published_sources
from thalweg.sheets.plan.words import VERDICT_TONE, source_marks

if TYPE_CHECKING:
    from thalweg.care.calendar import Calendar
    from thalweg.plan.appraised import Appraised
    from thalweg.plan.burdens import Burden
    from thalweg.plan.criteria.weighed import Weighed
    from thalweg.sheets.plan.content import PlanContent

__all__ = ["calendar_section", "diversion_sections", "sources_section"]

_TRUTH = {Truth.MET: Tone.GOOD, Truth.NOT_MET: Tone.BAD, Truth.NOT_KNOWN: Tone.UNKNOWN}
FIRST_VISITS = 14


def _because(one: Weighed) -> str:
    facts = [str(fact) for fact in one.judged.facts]
    findings = [f"{f.title} {f.shown()}, {say_moment(f.at)[:10]}" for f in one.judged.findings]
    missing = f"missing: {', '.join(one.judged.missing)}" if one.judged.missing else ""
    return "; ".join(part for part in (*facts, *findings, missing, one.would_open) if part)


def _criterion(one: Weighed) -> tuple[Cell | str, ...]:
    strength = "must" if one.criterion.strength == "required" else "should"
    tone = _TRUTH[one.truth]
    if one.truth is Truth.NOT_MET and strength == "should":
        tone = Tone.CARE
    sources = one.criterion.local_source or source_marks(one.criterion.sources)
    return (
        f"{one.criterion.sentence} ({strength})",
        Cell(one.truth.value, tone),
        _because(one),
        sources,
    )


def _burden(one: Burden) -> str:
    """Return a burden with how often, where its words do not say it already."""
    figures = one.often and not any(word in one.says for word in ("every", "about", "twice"))
    return f"{one.says} ({one.often})" if figures else one.says


def _diversion(content: PlanContent, row: Appraised, *, first: bool) -> Section:
    diversion = row.diversion
    told = (
        Table(
            ("Verdict", "Bowel", "Tubes", "Burdens"),
            (
                (
                    Cell(row.verdict, VERDICT_TONE[row.verdict]),
                    diversion.bowel or "none",
                    diversion.tubes or "none",
                    ", ".join(map(_burden, diversion.daily)),
                ),
            ),
            (1.6, 2.2, 2.6, 4.0),
        ),
        Text(diversion.description),
    )
    blocks: list[Block] = [
        *beside_diagram(content, diversion.key, told),
        Table(
            ("Criterion", "Truth", "Because", "Source"),
            tuple(_criterion(one) for one in row.weighed),
            (3.6, 1.3, 4.4, 2.2),
        ),
        *nearest_blocks(content.appraisal.nearest.get(diversion.key)),
        Cautions(row.own_cautions),
    ]
    name = diversion.titled[:1].upper() + diversion.titled[1:]
    return Section(f"diversion-{diversion.key}", name, tuple(blocks), new_page=first)


def diversion_sections(content: PlanContent) -> tuple[Section, ...]:
    """Return every diversion with each criterion's truth, reason and source."""
    return tuple(
        _diversion(content, row, first=number == 0)
        for number, row in enumerate(content.appraisal.diversions)
    )


def _rules(calendar: Calendar) -> Table:
    rows = []
    seen = dict.fromkeys(visit.rule for visit in calendar.visits)
    for rule in seen:
        ahead = next((v for v in calendar.visits if v.rule == rule and v.status != "done"), None)
        due = "" if ahead is None else (ahead.due.isoformat() if ahead.due else ahead.when)
        rows.append(
            (
                rule.title,
                rule.schedule,
                due,
                rule.who,
                f"{rule.standing}: {rule.local_source or source_marks(rule.sources)}",
            )
        )
    return Table(
        ("What", "When after operation", "Next due", "Who", "Rests on"),
        tuple(rows),
        (2.4, 3.2, 1.7, 1.7, 2.6),
        caption="Every rule that applies.",
    )


def _first(calendar: Calendar) -> Table:
    ahead = [visit for visit in calendar.visits if visit.status != "done"][:FIRST_VISITS]
    rows = []
    for visit in ahead:
        window = ""
        if visit.window_from and visit.window_to:
            window = f"{visit.window_from.isoformat()} to {visit.window_to.isoformat()}"
        tone = Tone.CARE if visit.status == "overdue" else Tone.PLAIN
        rows.append(
            (
                visit.due.isoformat() if visit.due else visit.when,
                window,
                visit.rule.title,
                Cell(visit.status, tone),
            )
        )
    return Table(
        ("Due", "Window", "What", "Status"),
        tuple(rows),
        (2.0, 3.2, 4.4, 1.4),
        caption=f"The next {len(rows)} visits.",
    )


def calendar_section(content: PlanContent) -> Section:
    """Return the follow-up for life: rules, next visits, what is undecided."""
    blocks: list[Block] = [Text(content.calendar_reason)]
    calendar = content.calendar
    if calendar is not None:
        blocks += [_rules(calendar), _first(calendar)]
        undecided = tuple(one.sentence for one in calendar.undecided)
        blocks.append(Cautions((*calendar.cautions, *undecided)))
    return Section("calendar", "Calendar", tuple(blocks), new_page=True)


def _used(content: PlanContent) -> list[str]:
    keys: list[str] = []
    margins = (*content.margins, *(content.chemistry.findings if content.chemistry else ()))
    kidneys = [*content.kidney, *content.kidney_course]
    kidneys += [finding for study in content.renograms for finding in study.findings]
    kidneys += [finding for film in content.radiographs for finding in film.findings]
    for finding in (*kidneys, *(f for u in content.ureters for f in u.findings), *margins):
        keys += finding.method.sources
    keys += fitness_sources(content)
    keys += preference_sources(content.preferences)
    keys += published_sources(content.published)
    keys += lifecourse_sources(content.lives)
    for row in content.appraisal.diversions:
        keys += row.diversion.sources
        keys += [key for one in row.weighed for key in one.criterion.sources]
    if content.completeness is not None:
        keys += content.completeness.sources
    keys += nearest_sources(content.appraisal.nearest.values())
    if content.calendar is not None:
        keys += [key for visit in content.calendar.visits for key in visit.rule.sources]
    return sorted(set(keys))


def sources_section(content: PlanContent) -> Section:
    """Return every source used, and how its figures were checked."""
    rows = tuple((f"[{key}]", cite(key), bibliography()[key].read) for key in _used(content))
    table = Table(
        ("Mark", "Publication", "Figures checked in"),
        rows,
        (2.2, 7.0, 1.5),
        caption="“memory” means that nobody here has re-read it: verify before relying on it.",
    )
    return Section("sources", "Sources", (table,), new_page=True)
