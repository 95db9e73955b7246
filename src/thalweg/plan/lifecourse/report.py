"""A life course as findings, as whole people of a hundred, and as JSON."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.evidence.bibliography import cite as cite_bibliography
from thalweg.plan.lifecourse.estimate import Estimate, estimated, whole_of_100
from thalweg.plan.lifecourse.figures import FIGURES, Figure, event_figure, horizon_words
from thalweg.plan.lifecourse.tally import STATES
from thalweg.plan.lifecourse.unknowns import named_unknowns
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from thalweg.plan.lifecourse.person import LivingPerson
    from thalweg.plan.lifecourse.simulate import LifeCourse

__all__ = ["LIFE_COURSE", "LifeReport"]

LIFE_COURSE: Final = Method(
    key="life-course-simulation",
    title="what a diversion would mean over a life, by simulation",
    formula=(
        "many lives with this person's age, sex, kidneys and recorded illness; death by the "
        "operation, the life table or illness, whichever comes first; events by exponential "
        "spacings of their published hazards; value: mean over all lives; interval: central 95 % "
        "of the means of 200 worlds with rates drawn within their doubt, chance between lives "
        "taken off"
    ),
    valid_for="adults before a diversion; averages of people like those of the published series",
    sources=("ohagan-2007", "thalweg-engineering"),
    cautions=(
        "A simulation of averages, not a prophecy for one person, and no advice for or against.",
        "Rates of different options come from different hospitals, years and people.",
    ),
)
NO_MORE = ("survival", "years-lived")
"""Figures that are always known."""


@dataclass(frozen=True)
class LifeReport:
    """A life course with what it rests on.

    Parameters
    ----------
    course : LifeCourse
    person : LivingPerson
    at : date
        The day of the operation, as it is taken.
    """

    course: LifeCourse
    person: LivingPerson
    at: date

    def figures(self, option: str) -> tuple[Figure, ...]:
        """Return the figures of one option: the common ones, then its events."""
        rates = self.course.option(option)
        events = [event_figure(early.key, early.name) for early in rates.early]
        events += [event_figure(late.key, late.name) for late in rates.late]
        return (*FIGURES, *events)

    def estimate(self, option: str, figure: str, horizon: int) -> Estimate | None:
        """Return a figure at a horizon, chances as shares; None where it is not known."""
        tally = self.course.tallies[option]
        if figure == "gfr":
            lives = tally.lives.get("gfr")
            if lives is None or not np.isfinite(self.course.years[horizon]):
                return None
            alive = lives[horizon][np.isfinite(lives[horizon])]
            if not alive.size:
                return None
            low, middle, high = np.percentile(alive, (2.5, 50.0, 97.5))
            return Estimate(float(middle), (float(low), float(high)), None, 0.0)
        found = tally.figures.get(figure)
        if found is None:
            return None
        return estimated(found, horizon, tally.lives.get(figure))

    def of_100(self, option: str, figure: str, horizon: int) -> int | None:
        """Return of how many of 100 people a chance comes true, whole; None where not known."""
        found = self.estimate(option, figure, horizon)
        return None if found is None else whole_of_100(np.array([found.mean, 1 - found.mean]))[0]

    def states_of_100(self, option: str, horizon: int) -> dict[str, int] | None:
        """Return where 100 people stand at a horizon, each once; None where tubes are not known."""
        states = self.course.tallies[option].states
        if states is None:
            return None
        return dict(zip(STATES, whole_of_100(states[:, horizon]), strict=True))

    def why_not(self, option: str, figure: Figure) -> tuple[str, ...]:
        """Return why a figure is not known, or what is missing from it."""
        rates = self.course.option(option)
        said = rates.unknown.get(figure.unknown, ())
        if figure.unknown == "gfr":
            said = (*said, *self.person.no_gfr)
            if self.course.option(option).lost_unit is None:
                said = (*said, "A kidney lost is not in it: how often is not known.")
        return said

    def finding(self, option: str, figure: Figure, horizon: int) -> Finding:
        """Return a figure at a horizon as a finding."""
        rates, years = self.course.option(option), self.course.years[horizon]
        found = self.estimate(option, figure.key, horizon)
        said = list(self.why_not(option, figure))
        scale = 100.0 if figure.chance else 1.0
        value = interval = None
        if found is not None:
            value = found.mean * scale
            interval = (found.interval[0] * scale, found.interval[1] * scale)
            if figure.key == "gfr":
                said.insert(0, "Median and central 95 % of those alive, chance and doubt together.")
        elif figure.key == "gfr" and np.isinf(years):
            said = ["Nobody is alive at the end of life."]
        if figure.key in NO_MORE:
            said += [*rates.unknown.get("death", ()), *self.person.says]
        moment = "life" if np.isinf(years) else f"{years:g}-years"
        return Finding(
            name=f"life-course-{option}-{figure.key.replace(':', '-')}-{moment}",
            title=f"{rates.name}, {horizon_words(years)}: {figure.title}",
            value=value,
            unit=None if value is None else figure.unit,
            at=self.at,
            method=replace(LIFE_COURSE, sources=self.sources(option)),
            facts=self.person.facts,
            findings=self.person.findings,
            interval=interval,
            cautions=tuple(dict.fromkeys(said)) or (("Not known.",) if value is None else ()),
            digits=figure.digits,
        )

    def findings(self, options: tuple[str, ...] | None = None) -> tuple[Finding, ...]:
        """Return the common figures of the options at every horizon."""
        keys = options or tuple(self.course.tallies)
        return tuple(
            self.finding(option, figure, horizon)
            for option in keys
            for figure in FIGURES
            for horizon in range(len(self.course.years))
            if not (figure.key == "gfr" and np.isinf(self.course.years[horizon]))
        )

    def sources(self, option: str) -> tuple[str, ...]:
        """Return every source below an option's figures, the method's first."""
        rates = self.course.option(option)
        below = named_unknowns(rates, self.course.start)
        keys = [key for _, quantity in below for key in quantity.basis.sources]
        table = () if self.course.start.table.own else (self.course.start.table.source,)
        return tuple(dict.fromkeys((*LIFE_COURSE.sources, *table, *keys)))

    def cautions(self) -> tuple[str, ...]:
        """Return what holds for all options."""
        return (*LIFE_COURSE.cautions, *self.person.says, *self.course.rates.notices)

    def to_json(self, cite: Callable[[str], str] = cite_bibliography) -> dict[str, Any]:
        """Return the life course for programs; each number has its unit beside it."""
        return {
            "date": self.at.isoformat(),
            "horizons_years": [None if np.isinf(year) else year for year in self.course.years],
            "lives": self.course.lives,
            "worlds": self.course.doubt.draws,
            "seed": self.course.seed,
            "options": [self._option(key, cite) for key in self.course.tallies],
            "findings": [finding.to_json(cite) for finding in self.findings()],
            "cautions": list(self.cautions()),
        }

    def _option(self, key: str, cite: Callable[[str], str]) -> dict[str, Any]:
        rates, horizons = self.course.option(key), range(len(self.course.years))
        return {
            "key": key,
            "name": rates.name,
            "figures": [self._figure(key, figure) for figure in self.figures(key)],
            "states_of_100": [self.states_of_100(key, horizon) for horizon in horizons],
            "rates": [
                {
                    "what": words,
                    "middle": one.middle,
                    "interval": list(one.interval),
                    "counted_events": one.basis.events,
                    "counted_of": one.basis.total,
                    "series": list(one.basis.series),
                    "read": one.basis.read,
                    "source": one.basis.local
                    or "; ".join(cite(each) for each in one.basis.sources),
                    "says": list(one.basis.says),
                }
                for words, one in named_unknowns(rates, self.course.start)
            ],
            "not_known": {name: list(said) for name, said in rates.unknown.items()},
        }

    def _figure(self, key: str, figure: Figure) -> dict[str, Any]:
        rows: list[dict[str, Any]] = []
        scale = 100.0 if figure.chance else 1.0
        for horizon, years in enumerate(self.course.years):
            found = self.estimate(key, figure.key, horizon)
            row: dict[str, Any] = {"years": None if np.isinf(years) else years, "value": None}
            if found is not None:
                row |= {
                    "value": found.mean * scale,
                    "interval": [bound * scale for bound in found.interval],
                    "lives_between": None if found.lives is None else list(found.lives),
                    "simulation_error": found.error * scale,
                }
                if figure.chance:
                    row["of_100"] = self.of_100(key, figure.key, horizon)
            rows.append(row)
        return {
            "key": figure.key,
            "title": figure.title,
            "unit": figure.unit,
            "at": rows,
            "says": list(self.why_not(key, figure)),
        }
