"""Invented matters and answers, small enough to be reckoned by hand."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from tests.support.appraisal_people import RECENT

from thalweg.plan.preferences.answers import Answer
from thalweg.plan.preferences.attributes import Attribute, Holding, Matters, Settings
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from thalweg.plan.preferences.answers import Word
    from thalweg.record.fact import Moment

PERSON = Origin("the person", "invented")
LATER = date(2026, 2, 20)


def attribute_of(key: str, levels: int = 2) -> Attribute:
    """Return an attribute of so many levels, best first."""
    return Attribute(key, f"less {key}", tuple((f"l{n}", f"{key} {n}") for n in range(levels)))


def matters_of(
    attributes: Sequence[Attribute],
    table: Mapping[str, Mapping[str, int | tuple[int, int]]],
    settings: Settings | None = None,
) -> Matters:
    """Return matters in which each option has a level, a range of levels, or nothing known."""
    holdings = {
        option: Holding(
            option,
            {key: (own, own) if isinstance(own, int) else own for key, own in levels.items()},
        )
        for option, levels in table.items()
    }
    return Matters(tuple(attributes), holdings, settings or Settings())


def answers(told: Mapping[tuple[str, str], Word]) -> list[Answer]:
    """Return answers nobody recorded."""
    return [Answer(first, second, word) for (first, second), word in told.items()]


def answered(key: str, word: str, at: Moment = RECENT) -> Fact:
    """Return an answer as a fact."""
    return Fact("preference-answer", word, None, at, PERSON, label=key)
