"""How long the kidney equations take over a registry, against bare numpy and a row-by-row loop.

Run as ``python benchmarks/kidney_registry.py [rows]``. Bare numpy computes the same expression with
no check of units, ranges or words; the loop calls our function for one person after the other, over
a hundredth of the rows, and is scaled up. Stages of acute injury are computed over as many results,
twenty a person.
"""

from __future__ import annotations

import sys
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np

from _alone import setting
from thalweg.assess.injury.creatinine import creatinine_stages
from thalweg.assess.kidney.ckd_epi import ckd_epi_2012_cystatin, ckd_epi_2021_creatinine

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

ROUNDS = 3
SHARE = 100
A_PERSON = 20


def best(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the shortest of some rounds, in seconds."""
    times = []
    for _ in range(rounds):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def bare_creatinine(
    value: NDArray[np.float64], age: NDArray[np.float64], sex: NDArray[np.str_]
) -> NDArray[np.float64]:
    """Return CKD-EPI 2021 by creatinine with no check at all."""
    female = sex == "female"
    ratio = value / np.where(female, 0.7, 0.9)
    low = np.minimum(ratio, 1.0) ** np.where(female, -0.241, -0.302)
    scale = 142.0 * 0.9938**age * np.where(female, 1.012, 1.0)
    return np.asarray(low * np.maximum(ratio, 1.0) ** -1.2 * scale)


def bare_cystatin(
    value: NDArray[np.float64], age: NDArray[np.float64], sex: NDArray[np.str_]
) -> NDArray[np.float64]:
    """Return CKD-EPI 2012 by cystatin C with no check at all."""
    ratio = value / 0.8
    low = np.minimum(ratio, 1.0) ** -0.499
    high = np.maximum(ratio, 1.0) ** -1.328
    return np.asarray(133.0 * low * high * 0.996**age * np.where(sex == "female", 0.932, 1.0))


def main() -> None:
    """Print seconds and ratios."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    chance = np.random.default_rng(7)
    age, value = chance.uniform(18, 95, rows), chance.uniform(0.4, 8.0, rows)
    sex = chance.choice(np.array(["female", "male"]), rows)
    print(setting(["numpy"], ROUNDS))
    for name, ours, bare in (
        ("creatinine 2021", ckd_epi_2021_creatinine, bare_creatinine),
        ("cystatin C 2012", ckd_epi_2012_cystatin, bare_cystatin),
    ):
        plain, checked = (
            best(lambda b=bare: b(value, age, sex)),
            best(lambda o=ours: o(value, age, sex)),
        )
        loop = SHARE * best(
            lambda o=ours: [o(value[n], age[n], sex[n]) for n in range(rows // SHARE)], 1
        )
        print(
            f"{name:17} {rows} rows: numpy {plain:.3f} s, ours {checked:.3f} s "
            f"({checked / plain:.2f} of numpy), row by row {loop:.1f} s "
            f"({loop / checked:.0f} times)"
        )
    person = np.arange(rows) // A_PERSON
    minutes = (np.arange(rows) % A_PERSON) * 600 + chance.integers(0, 599, rows)
    nmol = chance.integers(60_000, 300_000, rows)
    spent = best(lambda: creatinine_stages(minutes, nmol, person=person))
    print(f"injury stages     {rows} results of {rows // A_PERSON} people: {spent:.3f} s")


if __name__ == "__main__":
    main()
