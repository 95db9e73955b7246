"""What each open diversion would mean over a life, for a case on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.errors import InputError
from thalweg.evidence.pool_groups import pool_rules
from thalweg.plan.catalogue import catalogue
from thalweg.plan.lifecourse.compare import Comparison, compared
from thalweg.plan.lifecourse.figures import horizon_words
from thalweg.plan.lifecourse.person import person_of
from thalweg.plan.lifecourse.report import LifeReport
from thalweg.plan.lifecourse.rulebook import LIFECOURSE_TABLE, life_rules, rates_for
from thalweg.plan.lifecourse.simulate import LIVES, SEED, YEARS, live
from thalweg.progress import silent
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.sheets.plan.lifecourse import PlannedLives

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.progress import Progress
    from thalweg.service.protocol import Protocol
    from thalweg.service.workup import Workup

__all__ = ["FollowedLives", "followed_lives", "open_options", "planned_lives"]

OPEN = ("open", "open with cautions")
CURVE_YEARS = (0.25, 0.5, *(float(year) for year in range(1, 16)))
CURVE_LIVES = 20_000


@dataclass(frozen=True)
class FollowedLives:
    """A life course, which options are in it and why, and a comparison if asked for."""

    report: LifeReport
    reason: str
    comparison: Comparison | None = None

    def to_json(self) -> dict[str, Any]:
        """Return all of it for programs."""
        return {
            **self.report.to_json(),
            "options_chosen": self.reason,
            "comparison": None if self.comparison is None else self.comparison.to_json(),
        }

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        report = self.report
        rows = [f"{self.reason} {report.course.lives} lives of each."]
        for key in report.course.tallies:
            rows.append(f"\n{report.course.option(key).name}")
            for figure in report.figures(key):
                texts = []
                for horizon, years in enumerate(report.course.years):
                    if figure.key == "gfr" and horizon == len(report.course.years) - 1:
                        continue
                    finding = report.finding(key, figure, horizon)
                    if finding.value is not None:
                        texts.append(f"{horizon_words(years)} {finding.shown()}")
                rows.append(f"  {figure.title}: {'; '.join(texts) or 'not known'}")
                rows += [f"      ! {text}" for text in report.why_not(key, figure)]
        if self.comparison is not None:
            names = (report.course.option(key).name for key in self._pair)
            rows += ["", *self.comparison.lines(*names)]
        return [*rows, "", *(f"! {text}" for text in report.cautions())]

    @property
    def _pair(self) -> tuple[str, str]:
        one = self.comparison
        return ("", "") if one is None else (one.one, one.other)


def open_options(workup: Workup) -> tuple[tuple[str, ...], str]:
    """Return which diversions are followed, and a sentence that says why these.

    Those that are open; where none is, those not yet decidable; never one that is closed.
    """
    rows = workup.appraisal.diversions
    found = tuple(row.diversion.key for row in rows if row.verdict in OPEN)
    if found:
        return found, "Every diversion that is open for this person."
    found = tuple(row.diversion.key for row in rows if row.verdict == "not yet decidable")
    return found, "No diversion is open yet: these are not yet decidable."


def followed_lives(
    workup: Workup,
    *,
    protocol: Protocol = NO_PROTOCOL,
    years: Sequence[float] = YEARS,
    lives: int = LIVES,
    seed: int = SEED,
    compare: tuple[str, str] | None = None,
    progress: Progress = silent,
) -> FollowedLives:
    """Simulate every open diversion for a case that was worked up.

    Parameters
    ----------
    workup : Workup
    protocol : Protocol
        ``lifecourse.toml``, ``pooling.toml`` and ``series.csv`` of the unit are used.
    years, lives, seed
        As in `thalweg.plan.lifecourse.simulate.live`.
    compare : tuple of str, optional
        Keys of two diversions to set side by side, whether open or not.
    progress : Progress

    Raises
    ------
    InputError
        If a setting cannot be, the case lacks what a life course needs, or no diversion is open.
    """
    rules = life_rules(protocol.table(LIFECOURSE_TABLE))
    book = catalogue(protocol.table("catalogue"))
    keys, reason = open_options(workup)
    if compare is not None:
        named = [book.diversion(key).key for key in compare]
        keys = tuple(dict.fromkeys((*keys, *named)))
    rates = rates_for(
        [(key, book.diversion(key).name) for key in keys],
        rules,
        own=protocol.series,
        pooling=pool_rules(protocol.table("pooling")),
    )
    person = person_of(
        workup.case,
        workup.at,
        (*workup.kidney, *workup.kidney_course, *workup.fitness.findings),
        rules,
        kidney=kidney_rules(protocol.table(KIDNEY_TABLE)),
    )
    course = live(rates, person.start, years=years, lives=lives, seed=seed, progress=progress)
    report = LifeReport(course, person, workup.at)
    pair = None if compare is None else compared(course, *compare)
    return FollowedLives(report, reason, pair)


def planned_lives(
    workup: Workup, protocol: Protocol, *, progress: Progress = silent
) -> PlannedLives:
    """Return the life course of a plan, or why there is none.

    Parameters
    ----------
    workup : Workup
    protocol : Protocol
    progress : Progress
    """
    try:
        followed = followed_lives(workup, protocol=protocol, progress=progress)
    except InputError as refused:
        return PlannedLives(None, None, f"The life course was not made: {refused}")
    shown = followed.report.course
    curve = live(shown.rates, shown.start, years=CURVE_YEARS, lives=CURVE_LIVES, seed=shown.seed)
    at_many = LifeReport(curve, followed.report.person, workup.at)
    return PlannedLives(followed.report, at_many, followed.reason)
