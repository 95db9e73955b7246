"""How long the formulas of kidneys and blood take over a registry.

Run as ``python benchmarks/kidney_registry.py [rows] [--table]``; ``--table`` prints the rows as a
table in Markdown. Each formula is raced against the published expression in numpy with the same
range check (``_kidney_bare.py``) and against a loop that calls our function for one person after
the other, over a thousandth of the rows and scaled up. The two answers are compared before any
time is taken. Times are the processor's, not the clock's, and the two take turns. Memory is the
peak that numpy allocates beyond the columns themselves, with the answer. Stages of acute injury
are computed over as many results, twenty a person.
"""

from __future__ import annotations

import sys
import tracemalloc
from time import thread_time
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

import _kidney_bare as bare
from _alone import setting
from thalweg.assess.chemistry import amounts, gap, gas, response
from thalweg.assess.injury.creatinine import creatinine_stages
from thalweg.assess.kidney import body, categories, children, ckd_epi, risk, urea

if TYPE_CHECKING:
    from collections.abc import Callable

ROUNDS = 5
LEAST_S = 1.0
SHARE = 1000
A_PERSON = 20

Columns = dict[str, np.ndarray]


class Race(NamedTuple):
    """One formula: its name, its columns in order, ours and the bare one."""

    name: str
    columns: tuple[str, ...]
    ours: Callable[..., np.ndarray]
    plain: Callable[..., np.ndarray]


def failure_5(*values: np.ndarray) -> np.ndarray:
    """Return the five-year risk of kidney failure, North America."""
    return risk.kidney_failure_risk(*values, region="north-america", years=5)


def albuminuria(ratio: np.ndarray) -> np.ndarray:
    """Return the A category of ratios in mg/g."""
    return categories.albuminuria_categories(ratio, "mg/g")


RACES = (
    Race(
        "CKD-EPI 2021, creatinine",
        ("creatinine", "age", "sex"),
        ckd_epi.ckd_epi_2021_creatinine,
        bare.creatinine_2021,
    ),
    Race(
        "CKD-EPI 2012, cystatin C",
        ("cystatin", "age", "sex"),
        ckd_epi.ckd_epi_2012_cystatin,
        bare.cystatin_2012,
    ),
    Race(
        "CKD-EPI 2021, both",
        ("creatinine", "cystatin", "age", "sex"),
        ckd_epi.ckd_epi_2021_creatinine_cystatin,
        bare.both_2021,
    ),
    Race(
        "Schwartz 2009",
        ("creatinine", "height", "child_age"),
        children.schwartz_2009,
        bare.schwartz,
    ),
    Race(
        "CKiD U25, creatinine",
        ("creatinine", "height", "young_age", "sex"),
        children.ckid_u25_creatinine,
        bare.u25_creatinine,
    ),
    Race(
        "CKiD U25, cystatin C",
        ("cystatin", "young_age", "sex"),
        children.ckid_u25_cystatin,
        bare.u25_cystatin,
    ),
    Race(
        "Cockcroft and Gault",
        ("creatinine", "weight", "age", "sex"),
        body.cockcroft_gault,
        bare.clearance,
    ),
    Race("Mosteller", ("height", "weight"), body.mosteller, bare.surface),
    Race("de-indexed rate", ("rate", "area"), body.absolute_gfr, bare.absolute),
    Race("KDIGO G category", ("rate",), categories.gfr_category, bare.category),
    Race("KDIGO A category", ("ratio",), albuminuria, bare.albuminuria),
    Race("kidney failure, 5 years", ("age", "sex", "low_rate", "ratio"), failure_5, bare.failure),
    Race(
        "urea to creatinine",
        ("urea_nitrogen", "creatinine"),
        urea.urea_creatinine,
        bare.urea_ratio,
    ),
    Race("anion gap", ("sodium", "chloride", "bicarbonate"), gap.anion_gap, bare.gap),
    Race("corrected gap", ("gap", "albumin"), gap.albumin_corrected_gap, bare.corrected),
    Race("delta ratio", ("gap", "bicarbonate"), gap.delta_ratio, bare.delta),
    Race("bicarbonate from gas", ("ph", "pco2"), gas.bicarbonate_from_gas, bare.from_gas),
    Race(
        "base excess, fluid",
        ("ph", "bicarbonate"),
        gas.base_excess_fluid,
        bare.excess_fluid,
    ),
    Race(
        "base excess, blood",
        ("ph", "pco2", "haemoglobin"),
        gas.base_excess_blood,
        bare.excess_blood,
    ),
    Race("Winters", ("bicarbonate",), response.winters_pco2, bare.winters),
    Race(
        "bicarbonate deficit",
        ("bicarbonate", "weight"),
        amounts.bicarbonate_deficit,
        bare.deficit,
    ),
    Race("adjusted calcium", ("calcium", "albumin"), amounts.adjusted_calcium, bare.calcium),
    Race(
        "osmolality",
        ("sodium", "glucose", "urea"),
        amounts.calculated_osmolality,
        bare.osmolality,
    ),
)
RANGES = {
    "age": (18, 95),
    "young_age": (1, 25),
    "child_age": (1, 16.9),
    "creatinine": (0.4, 8.0),
    "cystatin": (0.4, 6.0),
    "height": (120, 200),
    "weight": (30, 140),
    "rate": (3, 140),
    "low_rate": (5, 59),
    "area": (1.2, 2.5),
    "ratio": (1, 3000),
    "urea_nitrogen": (5, 90),
    "sodium": (120, 150),
    "chloride": (85, 120),
    "bicarbonate": (8, 32),
    "gap": (3, 30),
    "albumin": (15, 50),
    "ph": (7.0, 7.6),
    "pco2": (20, 80),
    "haemoglobin": (6, 18),
    "calcium": (1.6, 3.0),
    "glucose": (3, 30),
    "urea": (2, 40),
}


def columns(rows: int) -> Columns:
    """Return a made-up registry, the same at every run."""
    chance = np.random.default_rng(7)
    made = {name: chance.uniform(low, high, rows) for name, (low, high) in RANGES.items()}
    return made | {"sex": chance.choice(np.array(["female", "male"]), rows)}


def seconds(work: Callable[[], object]) -> float:
    """Return the processor's seconds that some work takes; all of it runs in one thread."""
    start = thread_time()
    work()
    return thread_time() - start


def duel(first: Callable[[], object], second: Callable[[], object]) -> tuple[float, float]:
    """Return the shortest seconds of two works that take turns, so that both meet the same load.

    Short works get more turns, up to `ROUNDS` times `ROUNDS`.
    """
    times: list[tuple[float, float]] = []
    while len(times) < ROUNDS or (len(times) < ROUNDS**2 and sum(map(sum, times)) < LEAST_S):
        times.append((seconds(first), seconds(second)))
    return min(one for one, _ in times), min(other for _, other in times)


def peak_mb(work: Callable[[], object]) -> float:
    """Return the most that was allocated at once, in mebibytes."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def agree(ours: np.ndarray, plain: np.ndarray) -> bool:
    """Return whether two answers are the same to within rounding."""
    if ours.dtype.kind == "U":
        return bool((ours == plain).all())
    return bool(np.allclose(ours, plain, rtol=1e-12, atol=0, equal_nan=True))


def raced(race: Race, table: Columns, rows: int) -> tuple[float, float, float, float, float]:
    """Return seconds of bare, ours and one by one, and peak mebibytes of bare and ours."""
    given = [table[name] for name in race.columns]
    if not agree(race.ours(*given), race.plain(*given)):
        raise SystemExit(f"{race.name}: the two answers differ")
    few = list(zip(*(one[: max(rows // SHARE, 1)].tolist() for one in given), strict=True))
    plain, ours = duel(lambda: race.plain(*given), lambda: race.ours(*given))
    return (
        plain,
        ours,
        seconds(lambda: [race.ours(*one) for one in few]) * rows / len(few),
        peak_mb(lambda: race.plain(*given)),
        peak_mb(lambda: race.ours(*given)),
    )


def main() -> None:
    """Print seconds, ratios and memory."""
    words = [word for word in sys.argv[1:] if word != "--table"]
    rows = int(words[0]) if words else 1_000_000
    shape = (
        "| {:24} | {:>7} | {:>7} | {:>8} | {:>9} | {:>7} | {:>7} |"
        if "--table" in sys.argv
        else "{:24} {:>8} {:>8} {:>9} {:>10} {:>8} {:>8}"
    )
    print(setting(["numpy"], ROUNDS))
    print(f"{rows} rows; ms and MiB; ratio is ours to numpy; one by one as multiple of ours")
    print(shape.format("formula", "numpy", "ours", "ratio", "one by one", "MiB np", "MiB ours"))
    if "--table" in sys.argv:
        print("| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    table = columns(rows)
    ratios = []
    for race in RACES:
        plain, ours, single, plain_mb, ours_mb = raced(race, table, rows)
        ratios.append(ours / plain)
        cells = (f"{plain * 1e3:.1f}", f"{ours * 1e3:.1f}", f"{ours / plain:.2f}")
        after = (f"{single / ours:.0f}", f"{plain_mb:.0f}", f"{ours_mb:.0f}")
        print(shape.format(race.name, *cells, *after))
    print(f"ratio: median {np.median(ratios):.2f}, greatest {max(ratios):.2f}")
    chance = np.random.default_rng(7)
    person = np.arange(rows) // A_PERSON
    minutes = (np.arange(rows) % A_PERSON) * 600 + chance.integers(0, 599, rows)
    nmol = chance.integers(60_000, 300_000, rows)
    spent = min(seconds(lambda: creatinine_stages(minutes, nmol, person=person)) for _ in range(3))
    print(f"injury stages: {rows} results of {rows // A_PERSON} people in {spent:.3f} s")


if __name__ == "__main__":
    main()
