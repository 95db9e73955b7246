"""The plan's page on fitness: every score at a glance, rates, contrast, and item by item."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.fitness.report import points
from thalweg.record.concept import concept
from thalweg.record.fact import say, say_moment
from thalweg.record.truth import Truth
from thalweg.record.units import printed
from thalweg.sheets.document import Block, Cautions, Cell, Section, Table, Text, Tone
from thalweg.sheets.plan.words import source_marks

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.assess.fitness.engine import ItemResult
    from thalweg.assess.fitness.report import RuleReport
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding
    from thalweg.sheets.plan.content import PlanContent

__all__ = ["fitness_section", "fitness_sources"]

_TONE = {"good": Tone.GOOD, "care": Tone.CARE, "bad": Tone.BAD, "plain": Tone.PLAIN}
NAMED = 3
"""Open questions named beside a score; all of them stand item by item below."""


def fitness_sources(content: PlanContent) -> Iterator[str]:
    """Yield the bibliography keys that the section rests on."""
    for finding in content.fitness.findings:
        yield from finding.method.sources
        for below in finding.findings:
            yield from below.method.sources


def _sources(one: RuleReport) -> str:
    return one.rule.local_source or source_marks(one.rule.method.sources)


def _verdict(one: RuleReport) -> Cell:
    """Return the band or category with its tone; several possible ones without."""
    names = one.result.names
    if len(names) > 1:
        return Cell(f"{names[0]} … {names[-1]}" if one.rule.is_score else "not known", Tone.UNKNOWN)
    if one.result.applies is not Truth.MET:
        return Cell(f"{names[0]} (not made for this person)", Tone.CARE)
    if one.rule.is_score:
        return Cell(names[0], _TONE[one.result.bands[0].weight])
    return Cell(names[0], _TONE[one.result.items[0].possible[-1].weight])


def _open(one: RuleReport) -> str:
    """Return what is not known, what would narrow it most first."""
    if one.rule.is_score:
        words = [item.item.words for item in one.result.narrowing]
    else:
        words = [concept(key).name for key in one.result.missing]
    if not words:
        return "nothing"
    more = len(words) - NAMED
    return "; ".join(words[:NAMED]) + (f"; and {more} more" if more > 0 else "")


def _for_others(one: RuleReport) -> bool:
    """Return whether a score was not made for this person, and so is left to whoever wants it."""
    return one.result.applies is Truth.NOT_MET and not one.result.known


def _scores(content: PlanContent) -> Table:
    rows: list[tuple[Cell | str, ...]] = []
    for one in content.fitness.scores:
        result = one.result
        if _for_others(one):
            why = one.rule.applies.otherwise if one.rule.applies else ""
            day = say_moment(one.main.at)[:10]
            rows.append((one.rule.title, "", "does not apply", why, day, _sources(one)))
            continue
        total = points(result.least, result.most) if one.rule.is_score else ""
        rows.append(
            (
                one.rule.title,
                total,
                _verdict(one),
                _open(one),
                say_moment(one.main.at)[:10],
                _sources(one),
            )
        )
    return Table(
        ("Score", "Points", "Which means", "Not known, most important first", "As of", "Source"),
        tuple(rows),
        (2.2, 1.1, 2.5, 3.1, 1.5, 2.6),
        caption="What is not known counts neither as there nor as absent: points are then a range.",
    )


def _rates(content: PlanContent) -> Table:
    rows = []
    for one in content.fitness.scores:
        for rates in one.rule.rates:
            name = f"{one.rule.key}-rate-{rates.key}"
            finding = next(found for found in one.findings if found.name == name)
            note = f" {rates.note}" if rates.note else ""
            rows.append(
                (
                    one.rule.title,
                    finding.shown(),
                    f"{rates.label[:1].upper()}{rates.label[1:]}.{note}",
                    source_marks(rates.sources),
                )
            )
    return Table(
        ("Score", "Rate", "Of what, in whom", "Source"),
        tuple(rows),
        (2.2, 2.0, 5.6, 1.8),
        caption="Published rates of the group in which the points lie, with 95 % interval where "
        "counts are printed. They are other people's: none is this person's own risk.",
    )


def _contrast(content: PlanContent) -> Table:
    rows: list[tuple[Cell | str, ...]] = []
    for one in content.fitness.contrast:
        if one.result.known:
            answer, because = _verdict(one), one.says or one.rule.asks
        else:
            answer = Cell(one.rule.undecided or "not known", Tone.UNKNOWN)
            because = f"{' or '.join(one.result.names)}. To settle: {_open(one)}"
        day = say_moment(one.main.at)[:10]
        rows.append((one.rule.title, answer, because, day, _sources(one)))
    rate = next((f for f in content.kidney if f.name == "gfr-to-rely-on"), None)
    known = "not known" if rate is None else f"{rate.shown()}, {say_moment(rate.at)[:10]}"
    return Table(
        ("Contrast", "Answer", "Because", "As of", "Source"),
        tuple(rows),
        (2.4, 2.0, 4.2, 1.5, 2.5),
        caption=f"Contrast and the kidneys, by the filtration rate to rely on: {known}.",
    )


def _fact(fact: Fact) -> str:
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    return f"{concept(fact.concept).name}: {say(fact.value)}{unit}, {say_moment(fact.at)[:10]}"


_YES_NO = {Truth.MET: "yes", Truth.NOT_MET: "no", Truth.NOT_KNOWN: "not known"}


def _finding(finding: Finding) -> str:
    value = finding.value
    shown = _YES_NO[value] if isinstance(value, Truth) else finding.shown()
    return f"{finding.title}: {shown}, {say_moment(finding.at)[:10]}"


def _rests_on(item: ItemResult) -> str:
    computed = [found for found in item.judged.findings if found.value is not None]
    return "; ".join([*map(_fact, item.judged.facts), *map(_finding, computed)])


def _quiet(item: ItemResult) -> bool:
    """Return whether an item is known to bring nothing because nothing of it applies."""
    return item.known and item.most == 0 and item.possible[-1] is item.item.levels[-1]


def _named(item: ItemResult) -> str:
    """Return an item with its answer, where the answer is more than yes or no."""
    answer = item.possible[-1].name
    return item.item.words if answer in ("yes", "no") else f"{item.item.words}: {answer}"


def _noted(words: str, *items: ItemResult) -> str:
    notes = " ".join(item.item.note for item in items if item.item.note)
    return f"{words}. {notes}" if notes else words


def _days(items: list[ItemResult]) -> str:
    days = sorted({say_moment(fact.at)[:10] for item in items for fact in item.judged.facts})
    if not days:
        return "by age and sex"
    return f"recorded {days[0]}" + (f" to {days[-1]}" if len(days) > 1 else "")


def _items(one: RuleReport, results: tuple[ItemResult, ...]) -> Iterator[tuple[str, str, str, str]]:
    """Yield what counts, one by one; then together what brings no points, and what is open."""
    title = one.rule.title
    for item in results:
        if item.known and not _quiet(item):
            yield title, _noted(_named(item), item), f"{item.least:g}", _rests_on(item)
    quiet = [item for item in results if _quiet(item)]
    if quiet:
        yield title, "No points: " + "; ".join(map(_named, quiet)), "0", _days(quiet)
    narrowing = [item for item in one.result.narrowing if item in results]
    for least, most in dict.fromkeys((item.least, item.most) for item in narrowing):
        alike = [item for item in narrowing if (item.least, item.most) == (least, most)]
        words = "Not known: " + "; ".join(item.item.words for item in alike)
        each = " each" if len(alike) > 1 else ""
        rests = "; ".join(filter(None, map(_rests_on, alike)))
        yield title, _noted(words, *alike), f"{points(least, most)}{each}", rests


def _rows(one: RuleReport, others: tuple[RuleReport, ...]) -> Iterator[tuple[str, str, str, str]]:
    """Yield a score's rows; one that extends another refers to it instead of repeating it."""
    base = next((each for each in others if each.rule.key == one.rule.extends), None)
    if base is None:
        yield from _items(one, one.result.items)
        return
    total = points(base.result.least, base.result.most)
    yield one.rule.title, f"All items of: {base.rule.title}", total, "as above"
    shared = {item.key for item in base.rule.items}
    yield from _items(one, tuple(i for i in one.result.items if i.item.key not in shared))


def _item_table(content: PlanContent) -> Table:
    wanted = (one for one in content.fitness.scores if one.rule.is_score and not _for_others(one))
    rows = [row for one in wanted for row in _rows(one, content.fitness.scores)]
    return Table(
        ("Score", "Item", "Points", "Rests on"),
        tuple(rows),
        (2.0, 4.6, 1.2, 4.4),
        caption="Item by item.",
    )


def _cautions(content: PlanContent) -> tuple[str, ...]:
    """Return the cautions that do not stand in a table already."""
    said: list[str] = []
    for one in content.fitness.rules:
        if _for_others(one):
            continue
        could_be = f"{one.rule.title} could be: "
        said += [
            caution
            for caution in (*one.main.cautions, *one.rule.method.cautions)
            if caution != one.says and not caution.startswith(could_be)
        ]
    return tuple(dict.fromkeys(said))


def fitness_section(content: PlanContent) -> Section:
    """Return scores, rates, contrast and every item with what it rests on."""
    asa = next((one.main for one in content.fitness.scores if one.rule.key == "asa"), None)
    lead = "" if asa is None or asa.value is None else f"ASA {asa.shown()}. "
    blocks: list[Block] = [
        Text(
            f"{lead}Scores support the anaesthetist's and surgeon's judgement of fitness and do "
            "not replace it."
        ),
        _scores(content),
        _contrast(content),
        _rates(content),
        Cautions(_cautions(content)),
        _item_table(content),
    ]
    return Section(
        "fitness", "Fitness for the operation, and contrast", tuple(blocks), new_page=True
    )
