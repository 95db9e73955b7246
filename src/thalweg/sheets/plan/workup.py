"""The plan's checklist of the work-up: what is done, missing, too old or contradicting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.plan.workup.printed import counts_said, told_once
from thalweg.plan.workup.report import STANDING_CAUTIONS
from thalweg.record.units import printed
from thalweg.sheets.document import Block, Cautions, Cell, Items, Section, Table, Text, Tone

if TYPE_CHECKING:
    from thalweg.plan.workup.outcomes import Outcome
    from thalweg.plan.workup.report import Completeness, Open
    from thalweg.plan.workup.standing import Standing, State

__all__ = ["workup_sections"]

BOX = "☐"
_TONE: dict[State, Tone] = {
    "contradicting": Tone.BAD,
    "missing": Tone.CARE,
    "partly": Tone.CARE,
    "too old": Tone.CARE,
    "due again": Tone.CARE,
    "not known whether asked": Tone.UNKNOWN,
}


def _day(one: Standing) -> str:
    days = sorted({answer.on for answer in one.answers if answer.on is not None})
    return (
        " to ".join(day.isoformat() for day in dict.fromkeys((days[0], days[-1]))) if days else ""
    )


def _on_record(one: Standing) -> str:
    said = "; ".join(answer.said for answer in one.answers)
    day = _day(one)
    return f"{said} ({day})" if said and day else said


def _ways(outcomes: tuple[Outcome, ...], whole: Completeness) -> list[str]:
    """Return what each diversion could become, each once."""
    after: dict[str, list[str]] = {}
    for outcome in outcomes:
        after.setdefault(outcome.diversion, []).append(outcome.after)
    return [
        f"{whole.names[key]}: {' or '.join(dict.fromkeys(words))}" for key, words in after.items()
    ]


def _could(one: Open, whole: Completeness, numbers: dict[str, int]) -> str:
    """Return what an open item could change, shortly; the answers stand in the command's output."""
    if one.alone:
        told = _ways(one.alone, whole)
    elif one.together:
        others = dict.fromkeys(key for each in one.together for key in each.together_with)
        with_ = ", ".join(str(numbers[key]) for key in others if key in numbers)
        told = [f"only together with {with_}"]
        told += _ways(one.together, whole) if one in told_once(whole) else []
    elif one.estimates:
        told = [", ".join(dict.fromkeys(each.title for each in one.estimates))]
    else:
        told = [f"no verdict; serves: {one.standing.item.serves}"]
    told += [
        f"{each.title} {each.least:.0f} to {each.most:.0f} {printed(each.unit)}"
        for each in one.rates
    ]
    return "; ".join(told)


def _to_do(whole: Completeness) -> Table:
    numbers = {one.standing.item.key: n for n, one in enumerate(whole.open, 1)}
    rows = []
    for number, one in enumerate(whole.open, 1):
        standing = one.standing
        because = standing.because or _on_record(standing)
        if standing.state in ("too old", "due again"):
            because = f"{_on_record(standing)}. {standing.because}"
        if standing.clashes:
            because = "See the sentence above the table."
        state = f"{standing.state}. {because}" if because else standing.state
        rows.append(
            (
                f"{BOX} {number}",
                standing.item.words,
                Cell(state, _TONE[standing.state]),
                _could(one, whole, numbers),
                "",
            )
        )
    return Table(
        ("", "Item", "How it stands", "What it could change", "Result, date, by"),
        tuple(rows),
        (0.8, 2.7, 4.2, 3.4, 2.4),
        caption="To do, what matters most first: what decides an option that reaches and waits for "
        "nothing else, then by the number of verdicts that could change.",
        roomy=True,
    )


def _done(whole: Completeness) -> Table:
    """Return what is done, two items to a row, group by group."""
    cells: list[tuple[str, Cell | str]] = [
        (one.item.words, Cell(_on_record(one) or "done", Tone.GOOD))
        for group in whole.rules.groups
        for one in whole.standings
        if one.item.group == group and one.state == "done"
    ]
    half = (len(cells) + 1) // 2
    right = [*cells[half:], *[("", "")] * (2 * half - len(cells))]
    rows = tuple((*one, *two) for one, two in zip(cells[:half], right, strict=True))
    return Table(
        ("Done", "On record", "Done", "On record"),
        rows,
        (2.4, 2.6, 2.4, 2.6),
        caption="Done, and young enough for the day of the operation where it is known.",
    )


def workup_sections(whole: Completeness | None) -> tuple[Section, ...]:
    """Return the checklist as a section; none where nothing was asked.

    Parameters
    ----------
    whole : Completeness or None
    """
    if whole is None:
        return ()
    day = whole.question.operation
    for_ = f"For the operation on {day.isoformat()}: " if day else "Operation without a date: "
    blocks: list[Block] = [Text(f"{for_}{counts_said(whole)}.", lead=True)]
    if whole.clashes:
        blocks.append(Cautions(tuple(clash.sentence for clash in whole.clashes)))
    if whole.open:
        blocks.append(_to_do(whole))
    if whole.counts["done"]:
        blocks.append(_done(whole))
    apart = [one for one in whole.standings if one.state == "not asked"]
    if apart:
        blocks.append(Text("Not asked of this person:"))
        blocks.append(Items(tuple(f"{one.item.words}: {one.because}" for one in apart)))
    blocks.append(Cautions((*STANDING_CAUTIONS, *whole.cautions)))
    title = "Work-up: what is done, what is missing"
    return (Section("workup", title, tuple(blocks)),)
