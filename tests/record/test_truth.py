"""Three-valued truth against Kleene's strong tables (1952, section 64; from memory)."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.record.truth import Truth, all_of, any_of

T, F, N = Truth.MET, Truth.NOT_MET, Truth.NOT_KNOWN
# Kleene's numbering: false 0, unknown 1/2, true 1; conjunction is the minimum, disjunction the
# maximum, negation one minus. An arithmetic reading of the tables, independent of our sets.
RANK = {F: 0.0, N: 0.5, T: 1.0}
BACK = {rank: truth for truth, rank in RANK.items()}


@pytest.mark.parametrize(("one", "two"), list(product(Truth, Truth)))
def test_tables(one: Truth, two: Truth) -> None:
    assert (one & two) is BACK[min(RANK[one], RANK[two])]
    assert (one | two) is BACK[max(RANK[one], RANK[two])]
    assert (~one) is BACK[1 - RANK[one]]


@given(st.lists(st.sampled_from(list(Truth))))
def test_many(truths: list[Truth]) -> None:
    assert all_of(truths) is BACK[min((RANK[t] for t in truths), default=1.0)]
    assert any_of(truths) is BACK[max((RANK[t] for t in truths), default=0.0)]


def test_unknown_is_never_taken_for_true_or_false() -> None:
    with pytest.raises(TypeError, match="three-valued"):
        bool(Truth.NOT_KNOWN)
