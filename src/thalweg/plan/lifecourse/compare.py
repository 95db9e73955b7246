"""Two options side by side, life by life, and what drives their difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.errors import InputError
from thalweg.plan.lifecourse.estimate import Estimate, estimated
from thalweg.plan.lifecourse.figures import FIGURES, Figure, horizon_words
from thalweg.plan.lifecourse.lived import lived
from thalweg.plan.lifecourse.simulate import in_blocks
from thalweg.plan.lifecourse.tally import Tally, difference, joined
from thalweg.plan.lifecourse.unknowns import named_unknowns
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.plan.lifecourse.quantity import Quantity
    from thalweg.plan.lifecourse.rates import Burden
    from thalweg.plan.lifecourse.simulate import LifeCourse
    from thalweg.plan.lifecourse.world import Block

__all__ = ["DRIVERS", "Comparison", "compared"]

DRIVERS: Final = Method(
    key="life-course-drivers",
    title="what drives the difference of two options",
    formula=(
        "parts: the difference of totals is the sum of the differences of their parts; doubt: "
        "squared correlation of each drawn rate with the worlds' differences, the share of their "
        "variance that it explains by itself if the relation is straight"
    ),
    valid_for="rates drawn independently of each other",
    sources=("thalweg-engineering",),
)
LEAST_SHARE: Final = 0.05
"""A rate that explains less is not named."""


@dataclass(frozen=True)
class Comparison:
    """The first option less the second.

    Parameters
    ----------
    one, other : str
        Keys of the options.
    years : tuple of float
        Horizons.
    tally : Tally
        Of differences, life by life.
    refused : dict of str
        By figure, why the two cannot be compared in it.
    drivers : dict
        By figure, what explains the doubt at the last finite horizon: words and share, 0 to 1.
    """

    one: str
    other: str
    years: tuple[float, ...]
    tally: Tally
    refused: dict[str, str]
    drivers: dict[str, tuple[tuple[str, float], ...]]

    def estimate(self, figure: str, horizon: int) -> Estimate | None:
        """Return the difference at a horizon; None where it cannot be compared."""
        found = self.tally.figures.get(figure)
        return None if found is None else estimated(found, horizon)

    def parts(self, figure: str, horizon: int) -> dict[str, float]:
        """Return the parts of a total's difference, by event."""
        return {
            event: float(means[horizon].mean())
            for (total, event), means in sorted(self.tally.parts.items())
            if total == figure
        }

    def lower_in(self, figure: str, horizon: int) -> float | None:
        """Return the share of worlds in which the first option has less of it."""
        found = self.tally.figures.get(figure)
        return None if found is None else float(np.mean(found.means[horizon] < 0))

    def to_json(self) -> dict[str, Any]:
        """Return the comparison for programs."""
        return {
            "first": self.one,
            "second": self.other,
            "method": DRIVERS.formula,
            "figures": [self._figure(figure) for figure in FIGURES if figure.key != "gfr"],
        }

    def _figure(self, figure: Figure) -> dict[str, Any]:
        scale = 100.0 if figure.chance else 1.0
        rows = []
        for horizon, years in enumerate(self.years):
            found = self.estimate(figure.key, horizon)
            if found is None:
                continue
            rows.append(
                {
                    "years": None if np.isinf(years) else years,
                    "difference": found.mean * scale,
                    "interval": [bound * scale for bound in found.interval],
                    "first_lower_in_share_of_worlds": self.lower_in(figure.key, horizon),
                    "parts": self.parts(figure.key, horizon),
                }
            )
        return {
            "key": figure.key,
            "title": figure.title,
            "unit": figure.unit,
            "at": rows,
            "not_comparable": self.refused.get(figure.key),
            "doubt_explained_by": [
                {"what": words, "share": share} for words, share in self.drivers.get(figure.key, ())
            ],
        }

    def lines(self, name: str, other: str) -> list[str]:
        """Return what a person at the keyboard reads."""
        rows = [f"{name} less {other}:"]
        for figure in FIGURES:
            if figure.key in self.refused:
                rows.append(f"  {figure.title}: not comparable: {self.refused[figure.key]}")
                continue
            scale = 100.0 if figure.chance else 1.0
            texts = []
            for horizon, years in enumerate(self.years):
                found = self.estimate(figure.key, horizon)
                if found is not None:
                    low, high = (bound * scale for bound in found.interval)
                    texts.append(
                        f"{horizon_words(years)} {found.mean * scale:+.1f} "
                        f"({low:+.1f} to {high:+.1f})"
                    )
            if texts:
                rows.append(f"  {figure.title}, {figure.unit}: {'; '.join(texts)}")
            for words, share in self.drivers.get(figure.key, ())[:2]:
                rows.append(f"      doubt: {words} ({share:.0%})")
        return rows


def _refused(course: LifeCourse, one: str, other: str) -> dict[str, str]:
    """Return why figures cannot be compared: not known in one, or counted by other parts."""
    first, second = course.option(one), course.option(other)
    refused = {}
    for figure in FIGURES:
        if figure.key == "gfr":
            continue
        lacking = [
            option.name
            for option in (first, second)
            if figure.key not in course.tallies[option.key].figures
        ]
        if lacking:
            refused[figure.key] = f"not known for {' and '.join(lacking)}"
    if (first.death is None) != (second.death is None):
        why = "the risk of death around the operation is known for one only"
        refused |= dict.fromkeys(("survival", "years-lived"), why)
    if (first.lost_unit is None) != (second.lost_unit is None):
        refused.setdefault("kidney-failure", "lost kidneys are counted in one only")
    for total, pairs in (
        ("operations", (first.operations, second.operations)),
        ("nights", (first.nights, second.nights)),
    ):
        if total not in refused and _events(pairs[0]) != _events(pairs[1]):
            counted = " against ".join(", ".join(sorted(_events(pair))) for pair in pairs)
            refused[total] = f"counted by different parts: {counted}"
    return refused


def _events(burdens: tuple[Burden, ...] | None) -> set[str]:
    return {burden.event for burden in burdens or ()}


def compared(course: LifeCourse, one: str, other: str) -> Comparison:
    """Live the same lives again with two options and return their differences.

    Parameters
    ----------
    course : LifeCourse
        Holds both.
    one, other : str
        Keys of two of its options.

    Raises
    ------
    InputError
        If an option is not in the life course, or both are the same.
    """
    first, second = course.option(one), course.option(other)
    if one == other:
        raise InputError("an option cannot be compared with itself", mend="name two")
    refused = _refused(course, one, other)
    figures = [
        figure
        for figure in course.tallies[one].figures
        if figure in course.tallies[other].figures
        and figure not in refused
        and not figure.startswith("event:")
    ]

    def work(block: Block) -> Tally:
        lives = [
            lived(option, course.start, course.rates, course.years, block)
            for option in (first, second)
        ]
        return difference(lives[0], lives[1], figures)

    tally = joined(in_blocks(course.doubt, course.lives, work))
    return Comparison(one, other, course.years, tally, refused, _drivers(course, one, other, tally))


def _drivers(
    course: LifeCourse, one: str, other: str, tally: Tally
) -> dict[str, tuple[tuple[str, float], ...]]:
    """Return which drawn rates go with the differences, at the last finite horizon."""
    unknowns: dict[str, tuple[set[str], str, Quantity]] = {}
    for key in (one, other):
        option = course.option(key)
        for words, quantity in named_unknowns(option, course.start):
            if quantity.spread:
                whose = unknowns.get(quantity.key, (set(), words, quantity))[0] | {option.name}
                unknowns[quantity.key] = (whose, words, quantity)
    last = max(n for n, years in enumerate(course.years) if np.isfinite(years))
    found = {}
    for figure, mean in tally.figures.items():
        worlds = mean.means[last]
        if np.ptp(worlds) == 0:
            continue
        rows = []
        for whose, words, quantity in unknowns.values():
            drawn = course.doubt.of(quantity)
            share = 0.0 if np.ptp(drawn) == 0 else float(np.corrcoef(drawn, worlds)[0, 1] ** 2)
            if share >= LEAST_SHARE:
                name = f"{words} ({next(iter(whose))})" if len(whose) == 1 else words
                rows.append((name, share))
        found[figure] = tuple(sorted(rows, key=lambda row: -row[1]))
    return found
