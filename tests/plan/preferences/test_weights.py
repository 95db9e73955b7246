"""Weights against closed forms: the simplex, rank-order centroids, and integrals by quadrature."""

from __future__ import annotations

from itertools import pairwise, permutations
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad
from tests.support.preference_people import answers

from thalweg.plan.preferences.attributes import Settings
from thalweg.plan.preferences.weights import chances, weights_of

if TYPE_CHECKING:
    from thalweg.plan.preferences.answers import Word

NEAR = 0.012
"""Four standard errors of a share of 40 000 draws that count as 10 000."""
K: float = float(np.log(9.0) / np.log(2.0))
"""Nine of ten for twice as much, worked out apart from the code: 2^K = 9."""
SURE = Settings(twice_is_said=0.9999999, draws=200_000)


def test_before_any_answer_weights_are_uniform_on_the_simplex() -> None:
    # Of m uniform weights one exceeds t with the chance (1 - t)^(m - 1): the order statistics of
    # a broken stick, in any textbook of geometric probability.
    drawn = weights_of(list("abcd"), [], Settings())
    assert drawn.drawn.sum(axis=1) == pytest.approx(1.0)
    assert drawn.effective == pytest.approx(Settings().draws)
    for column in range(4):
        for t in (0.1, 0.25, 0.6):
            share = float(drawn.share @ (drawn.drawn[:, column] > t))
            assert share == pytest.approx((1 - t) ** 3, abs=NEAR)
    # 95 % interval of Beta(1, 3).
    ends = [1 - 0.975 ** (1 / 3), 1 - 0.025 ** (1 / 3)]
    assert drawn.interval(2) == pytest.approx(ends, abs=0.02)


def test_one_answer_about_two_matters_agrees_with_the_integral() -> None:
    def told(w: float) -> float:
        return float(w**K / (w**K + (1 - w) ** K + (w * (1 - w)) ** (K / 2)))

    whole = quad(told, 0, 1)[0]
    mean = quad(lambda w: w * told(w), 0, 1)[0] / whole
    above = quad(told, 0.5, 1)[0] / whole
    drawn = weights_of(["a", "b"], answers({("a", "b"): "first"}), Settings())
    assert drawn.mean()[0] == pytest.approx(mean, abs=NEAR)
    assert float(drawn.share @ (drawn.drawn[:, 0] > 0.5)) == pytest.approx(above, abs=NEAR)
    same = weights_of(["a", "b"], answers({("a", "b"): "no difference"}), Settings())
    assert same.mean()[0] == pytest.approx(0.5, abs=NEAR)

    def tie(w: float) -> float:
        even = (w * (1 - w)) ** (K / 2)
        return float(even / (w**K + (1 - w) ** K + even))

    inside = quad(tie, 0.4, 0.6)[0] / quad(tie, 0, 1)[0]
    near = np.abs(same.drawn[:, 0] - 0.5) < 0.1
    assert float(same.share @ near) == pytest.approx(inside, abs=NEAR)


def test_two_answers_about_three_matters_agree_with_the_integral() -> None:
    def density(y: float, x: float) -> float:
        z = max(1 - x - y, 1e-12)
        one = x**K / (x**K + y**K + (x * y) ** (K / 2))
        two = z**K / (z**K + y**K + (z * y) ** (K / 2))
        return float(one * two)

    def over(weight: float, part: int) -> float:
        def inner(y: float, x: float) -> float:
            return float(density(y, x) * (x, y, 1 - x - y)[part] ** weight)

        return float(dblquad(inner, 1e-9, 1, 1e-9, lambda x: 1 - x, epsabs=1e-7)[0])

    whole = over(0, 0)
    told = answers({("a", "b"): "first", ("b", "c"): "second"})
    drawn = weights_of(["a", "b", "c"], told, Settings())
    for part in range(3):
        assert drawn.mean()[part] == pytest.approx(over(1, part) / whole, abs=NEAR)


def test_sure_answers_that_order_everything_give_rank_order_centroids() -> None:
    # Barron and Barrett 1996 (figures from memory, and by symmetry of the simplex): the mean of
    # uniform weights in a known order is (1/n) * sum of 1/k from the rank to n.
    keys = list("abcd")
    told = answers({("a", "b"): "first", ("b", "c"): "first", ("c", "d"): "first"})
    expected = [sum(1 / k for k in range(rank, 5)) / 4 for rank in range(1, 5)]
    drawn = weights_of(keys, told, SURE)
    assert drawn.effective > 500
    assert drawn.mean() == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("first_over_second", [0.5, 1.0, 3.0])
def test_the_three_chances_are_davidsons(first_over_second: float) -> None:
    x, y = first_over_second**K, 1.0
    expected = np.array([x, y, np.sqrt(x * y)]) / (x + y + np.sqrt(x * y))
    told = chances(np.array([first_over_second]), np.array([1.0]), Settings())
    assert [float(one[0]) for one in told.values()] == pytest.approx(expected.tolist())
    if first_over_second == 1.0:
        assert float(told["no difference"][0]) == pytest.approx(1 / 3)


def test_a_chain_through_all_of_ten_still_leaves_enough_draws() -> None:
    keys = list("abcdefghij")
    told: dict[tuple[str, str], Word] = dict.fromkeys(pairwise(keys), "first")
    drawn = weights_of(keys, answers(told), Settings())
    assert drawn.effective > 1000
    assert list(np.argsort(-drawn.mean())) == list(range(10))


def test_do_not_know_says_nothing_and_order_of_keys_changes_nothing() -> None:
    told = answers({("a", "b"): "first"})
    more = [*told, *answers({("b", "c"): "do not know"})]
    one = weights_of(list("abc"), told, Settings())
    two = weights_of(list("cba"), more, Settings())
    # The sum of a row rounds by its order.
    assert two.drawn[:, ::-1] == pytest.approx(one.drawn, rel=1e-12)
    assert np.array_equal(one.share, two.share)


@settings(max_examples=12, deadline=None)
@given(st.permutations(list("abc")), st.sampled_from(["first", "second", "no difference"]))
def test_relabelling_the_matters_relabels_the_weights(names: list[str], word: Word) -> None:
    plain = weights_of(list("abc"), answers({("a", "b"): word}), Settings())
    new = dict(zip("abc", names, strict=True))
    renamed = weights_of(names, answers({(new["a"], new["b"]): word}), Settings())
    assert renamed.mean() == pytest.approx(plain.mean(), abs=2 * NEAR)


def test_all_orders_of_three_are_equally_likely_before_any_answer() -> None:
    drawn = weights_of(list("abc"), [], Settings()).drawn
    for order in permutations(range(3)):
        first, second, third = order
        here = (drawn[:, first] > drawn[:, second]) & (drawn[:, second] > drawn[:, third])
        assert here.mean() == pytest.approx(1 / 6, abs=NEAR)
