"""Published figures as a person reads them: in whole people, with range, number and doubt."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.evidence.outcome import outcomes
from thalweg.sheets.document import Block, Cell, Heading, Table, Text
from thalweg.sheets.handout.content import cannot_happen
from thalweg.sheets.pictures.icons import icon_arrays
from thalweg.sheets.pictures.shares import Share, counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from thalweg.evidence.figures import Figure
    from thalweg.sheets.document import Picture
    from thalweg.sheets.handout.content import Option, Told
    from thalweg.sheets.messages import Wording

__all__ = [
    "arrays_of",
    "how_many",
    "how_sure",
    "outcome_blocks",
    "share_of",
    "told_outcomes",
    "whom",
]


OF = 100
"""One denominator for every number: "1 of 100" and "1 of 1000" side by side are misread."""
PAPER_PT = 504.0
"""Width of the running text on A4 paper, points."""
FONT = 12.0
"""Size of the words of an array, in its own units."""
_WIDTH = re.compile(rb'<svg[^>]*? width="([\d.]+)"')


def told_outcomes(options: Sequence[Option]) -> tuple[str, ...]:
    """Return the outcomes of which something is published for at least one option."""
    there = {figure.outcome for option in options for figure in option.figures}
    return tuple(key for key in outcomes() if key in there)


def share_of(figure: Figure, label: str) -> Share | None:
    """Return a figure for an array of people; None where it has no single share."""
    if figure.estimate is None or figure.interval is None:
        return None
    low, high = figure.interval
    # An exact interval may end a rounding error inside its estimate.
    low, high = min(low, figure.estimate), max(high, figure.estimate)
    return Share(label, figure.estimate, low, high, figure.total, figure.unit)


def _hundred(share: float, *, up: bool) -> int:
    whole = round(100 * share, 6)
    return math.ceil(whole) if up else math.floor(whole)


def _between(key: str, span: tuple[float, float], words: Wording) -> str:
    low, high = _hundred(span[0], up=False), _hundred(span[1], up=True)
    return words(key, low=low, high=high)


def how_many(figure: Figure, words: Wording) -> str:
    """Return how many, with the range by chance, that of other hospitals, and other countings."""
    share = share_of(figure, "")
    said = []
    if share is not None:
        counts = counted(share, OF)
        # Above nought, yet rounded to it: "0 of 100" would read as never.
        below = "-below" if counts.estimate == 0 and figure.events else ""
        said.append(
            words(
                f"icons.said{below}",
                ones=words(f"icons.ones.{share.unit}"),
                **({} if below else {"estimate": counts.estimate}),
                of=counts.of,
                low=counts.low,
                high=counts.high,
            )
        )
    if figure.prediction is not None:
        said.append(_between("numbers.elsewhere", figure.prediction, words))
    elif len(figure.series) > 1:
        low, high = figure.spread
        said.append(
            words("numbers.found-alike")
            if low == high
            else _between("numbers.spread", figure.spread, words)
        )
    if figure.across != figure.spread:
        said.append(_between("numbers.other-ways", figure.across, words))
    return " ".join(said)


def whom(figure: Figure, words: Wording) -> str:
    """Return how many people in how many groups, of which years, watched for how long."""
    first, last = figure.years
    years = str(first) if first == last else f"{first}–{last}"
    people = f"{words.number(figure.total)} {words('label.unit.' + figure.unit)}"
    said = [words.many("numbers.groups", len(figure.series), people=people, years=years)]
    span = figure.at_months
    if span is not None:
        said.append(words("numbers.at", months=_months(span, words)))
    elif figure.months is not None:
        low, high = figure.months
        key = "numbers.after" if low == high else "numbers.after-range"
        values = {"months": low} if low == high else {"low": low, "high": high}
        said.append(words(key, **values))
    elif outcomes()[figure.outcome].timing == "late":
        said.append(words("numbers.after-unknown"))
    return " ".join(said)


def _months(span: tuple[float, float], words: Wording) -> str:
    low, high = (words.number(one) for one in span)
    return low if low == high else f"{low}–{high}"


def how_sure(figure: Figure, words: Wording) -> str:
    """Return how surely it is known, and why not surely."""
    if figure.sureness == "fairly sure":
        return words("sure.fairly")
    why = ", ".join(words(f"sure.why-{one}") for one in figure.doubts)
    key = "sure.very-unsure" if figure.sureness == "very unsure" else "sure.unsure"
    return words(key, why=why or words("sure.why-some"))


def _row(figure: Figure, name: str, words: Wording) -> tuple[Cell | str, ...]:
    return (name, how_many(figure, words), whom(figure, words), how_sure(figure, words))


def arrays_of(
    figures: Sequence[Figure], words: Wording, *, across: int, text_pt: float
) -> tuple[Picture, ...]:
    """Return figures as arrays of a hundred, some beside each other, as wide as their words need.

    Parameters
    ----------
    figures : sequence of Figure
        Those without a single share are left out; what is counted differently stands apart.
    words : Wording
    across : int
        1 to 4 beside each other.
    text_pt : float
        Least size of the words in the pictures on paper, points.
    """
    shares = [
        share
        for figure in figures
        if (share := share_of(figure, words(f"label.outcome.{figure.outcome}"))) is not None
    ]
    made = []
    for unit in dict.fromkeys(share.unit for share in shares):
        alike = [share for share in shares if share.unit == unit]
        for start in range(0, len(alike), across):
            picture = icon_arrays(
                alike[start : start + across],
                of=OF,
                words=words.raw,
                right_to_left=words.right_to_left,
            )
            found = _WIDTH.search(picture.data)
            wide = PAPER_PT if found is None else float(found[1])
            made.append(replace(picture, share=min(1.0, wide * text_pt / FONT / PAPER_PT)))
    return tuple(made)


def outcome_blocks(
    outcome: str,
    options: Sequence[Option],
    told: Mapping[str, Told],
    words: Wording,
) -> tuple[Block, ...]:
    """Return one outcome over all options: what it is, and a row for each.

    Parameters
    ----------
    outcome : str
        Its key.
    options : sequence of Option
    told : mapping
        Plain words of each option.
    words : Wording
    """
    there = [
        (figure, told[option.key].short)
        for option in options
        if (figure := option.figure(outcome)) is not None
    ]
    table = Table(
        tuple(words(f"label.{key}") for key in ("option", "how-many", "behind", "how-sure")),
        tuple(_row(figure, name, words) for figure, name in there),
        (1.7, 3.2, 3.0, 2.3),
        caption=words(f"label.outcome.{outcome}"),
        row_heads=True,
    )
    blocks: list[Block] = [
        Heading(words(f"label.outcome.{outcome}")),
        Text(words(f"outcome.{outcome}")),
        table,
        *_without(outcome, options, told, words),
    ]
    if len({(one.group.definition_group, one.unit) for one, _ in there}) > 1:
        blocks.append(Text(words("numbers.definitions-differ")))
    return tuple(blocks)


def _without(
    outcome: str, options: Sequence[Option], told: Mapping[str, Told], words: Wording
) -> tuple[Text, ...]:
    """Return which options have no figure: not known of some, not possible with others."""
    bare = [one for one in options if one.figure(outcome) is None]
    never = [one for one in bare if outcome in cannot_happen(one.key)]
    unknown = [one for one in bare if one not in never]
    said = (("numbers.unknown-for", unknown), ("numbers.not-for", never))
    return tuple(
        Text(words(key, names="; ".join(told[one.key].short for one in some)))
        for key, some in said
        if some
    )
