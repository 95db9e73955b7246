"""One figure for each outcome: chosen by size, never by result, with its doubt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from thalweg.evidence.figures import Figure, figures_for
from thalweg.evidence.outcome import outcomes
from thalweg.evidence.pool_groups import pool_groups
from thalweg.evidence.pooling import pool
from thalweg.evidence.series import packaged, published


def of(diversion: str, outcome: str) -> Figure:
    (found,) = [one for one in figures_for(diversion) if one.outcome == outcome]
    return found


def test_the_pool_with_most_people_is_told_whatever_it_says() -> None:
    for diversion in ("cutaneous-bilateral", "ileal-conduit", "neobladder"):
        groups = pool_groups(published(population="adult"), diversion=diversion)
        for figure in figures_for(diversion):
            rivals = [
                sum(one.totals)
                for one in groups
                if one.outcome == figure.outcome
                and one.series
                and (one.unit == outcomes()[figure.outcome].unit or figure.unit == one.unit)
            ]
            assert figure.total == max(rivals), (diversion, figure.outcome)


def test_one_group_has_the_exact_interval() -> None:
    # 54 of 205: Clopper-Pearson by R's binom.test is 0.2045 to 0.3293 (from memory of the
    # algorithm; recomputed with mpmath's incomplete beta function in the next test).
    figure = of("nephrostomy", "tube-displacement")
    assert (figure.events, figure.total) == (54, 205)
    assert figure.estimate == pytest.approx(54 / 205)
    assert figure.interval == pytest.approx((0.2045, 0.3293), abs=5e-5)


def test_the_exact_interval_leaves_half_of_five_per_cent_on_each_side() -> None:
    import mpmath

    figure = of("nephrostomy", "tube-displacement")
    assert figure.interval is not None
    low, high = figure.interval
    x, n = figure.events, figure.total
    # P(X >= x | low) = 0.025 = P(X <= x | high), the definition.
    above = mpmath.betainc(x, n - x + 1, 0, low, regularized=True)
    below = 1 - mpmath.betainc(x + 1, n - x, 0, high, regularized=True)
    assert float(above) == pytest.approx(0.025, abs=1e-9)
    assert float(below) == pytest.approx(0.025, abs=1e-9)


def test_other_ways_of_counting_are_spanned() -> None:
    # Stenosis as treated 63 of 83, as reported 3 of 36: a person must hear of both.
    figure = of("cutaneous-bilateral", "stomal-stenosis")
    assert figure.spread == (63 / 83, 63 / 83)
    assert figure.across == (3 / 36, 63 / 83)


def test_few_people_are_very_unsure_and_remembered_ones_are_not_told() -> None:
    assert of("cutaneous-bilateral", "death-30-days").sureness == "very unsure"
    for diversion in {key for row in packaged() for key in row.diversions}:
        for figure in figures_for(diversion):
            assert all(one.read != "memory" for one in figure.series)
            if figure.sureness == "fairly sure":
                assert figure.total >= 500
                assert len(figure.series) >= 3
                assert figure.doubts == ()


def test_children_have_their_own_series_or_none() -> None:
    for figure in figures_for("cutaneous-loop", population="child"):
        assert {one.population for one in figure.series} == {"child"}
    assert figures_for("transuretero-cutaneous") == ()


def test_a_figure_says_how_long_people_were_watched() -> None:
    figure = of("ileal-conduit", "stone")
    told = [one.follow_up_months or 0.0 for one in figure.series]
    assert figure.months == (min(told), max(told))
    assert replace(figure, estimate=None, interval=None).doubts[-1] == "wide"


def test_several_groups_are_told_as_one_only_where_the_pool_speaks() -> None:
    for diversion in ("cutaneous-bilateral", "ileal-conduit", "neobladder"):
        for figure in figures_for(diversion):
            found = pool(figure.group.events, figure.group.totals)
            if found.speaks:
                assert figure.estimate == found.mean
                assert (figure.interval, figure.prediction) == (found.interval, found.prediction)
            else:
                assert (figure.estimate, figure.interval, figure.prediction) == (None, None, None)
    # Seven series of narrowing at the join run from 0 to 25 of 100: no one figure.
    assert of("ileal-conduit", "ureteroenteric-stricture").estimate is None
    assert of("cutaneous-bilateral", "tube-dependence").prediction is not None
