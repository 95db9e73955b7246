"""What has to be said of a pooled figure, and when it says little."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.evidence.pooling.methods import PoolSettings
    from thalweg.evidence.pooling.pooled import Pooled

__all__ = ["judged"]

MARKED_P: Final = 0.1
"""A scatter less likely than this by chance is mentioned."""


def judged(
    found: Pooled, rules: PoolSettings, events: Sequence[int], totals: Sequence[int]
) -> Pooled:
    """Return the figure with what has to be said of it."""
    said = list(found.cautions)
    shares = sorted(x / n for x, n in zip(events, totals, strict=True))
    differ = 100.0 * (found.i2 or 0.0) >= rules.i2_percent
    little = differ and found.prediction is not None and _wide(found.prediction, rules)
    if little and found.prediction is not None:
        low, high = (_percent(end) for end in found.prediction)
        said.insert(
            0,
            f"The series differ so much (from {_percent(shares[0])} to {_percent(shares[-1])} %) "
            f"that the pooled figure says little: in a further place anything from {low} to "
            f"{high} % may be expected.",
        )
    elif differ:
        said.append(
            f"The series differ considerably: {100.0 * (found.i2 or 0.0):.0f} % of their scatter "
            "is not chance."
        )
    elif found.q_p is not None and found.q_p < MARKED_P:
        said.append("The series differ more than chance explains.")
    if found.k < rules.least_series:
        said.append(
            f"{found.k} series only: how much places differ can hardly be known, and the interval "
            "is as wide as that makes it; look at each."
        )
    if found.tau2 == 0 and (found.tau2_interval or (0.0, 0.0))[1] > 0:
        said.append(
            "No difference between places was found, which so few series cannot exclude: the range "
            "for a further place may be too narrow."
        )
    if rules.notice:
        said.append(rules.notice)
    return replace(
        found,
        means_little=little,
        speaks=found.k >= rules.least_series and not little,
        cautions=tuple(said),
    )


def _wide(prediction: tuple[float, float], rules: PoolSettings) -> bool:
    low, high = prediction
    odds = (high / (1.0 - high)) / (low / (1.0 - low)) if low > 0 and high < 1 else inf
    return 100.0 * (high - low) >= rules.width_points or odds >= rules.odds_factor


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f}"
