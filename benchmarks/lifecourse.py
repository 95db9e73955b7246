"""A life course: Thalweg, the same model as one straightforward numpy pass, one life after another.

Run: ``python benchmarks/lifecourse.py [--lives N] [--repeat N]``. All live the same model: death
around the operation and by the life table, a narrowing heaped up early, a recurrent infection, a
tube kept from some day on and changed by the calendar. The straightforward pass is what one would
write with numpy alone: whole arrays of all lives at once, Poisson counts between horizons, numpy's
own generator, each option by itself. The plain loop is written life by life with `random`; it lives
a hundredth of the lives and one option, and its time is multiplied. Means must agree within five
standard errors before a time is printed.
"""

from __future__ import annotations

import argparse
import os
import random
import time
import tracemalloc
from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

import numpy as np

from thalweg.evidence.lifetables import life_table
from thalweg.plan.lifecourse.quantity import certain
from thalweg.plan.lifecourse.rates import (
    Burden,
    EarlyEvent,
    LateEvent,
    OptionRates,
    Rates,
    Start,
    Tube,
)
from thalweg.plan.lifecourse.shape import Shape
from thalweg.plan.lifecourse.simulate import live

if TYPE_CHECKING:
    from collections.abc import Callable

AGE, DEATH, INFECTIONS, STRICTURE, KEPT, WEEKS = 68.0, 0.06, 0.2, 0.1, 0.3, 8.0
SHAPE = Shape((0.0, 0.333, 0.583, 2.0, 10.0), (0.0, 0.25, 0.5, 0.75, 1.0), 0.0125)
YEARS = (1.0, 5.0, 10.0, inf)
FIRST = 90 / 365.25
OPTIONS = 8
Answer = dict[str, np.ndarray]


def by_thalweg(lives: int) -> Answer:
    """Return mean years lived, infections, narrowings and changes at each horizon.

    Besides these it gives what the others do not: each world's mean with its error, a sample of
    lives, states, days with tubes; and all options meet the same chance.
    """
    option = OptionRates(
        "0",
        "0",
        death=EarlyEvent("death", "death", certain("death", DEATH)),
        late=(
            LateEvent("infection", "infection", certain("infections", INFECTIONS), again=True),
            LateEvent("stricture", "stricture", certain("strictures", STRICTURE), shape=SHAPE),
        ),
        nights=(Burden("infection", "infection", certain("each", 1.0)),),
        tube=Tube(
            kept=LateEvent("kept", "kept", certain("kept", KEPT), per_unit=True),
            every_weeks=certain("weeks", WEEKS),
        ),
    )
    start = Start(
        AGE,
        life_table("male"),
        1,
        certain("share", 1.0),
        None,
        None,
        certain("compensation", 0.0),
    )
    options = tuple(replace(option, key=str(n)) for n in range(OPTIONS))
    course = live(Rates(options), start, lives=lives)
    names = {
        "years": "years-lived",
        "infections": "nights",
        "strictures": "event:stricture",
        "changes": "tube-changes",
    }
    figures = course.tallies["0"].figures
    return {word: figures[name].means.mean(axis=1) for word, name in names.items()}


def by_numpy(lives: int) -> Answer:
    """Return the same by whole arrays, option after option."""
    for _ in range(OPTIONS - 1):
        _by_numpy(lives)
    return _by_numpy(lives)


def _by_numpy(lives: int) -> Answer:
    table, chance = life_table("male"), np.random.default_rng(1)
    stands = table.summed_rate(AGE + FIRST) + chance.exponential(size=lives)
    old = np.interp(stands, table.cumulative_rate(), np.arange(table.last_age + 1.0)) - AGE
    dies = chance.random(lives) < DEATH
    death = np.where(dies, FIRST * chance.random(lives), old)
    stricture = SHAPE.when(chance.exponential(size=lives) / STRICTURE)
    kept = chance.exponential(size=lives) / KEPT
    offset = chance.random(lives)
    answer: dict[str, list[float]] = {
        word: [] for word in ("years", "infections", "strictures", "changes")
    }
    before, count = np.zeros(lives), np.zeros(lives)
    for horizon in YEARS:
        lived = np.minimum(death, horizon)
        count = count + chance.poisson(INFECTIONS * (lived - before))
        before = lived
        answer["years"].append(lived.mean())
        answer["infections"].append(count.mean())
        answer["strictures"].append((stricture <= lived).mean())
        span = np.maximum(lived - kept, 0.0) * 365.25 / 7 / WEEKS
        answer["changes"].append(np.floor(span + offset).mean())
    return {word: np.array(row) for word, row in answer.items()}


def by_loop(lives: int) -> Answer:
    """Return the same, life by life."""
    table, chance = life_table("male"), random.Random(1)
    rates = -np.log(np.maximum(1 - table.death_probability, 1e-12))
    sums = np.zeros((4, len(YEARS)))
    for _ in range(lives):
        if chance.random() < DEATH:
            death = FIRST * chance.random()
        else:
            age, stands = AGE + FIRST, chance.expovariate(1.0)
            while age < table.last_age:
                step, rate = int(age) + 1 - age, float(rates[int(age)])
                if stands < rate * step:
                    age += stands / rate
                    break
                stands -= rate * step
                age += step
            death = age - AGE
        stricture = float(SHAPE.when(chance.expovariate(1.0) / STRICTURE))
        kept, offset = chance.expovariate(KEPT), chance.random()
        infections, moment = [], chance.expovariate(INFECTIONS)
        while moment <= death:
            infections.append(moment)
            moment += chance.expovariate(INFECTIONS)
        for n, horizon in enumerate(YEARS):
            lived = min(death, horizon)
            span = max(lived - kept, 0.0) * 365.25 / 7 / WEEKS
            row = (
                lived,
                sum(one <= lived for one in infections),
                stricture <= lived,
                int(span + offset),
            )
            sums[:, n] += row
    words = ("years", "infections", "strictures", "changes")
    return dict(zip(words, sums / lives, strict=True))


def timed(work: Callable[[int], Answer], lives: int, repeat: int) -> tuple[Answer, float, float]:
    """Return an answer, the best processor time in seconds, and the best time on the clock."""
    best = clock = inf
    answer: Answer = {}
    for _ in range(repeat):
        cpu, wall = time.process_time(), time.perf_counter()
        answer = work(lives)
        best = min(best, time.process_time() - cpu)
        clock = min(clock, time.perf_counter() - wall)
    return answer, best, clock


def peak(work: Callable[[int], Answer], lives: int) -> float:
    """Return the greatest memory taken, MiB."""
    tracemalloc.start()
    work(lives)
    size = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return size / 2**20


def main() -> None:
    """Check that all agree, then print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lives", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    by_thalweg(4000)  # imports and data files are not timed
    ours, cpu, clock = timed(by_thalweg, given.lives, given.repeat)
    plain, plain_cpu, plain_clock = timed(by_numpy, given.lives, given.repeat)
    few = given.lives // 100
    loop, loop_cpu, loop_clock = timed(by_loop, few, 1)
    for word, means in ours.items():
        for other, lives in ((plain, given.lives), (loop, few)):
            # Spread of a life: no count here has a standard deviation above twice its mean and 3.
            error = (2 * means + 3) / np.sqrt(lives)
            if not np.all(np.abs(other[word] - means) < 5 * error):
                raise SystemExit(f"{word} differ: {means} and {other[word]}")
    print(f"{given.lives} lives of each of {OPTIONS} options, load {os.getloadavg()[0]:.1f}")
    rows = (
        ("thalweg", cpu, clock, peak(by_thalweg, given.lives)),
        ("numpy, straightforward", plain_cpu, plain_clock, peak(by_numpy, given.lives)),
        ("one life after another", loop_cpu * 100 * OPTIONS, loop_clock * 100 * OPTIONS, 0.0),
    )
    for name, seconds, wall, memory in rows:
        print(
            f"{name:24} {seconds * 1000:9.1f} ms processor, {wall * 1000:9.1f} ms clock, "
            f"ratio {seconds / cpu:7.2f}, peak {memory:6.1f} MiB"
        )


if __name__ == "__main__":
    main()
