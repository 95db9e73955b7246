"""Options and people of a life course with rates chosen by the test, not published ones."""

from __future__ import annotations

from math import log
from typing import Any

import numpy as np

from thalweg.evidence.lifetables import LifeTable, life_table
from thalweg.plan.lifecourse.quantity import Basis, Quantity, certain
from thalweg.plan.lifecourse.rates import EarlyEvent, LateEvent, OptionRates, Rates, Start
from thalweg.plan.lifecourse.simulate import LifeCourse, live

OURS = Basis(("thalweg-engineering",))


def steady_table(per_year: float) -> LifeTable:
    """A life table with one death rate at every age, so that answers have closed forms."""
    share = -np.expm1(-per_year)
    return LifeTable("female", 2000, "Nowhere", "thalweg-engineering", np.full(4000, share))


def spread(key: str, middle: float, times: float) -> Quantity:
    """A rate known within a factor of `times` either way (one standard deviation)."""
    return Quantity(key, "log", log(middle), log(times), least=0.0, basis=OURS)


def late(key: str, per_year: float, **how: Any) -> LateEvent:
    return LateEvent(key, key, certain(key, per_year), **how)


def early(key: str, share: float) -> EarlyEvent:
    return EarlyEvent(key, key, certain(key, share))


def option(key: str = "a", **what: Any) -> OptionRates:
    return OptionRates(key, key, **what)


def person(table: LifeTable | None = None, age: float = 0.0, **what: Any) -> Start:
    plain: dict[str, Any] = {
        "age": age,
        "table": table or life_table("male"),
        "units": 2,
        "first_share": certain("share", 0.4),
        "gfr": certain("gfr", 60.0),
        "gfr_per_year": certain("gfr a year", -1.0),
        "compensation": certain("compensation", 0.2),
    }
    return Start(**{**plain, **what})


def lived_by(start: Start, *options: OptionRates, **how: Any) -> LifeCourse:
    return live(Rates(options), start, **how)


def mean_of(course: LifeCourse, figure: str, horizon: int, key: str = "a") -> float:
    return float(course.tallies[key].figures[figure].means[horizon].mean())


def error_of(course: LifeCourse, figure: str, horizon: int, key: str = "a") -> float:
    """Standard error of the mean from the number of lives."""
    found = course.tallies[key].figures[figure].error[horizon]
    return float(np.sqrt(found.mean() / found.size))
