"""Pooling proportions: how fast, and how often the 95 % intervals hold what they should.

Run: ``python benchmarks/pool_series.py [--pools N] [--draws N]``. Speed: many sets of series, drawn
with known truth, pooled by Thalweg and by a loop as a script would write it (DerSimonian and Laird,
one series at a time, no interval of heterogeneity, no prediction); then by counts. Coverage: how
often the interval holds the mean logit, and the range for a further place a newly drawn place.
"""

from __future__ import annotations

import argparse
import math
import time
from typing import TYPE_CHECKING

import numpy as np

from _alone import setting
from thalweg.evidence.pooling import pool

if TYPE_CHECKING:
    from collections.abc import Iterator

SEED = 7
Sets = list[tuple[list[int], list[int]]]


def drawn(count: int, k: int, share: float, tau: float, seed: int) -> Sets:
    """Return sets of events and totals whose true logits are normal."""
    draws = np.random.default_rng(seed)
    made: Sets = []
    for _ in range(count):
        totals = draws.integers(25, 400, k)
        logits = math.log(share / (1 - share)) + tau * draws.standard_normal(k)
        events = draws.binomial(totals, 1 / (1 + np.exp(-logits)))
        made.append(([int(x) for x in events], [int(n) for n in totals]))
    return made


def naive(events: list[int], totals: list[int]) -> tuple[float, float, float]:
    """Return mean, standard error and heterogeneity by a loop over the series."""
    effects, weights = [], []
    for x, n in zip(events, totals, strict=True):
        add = 0.5 if x in (0, n) else 0.0
        effects.append(math.log((x + add) / (n - x + add)))
        weights.append(1 / (1 / (x + add) + 1 / (n - x + add)))
    total = sum(weights)
    mean = sum(w * y for w, y in zip(weights, effects, strict=True)) / total
    q = sum(w * (y - mean) ** 2 for w, y in zip(weights, effects, strict=True))
    c = total - sum(w * w for w in weights) / total
    between = max(0.0, (q - len(events) + 1) / c)
    again = [1 / (1 / w + between) for w in weights]
    mean = sum(w * y for w, y in zip(again, effects, strict=True)) / sum(again)
    return mean, math.sqrt(1 / sum(again)), between


def speed(pools: int) -> None:
    """Print milliseconds a pool."""
    sets = drawn(pools, 8, 0.15, 0.5, SEED)
    start = time.perf_counter()
    plain = [naive(*one) for one in sets]
    print(
        f"{'plain loop, DL, no intervals':44} {1e3 * (time.perf_counter() - start) / pools:8.3f} ms"
    )
    for method in ("dl", "pm", "reml", "exact"):
        some = sets if method != "exact" else sets[: max(1, pools // 10)]
        start = time.perf_counter()
        ours = [pool(*one, method=method) for one in some]
        each = 1e3 * (time.perf_counter() - start) / len(some)
        print(f"{f'Thalweg, {method}, every interval':44} {each:8.3f} ms")
        if method == "dl":
            worst = max(abs(a.mu - b[0]) for a, b in zip(ours, plain, strict=True))
            print(f"{'  greatest difference of the mean logit':44} {worst:8.1e}")


def coverage(draws: int) -> Iterator[str]:
    """Yield a row of Markdown for each truth and method."""
    yield "| series | share | tau | method | interval held the mean | further place held |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for k, share, tau in (
        (4, 0.2, 0.5),
        (8, 0.2, 0.5),
        (8, 0.2, 0.0),
        (5, 0.03, 0.7),
        (12, 0.03, 0.7),
    ):
        truth = math.log(share / (1 - share))
        new = np.random.default_rng(SEED + 1).standard_normal(draws)
        for method in ("dl", "reml", "exact"):
            held = further = 0
            for (events, totals), z in zip(drawn(draws, k, share, tau, SEED), new, strict=True):
                found = pool(events, totals, method=method)
                low, high = found.interval
                held += low <= 1 / (1 + math.exp(-truth)) <= high
                place = 1 / (1 + math.exp(-(truth + tau * z)))
                low, high = found.prediction or (0.0, 1.0)
                further += low <= place <= high
            yield (
                f"| {k} | {100 * share:g} % | {tau:g} | {method} | {100 * held / draws:.1f} % | "
                f"{100 * further / draws:.1f} % |"
            )


def main() -> None:
    """Race, then simulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=1000)
    parser.add_argument("--draws", type=int, default=400)
    chosen = parser.parse_args()
    print(setting(("numpy", "scipy"), 1))
    pool([5, 9, 20], [50, 60, 90])
    speed(chosen.pools)
    for line in coverage(chosen.draws):
        print(line)


if __name__ == "__main__":
    main()
