"""Published series: how many people, how many events, over how long, by which definition.

Rows stand in ``data/series/*.toml`` under outcome and definition; what the rows of one study
share stands in ``data/series/studies.toml`` under the study's key in the bibliography. A unit's
own outcomes are read elsewhere into the same form and stand beside them.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final, Literal

from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.outcome import CountingUnit, definitions, outcomes
from thalweg.evidence.rounding import possible_counts

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from thalweg.evidence.bibliography import Reading
    from thalweg.evidence.outcome import Outcome

__all__ = [
    "OWN",
    "Design",
    "FollowUp",
    "Population",
    "Series",
    "packaged",
    "published",
    "series_from",
]

Population = Literal["adult", "child", "mixed"]
Design = Literal["trial", "prospective", "retrospective", "registry", "review"]
FollowUp = Literal["median", "mean", "minimum", "maximum"]

OWN: Final = "unit-outcomes"
"""The bibliography's key of a unit's own outcomes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One count of one outcome in one group of people.

    Parameters
    ----------
    key : str
        Unique, lower-case words joined by hyphens.
    source : str
        Key of the bibliography.
    year : int
        Of publication.
    setting : str
        Where: hospital or register, and country.
    population : "adult", "child" or "mixed"
        Who.
    diversions : tuple of str
        Keys of the catalogue; several where the publication does not tell them apart.
    outcome : str
        Key of the outcome.
    definition_group : str
        Key of the definition: what may be pooled together.
    unit : str
        What was counted; never mixed in one pool.
    n : int
        Counted units at risk, at least 1.
    events : int, optional
        With the outcome; None where the publication gives only a share (see `survival_percent`)
        or a percentage that fits several counts.
    follow_up_months : float, optional
        How long they were followed, in months, by `follow_up_kind`.
    follow_up_kind : "median", "mean", "minimum", "maximum" or empty
        What `follow_up_months` is.
    follow_up_unknown : bool
        The part that was read does not say how long people were followed.
    at_months : float, optional
        The moment after the operation that the figure speaks of, in months.
    survival_percent : float, optional
        Share still free of the outcome at `at_months` by the Kaplan-Meier method, 0 to 100.
    survival_interval : tuple of float, optional
        Its printed 95 % interval.
    definition : str
        What this publication counted, in our own words.
    printed : str
        The percentage as printed, digits only; empty where none is printed.
    printed_without : bool
        The printed percentage is of those *without* the outcome.
    derived : bool
        The count was worked out from the printed percentage, which only one count fits.
    read : str
        How the figures were checked (see `thalweg.evidence.bibliography`).
    note : str
        What a reader should know, and where the figures were read.
    design : str
        Kind of study.
    enrolled : tuple of int, optional
        First and last year of the operations.
    cohort : str
        A name for the unit whose people they are; equal names may mean the same people.
    arm : str
        Which of the study's groups; empty for all of its people.
    overlaps : tuple of str
        Keys (bibliography) of studies that hold some of the same people and go before this one.
    discrepancy : str
        What in the printed figures does not fit, and what was done about it.
    excluded : str
        Why it is kept out of every pool; empty where it is not.
    """

    key: str
    source: str
    year: int
    setting: str
    population: Population
    diversions: tuple[str, ...]
    outcome: str
    definition_group: str
    unit: CountingUnit
    n: int
    events: int | None = None
    follow_up_months: float | None = None
    follow_up_kind: FollowUp | Literal[""] = ""
    follow_up_unknown: bool = False
    at_months: float | None = None
    survival_percent: float | None = None
    survival_interval: tuple[float, float] | None = None
    definition: str = ""
    printed: str = ""
    printed_without: bool = False
    derived: bool = False
    read: Reading = "memory"
    note: str = ""
    design: Design = "retrospective"
    enrolled: tuple[int, int] | None = None
    cohort: str = ""
    arm: str = ""
    overlaps: tuple[str, ...] = ()
    discrepancy: str = ""
    excluded: str = ""

    @property
    def own(self) -> bool:
        """Whether it is the unit's own, not a publication."""
        return self.source == OWN

    @property
    def counted(self) -> int | None:
        """What the printed percentage counts: the events, or those without."""
        if self.events is None:
            return None
        return self.n - self.events if self.printed_without else self.events

    @property
    def what(self) -> Outcome:
        """The outcome itself."""
        return outcomes()[self.outcome]


def series_from(row: Mapping[str, Any]) -> Series:
    """Return a row of data as a series, its lists made tuples and its count derived where told.

    A row with ``derived = true`` gives no events: they are the one count that rounds (half up or
    half even) to the printed percentage.

    Raises
    ------
    ValueError
        If a count is to be derived and not exactly one fits: a fault of the packaged data.
    """
    values = dict(row)
    for name in ("diversions", "enrolled", "overlaps", "survival_interval"):
        if isinstance(values.get(name), list):
            values[name] = tuple(values[name])
    if values.get("derived"):
        fits = possible_counts(values["printed"], values["n"], conventions=("half-up", "half-even"))
        if len(fits) != 1:
            msg = f"{values['key']}: {len(fits)} counts of {values['n']} print {values['printed']}"
            raise ValueError(msg)
        values["events"] = values["n"] - fits[0] if values.get("printed_without") else fits[0]
    return Series(**values)


def _rows(studies: Mapping[str, Mapping[str, Any]], page: Mapping[str, Any]) -> Iterable[Series]:
    """Yield the rows of one page, which stand under outcome and definition."""
    for outcome, groups in page.items():
        for group, rows in groups.items():
            for key, row in rows.items():
                own = dict(row)
                source = own.pop("study")
                notes = [own.get("note", ""), studies[source].get("note", "")]
                own["note"] = " ".join(note for note in notes if note)
                entry = bibliography()[source]
                shared = {
                    "unit": outcomes()[outcome].unit,
                    "read": entry.read,
                    "year": entry.year,
                    "definition": definitions()[group].says,
                    **studies[source],
                }
                fixed = {
                    "key": key,
                    "source": source,
                    "outcome": outcome,
                    "definition_group": group,
                }
                yield series_from({**shared, **own, **fixed})


@cache
def packaged() -> tuple[Series, ...]:
    """Return every packaged series, in the order of its key.

    Raises
    ------
    ValueError
        If a key stands twice: a fault of the packaged data.
    """
    folder = files("thalweg.evidence").joinpath("data/series")
    pages = {
        page.name: tomllib.loads(page.read_text(encoding="utf-8"))
        for page in folder.iterdir()
        if page.name.endswith(".toml")
    }
    studies = pages.pop("studies.toml")
    found: dict[str, Series] = {}
    for name in sorted(pages):
        for one in _rows(studies, pages[name]):
            if one.key in found:
                msg = f"series {one.key!r} stands twice"
                raise ValueError(msg)
            found[one.key] = one
    return tuple(found[key] for key in sorted(found))


def published(
    *,
    outcome: str | None = None,
    diversion: str | None = None,
    unit: str | None = None,
    population: str | None = None,
    own: tuple[Series, ...] = (),
) -> tuple[Series, ...]:
    """Return every series that fits, for reading side by side.

    Not to be pooled as it stands: it holds different definitions, people counted twice, figures
    that were remembered and figures that contradict themselves.
    `thalweg.evidence.pool_groups.pool_groups` says which of them may be pooled, and why the
    others may not.

    Parameters
    ----------
    outcome, diversion, unit, population : str, optional
        Only those with this outcome; among whose diversions this one is; counted by this unit;
        of these people.
    own : tuple of Series
        A unit's own, listed after the published.
    """
    wanted = {"outcome": outcome, "unit": unit, "population": population}
    return tuple(
        one
        for one in (*packaged(), *own)
        if all(value is None or getattr(one, name) == value for name, value in wanted.items())
        and (diversion is None or diversion in one.diversions)
    )
