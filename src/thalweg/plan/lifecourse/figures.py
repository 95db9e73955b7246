"""What a life course says of an option: the figures, their words and units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["FIGURES", "Figure", "event_figure", "horizon_words"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    Parameters
    ----------
    key, title : str
        For programs and for people.
    unit : str
        UCUM code.
    chance : bool
        The share of lives in which it is so, in per cent.
    unknown : str
        Under which word an option says why it is not known.
    digits : int
        Decimals of a page.
    """

    key: str
    title: str
    unit: str
    chance: bool = False
    unknown: str = ""
    digits: int = 1


FIGURES: Final = (
    Figure("survival", "alive", "%", chance=True, digits=0),
    Figure("years-lived", "years lived", "a"),
    Figure("operations", "further operations and procedures", "1", unknown="operations"),
    Figure("tube-changes", "changes of a tube", "1", unknown="tube", digits=0),
    Figure("nights", "nights in hospital", "d", unknown="nights", digits=0),
    Figure("tube-days", "days with a tube", "d", unknown="tube", digits=0),
    Figure("bag-days", "days with a bag", "d", unknown="bag", digits=0),
    Figure("lost-unit", "a kidney lost", "%", chance=True, unknown="lost-unit", digits=1),
    Figure("gfr", "filtration rate of those alive", "mL/min/{1.73_m2}", unknown="gfr", digits=0),
    Figure("kidney-failure", "kidneys failed", "%", chance=True, unknown="gfr", digits=1),
)


def event_figure(key: str, name: str) -> Figure:
    """Return the figure of one event: whether it has come."""
    return Figure(f"event:{key}", name, "%", chance=True, unknown=f"event:{key}", digits=1)


def horizon_words(years: float) -> str:
    """Return a horizon as a page says it."""
    if years == float("inf"):
        return "whole life"
    return f"{years:g} year{'' if years == 1 else 's'}"
