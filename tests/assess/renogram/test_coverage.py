"""Do 95 % intervals hold the truth? Artificial studies whose truth is known without noise.

In each study the tissue over either kidney differs from that beside it, and its region catches more
or less of it, by normal chance of the size that the rules state; counting is Poisson.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.support.renograms import SPECS

from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.study import analysed
from thalweg.phantom.renogram import RenogramSpec, renogram

if TYPE_CHECKING:
    from thalweg.assess.renogram.result import Estimate

STUDIES = 40
DAY = date(2026, 3, 4)


def inside(found: Estimate, truth: float) -> bool:
    return found.interval[0] <= truth <= found.interval[1]


def study_hits(spec: RenogramSpec, seed: int) -> dict[str, list[bool]]:
    rng = np.random.default_rng([3, seed])
    off, caught = 0.2 * rng.standard_normal(2), np.exp(0.03 * rng.standard_normal(2))
    changed = replace(
        spec, mismatch=(float(off[0]), float(off[1])), caught=(float(caught[0]), float(caught[1]))
    )
    study, truth = renogram(changed, seed)
    result = analysed(study, Circumstances(emptied_s=spec.emptied_s), at=DAY)
    hits: dict[str, list[bool]] = defaultdict(list)
    share = truth.share_left_percent
    left = result.kidneys["left"]
    for name, found in (
        ("share relied on", result.share_left),
        ("share by integral", left.share_integral),
        ("share by line", left.share_patlak),
    ):
        if found is not None:
            hits[name].append(inside(found, share))
    for side, kidney in result.kidneys.items():
        if kidney.peak.time_s is not None:
            hits["peak"].append(inside(kidney.peak.time_s, truth.peak_s(side)))
        half = kidney.half_time
        if half.time_s is not None and half.window_s is not None:
            hits["half-time"].append(inside(half.time_s, truth.half_time_s(side, *half.window_s)))
        for residual in kidney.residuals:
            window = (residual.at_s - 30.0, residual.at_s + 30.0)
            hits["residual"].append(inside(residual.ratio, truth.residual(side, *window)))
        for efficiency in kidney.efficiencies:
            gone = truth.efficiency_percent(side, efficiency.at_s)
            hits["output efficiency"].append(inside(efficiency.percent, gone))
    return hits


@pytest.mark.parametrize("name", list(SPECS))
def test_intervals_hold_the_truth_in_nine_of_ten(name: str) -> None:
    pooled: dict[str, list[bool]] = defaultdict(list)
    first = 1000 * list(SPECS).index(name)
    for seed in range(first, first + STUDIES):
        for measure, found in study_hits(SPECS[name], seed).items():
            pooled[measure] += found
    held = {measure: np.mean(found) for measure, found in pooled.items()}
    assert len(pooled["share relied on"]) == len(pooled["share by integral"]) == STUDIES
    # An infant's blood curve can be lost in the noise; then there is no line.
    assert len(pooled["share by line"]) >= 0.9 * STUDIES
    assert len(pooled["residual"]) >= 3 * STUDIES
    assert len(pooled["half-time"]) >= (STUDIES if name == "obstructed" else 1.8 * STUDIES)
    assert {measure: part for measure, part in held.items() if part < 0.90} == {}
