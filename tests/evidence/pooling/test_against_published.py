"""A unit's own count against the published: analytic limits and a simulation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from thalweg.evidence.pooling import pool, published_pools
from thalweg.evidence.pooling.against import compared, expected_cdf
from thalweg.evidence.series import OWN, packaged, published

POOLED = pool((102, 35, 56, 89, 82), (124, 45, 78, 98, 90))
ROWS = {one.key: one for one in packaged()}


def test_without_doubt_or_difference_it_is_the_plain_binomial() -> None:
    sure = replace(POOLED, mu=float(np.log(0.2 / 0.8)), se=1e-9, tau2=0.0)
    for most in (0, 3, 8, 20):
        assert expected_cdf(sure, 40, most) == pytest.approx(binom.cdf(most, 40, 0.2), abs=1e-7)
    found = compared(8, 40, sure)
    assert found.expected == (binom.ppf(0.025, 40, 0.2), binom.ppf(0.975, 40, 0.2))
    assert found.standing == "within"


def test_the_expected_counts_are_those_of_a_simulation() -> None:
    draws = np.random.default_rng(20)
    spread = np.sqrt((POOLED.tau2 or 0) + POOLED.se**2)
    logits = POOLED.mu + spread * draws.standard_t(4, size=400_000)
    counts = draws.binomial(42, 1 / (1 + np.exp(-logits)))
    for most in (15, 25, 33, 40):
        # Four standard errors of the simulation.
        assert expected_cdf(POOLED, 42, most) == pytest.approx(np.mean(counts <= most), abs=4e-3)
    found = compared(9, 42, POOLED)
    assert found.standing == "below"
    assert found.expected is not None
    assert np.mean(counts < found.expected[0]) <= 0.026
    assert np.mean(counts > found.expected[1]) <= 0.026
    assert found.chance_fewer == pytest.approx(np.mean(counts <= 9), abs=1e-3)
    assert compared(42, 42, replace(POOLED, mu=-3.0)).standing == "above"


def test_too_few_series_say_nothing_of_a_unit() -> None:
    for pooled in (None, pool([5], [50]), pool([5, 6], [50, 60])):
        found = compared(3, 40, pooled)
        assert (found.standing, found.expected) == ("not known", None)
        assert "Too few" in found.says


def test_a_unit_stands_beside_the_pool_and_not_in_it() -> None:
    own = replace(
        ROWS["kouba-2007-hernia"],
        key="own",
        source=OWN,
        events=40,
        n=60,
        enrolled=(2015, 2024),
        cohort="this unit",
        printed="",
    )
    alone, beside = (
        {
            one.definition: one
            for one in published_pools(published(), diversion="ileal-conduit", own=mine)
            if (one.unit, one.population) == ("patient", "adult")
        }["hernia-found-clinically"]
        for mine in ((), (own,))
    )
    assert alone.pooled == beside.pooled
    assert [row.label for row in beside.own] == ["this unit, 2015 to 2024"]
    (said,) = beside.compared
    assert said.standing == "above"
    assert "40 of 60 (66.7 %)" in said.says
    assert said.to_json()["cautions"]
    # What nobody published stands alone.
    elsewhere = replace(own, outcome="leak", definition_group="leak-as-reported")
    pools = published_pools(published(outcome="stone"), diversion="ileal-conduit", own=(elsewhere,))
    (only,) = (one for one in pools if one.outcome == "leak")
    assert only.pooled is None
    assert only.compared[0].standing == "not known"


def test_every_packaged_pool_can_be_told() -> None:
    pools = published_pools(published(), diversion="cutaneous-double-barrel")
    assert pools
    for one in pools:
        shown = one.to_json()
        assert shown["title"]
        assert (one.pooled is None) == (not one.rows)
        if one.pooled is not None:
            low, high = one.pooled.interval
            assert 0 <= low <= one.pooled.mean <= high <= 1
            assert len(one.pooled.weights) == len(one.rows)
        assert all(row.why_out for row in one.left_out)
