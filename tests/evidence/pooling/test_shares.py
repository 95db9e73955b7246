"""Pooled shares: worked sets, edges, and what is said of them.

Worked sets: DerSimonian and Laird by hand arithmetic in double precision from published counts
(tube-free renal units; stomal stenosis; stomal complications; strictures; parastomal hernia).
Others: metafor 3.8-1 under R 4.2.2, as each says.
"""

from __future__ import annotations

from math import inf

import pytest
from scipy.special import logit
from scipy.stats import beta

from thalweg.errors import InputError
from thalweg.evidence.pooling import pool, pool_settings
from thalweg.evidence.pooling.moderators import (
    along,
    groups_differ,
    leave_one_out,
    share_at,
    small_series,
)

TUBE_FREE = ((102, 35, 56, 89, 82), (124, 45, 78, 98, 90))
STENOSIS = ((63, 3, 1), (83, 36, 27))
TWELVE = (
    (3, 8, 12, 30, 5, 22, 9, 14, 2, 40, 7, 18),
    (20, 60, 110, 400, 25, 150, 70, 90, 12, 520, 55, 130),
)


@pytest.mark.parametrize(
    ("events", "totals", "q", "i2", "between", "mu", "share"),
    [
        (*TUBE_FREE, 15.5695, 0.7431, 0.26369, 1.63451, 0.8368),
        (*STENOSIS, 42.8929, 0.9534, 6.54609, -1.40966, 0.1963),
        ((32, 163, 20), (131, 1057, 137), 7.0924, 0.7180, 0.07475, -1.54484, 0.1758),
        ((192, 25, 30, 24), (2285, 209, 209, 140), 19.2102, 0.8438, 0.14725, -1.96503, 0.1229),
        (
            (19, 58, 20, 108, 115),
            (137, 199, 194, 361, 577),
            39.4664,
            0.8986,
            0.20224,
            -1.38731,
            0.1998,
        ),
    ],
)
def test_worked_sets(
    events: tuple[int, ...],
    totals: tuple[int, ...],
    q: float,
    i2: float,
    between: float,
    mu: float,
    share: float,
) -> None:
    found = pool(events, totals, method="dl")
    assert found.q == pytest.approx(q, abs=5e-5)
    assert found.i2 == pytest.approx(i2, abs=5e-5)
    assert found.tau2 == pytest.approx(between, abs=5e-6)
    assert found.mu == pytest.approx(mu, abs=5e-6)
    assert found.mean == pytest.approx(share, abs=5e-5)
    assert found.interval[0] < found.mean < found.interval[1]


def test_tube_free_kidneys_by_restricted_likelihood() -> None:
    # metafor: rma(measure="PLO", method="REML", test="adhoc"), predict, confint.
    found = pool(*TUBE_FREE)
    assert found.method == "reml"
    assert (found.mu, found.se, found.tau2) == pytest.approx(
        (1.63594553216, 0.276269250287, 0.279714220198), rel=1e-6
    )
    ends = logit(found.interval)
    assert ends == pytest.approx([0.868899124484, 2.40299193984], rel=1e-6)
    further = logit(found.prediction)
    assert further == pytest.approx([-0.0207314110025, 3.29262247532], rel=1e-6, abs=1e-6)
    assert found.tau2_interval == pytest.approx((0.0377711934117, 3.09805514183), rel=1e-3)
    assert (found.k, found.events, found.total, found.degrees_of_freedom) == (5, 364, 435, 4)
    assert sum(found.weights) == pytest.approx(1)
    without = leave_one_out(*TUBE_FREE, found)
    # metafor: leave1out.
    assert [one.pooled.mu for one in without] == pytest.approx(
        [1.67548340153, 1.73107825743, 1.82587999643, 1.47998069354, 1.47936505334], rel=1e-6
    )


def test_small_series_and_a_line_over_ten() -> None:
    settings = pool_settings()
    line = small_series(*TWELVE, settings=settings)
    assert line is not None
    # metafor: regtest(model="lm", predictor="ninv").
    assert (line.slope, line.slope_error) == pytest.approx(
        (17.62582863023, 7.535250335385), rel=1e-9
    )
    assert line.chance == pytest.approx(0.0414018708681, rel=1e-9)
    assert line.intercept == pytest.approx(-2.27152982707, rel=1e-9)
    assert share_at(line, 0.0) == pytest.approx(0.0935, abs=5e-5)
    assert small_series(*TUBE_FREE, settings=settings) is None
    assert along(*TUBE_FREE, [1, 2, 3, 4, 5], settings=settings) is None
    years = along(*TWELVE, range(12), settings=settings)
    assert years is not None
    assert years.k == 12


def test_few_events_are_pooled_by_their_counts() -> None:
    events, totals = (5, 3, 8, 0, 4), (69, 40, 120, 25, 66)
    found = pool(events, totals)
    assert found.method == "exact"
    assert found.mean == pytest.approx(20 / 320, rel=1e-9)
    # metafor: rma(measure="PLO", method="DL"), half added to the one empty cell: drawn upwards.
    corrected = pool(events, totals, method="dl")
    assert corrected.mu == pytest.approx(-2.65207961514, rel=1e-9)
    assert corrected.se == pytest.approx(0.22865098265, rel=1e-9)
    assert any("Half a person" in one for one in corrected.cautions)
    # Pearson's chi-squared of one share in all five, by hand.
    p = 20 / 320
    by_hand = sum((x - n * p) ** 2 / (n * p * (1 - p)) for x, n in zip(events, totals, strict=True))
    assert found.q == pytest.approx(by_hand, rel=1e-12)


def test_one_series_has_an_exact_interval_and_no_heterogeneity() -> None:
    found = pool([5], [69])
    # R's binom.test(5, 69): 0.0239466209687 to 0.1610617402736.
    assert found.interval == pytest.approx((0.0239466209687, 0.1610617402736), rel=1e-10)
    assert (found.method, found.tau2, found.i2, found.prediction) == ("one", None, None, None)
    assert "One series" in found.cautions[0]


@pytest.mark.parametrize("events", [(0, 0, 0), (34, 36, 83)])
def test_nobody_or_everybody(events: tuple[int, ...]) -> None:
    found = pool(events, (34, 36, 83))
    assert found.mean in (0.0, 1.0)
    assert abs(found.mu) == inf
    assert found.se == inf
    limit = float(beta.ppf(0.975, 1, 153))
    ends = (0.0, limit) if not any(events) else (1 - limit, 1.0)
    assert found.interval == pytest.approx(ends)
    assert "taken as one" in found.cautions[0]
    assert not found.speaks
    shown = found.to_json()
    assert (shown["mu_logit"], shown["se_logit"]) == (None, None)


def test_agreeing_series_do_not_promise_that_places_agree() -> None:
    found = pool([19, 115, 43], [137, 577, 219])
    assert found.tau2 == 0
    assert any("cannot exclude" in one for one in found.cautions)
    assert found.prediction == found.interval


def test_series_that_differ_too_much_are_said_to_say_little() -> None:
    found = pool(*STENOSIS, method="reml")
    assert found.means_little
    assert not found.speaks
    assert "says little" in found.cautions[0]
    assert "3.7 to 75.9 %" in found.cautions[0]
    assert not pool(*TUBE_FREE).means_little
    wide = pool_settings(
        {
            "differ": {
                "i2_percent": 50,
                "width_points": 30,
                "odds_factor": 10,
                "source": "our audit of 2026",
            }
        }
    )
    ours = pool(*TUBE_FREE, settings=wide)
    assert ours.means_little
    assert any("own protocol" in one for one in ours.cautions)


def test_two_series_are_not_shown_as_one_figure() -> None:
    found = pool([22, 35], [124, 145])
    assert (found.k, found.prediction, found.speaks) == (2, None, False)
    assert any("look at each" in one for one in found.cautions)


def test_shares_and_their_complements_mirror_each_other() -> None:
    one = pool(*TUBE_FREE)
    other = pool([n - x for x, n in zip(*TUBE_FREE, strict=True)], TUBE_FREE[1])
    assert other.mean == pytest.approx(1 - one.mean, rel=1e-12)
    assert other.interval == pytest.approx((1 - one.interval[1], 1 - one.interval[0]), rel=1e-12)


def test_groups_are_held_against_each_other() -> None:
    # By hand: the squared difference of two logits over the sum of their variances.
    one, other = pool([30, 40, 35], [200, 210, 190]), pool([60, 75, 66], [200, 210, 190])
    found, chance = groups_differ([one, other])
    assert found == pytest.approx((one.mu - other.mu) ** 2 / (one.se**2 + other.se**2), rel=1e-12)
    assert chance < 0.01
    with pytest.raises(InputError, match="cannot be compared"):
        groups_differ([one, pool([0, 0], [20, 30])])


@pytest.mark.parametrize(
    ("events", "totals", "method", "sentence"),
    [
        ([], [], "auto", "no series"),
        ([1], [2, 3], "auto", "no series"),
        ([3], [2], "auto", "3 events of 2"),
        ([-1], [2], "auto", "-1 events of 2"),
        ([0], [0], "auto", "0 events of 0"),
        ([1], [2], "best", "not a method"),
    ],
)
def test_counts_that_cannot_be(
    events: list[int], totals: list[int], method: str, sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        pool(events, totals, method=method)
    with pytest.raises(InputError, match="level"):
        pool([1], [2], level=1.0)


@pytest.mark.parametrize(
    ("theirs", "sentence"),
    [
        ({"differ": {"i2_percent": 50}}, "names no source"),
        ({"differ": {"i2_percent": 500, "source": "x"}}, "from 0 to 100"),
        ({"sparse": {"least_events": True, "source": "x"}}, "not a number"),
        ({"other": {"source": "x"}}, "not a rule"),
    ],
)
def test_a_unit_s_numbers_are_checked(theirs: dict[str, object], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        pool_settings(theirs)
