"""Both kidneys' shares of a study: by integral and by line, which to rely on, or why none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.frames import overlap_s, why_not
from thalweg.assess.renogram.patlak import Uptake, patlak
from thalweg.assess.renogram.result import Estimate
from thalweg.assess.renogram.share import (
    share_interval_percent,
    share_percent,
    share_sd_percent,
)
from thalweg.assess.rules import number
from thalweg.errors import InputError
from thalweg.record.renogram import KIDNEYS
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from thalweg.assess.renogram.circumstances import Circumstances
    from thalweg.assess.renogram.draws import Draws
    from thalweg.assess.renogram.result import Window
    from thalweg.evidence.protocol import Rules
    from thalweg.record.renogram import Renogram

__all__ = ["Shares", "shares_of"]


@dataclass(frozen=True, eq=False)
class Shares:
    """The left kidney's share by both methods, and what they rest on."""

    window_s: Window | None
    uptakes: Mapping[str, Estimate]
    lines: Mapping[str, Uptake]
    integral: Estimate | None
    patlak: Estimate | None
    relied: Estimate | None
    method: str
    agree: Truth
    said: tuple[str, ...]


def other(share: Estimate | None) -> Estimate | None:
    """Return the right kidney's share from the left's."""
    if share is None:
        return None
    low, high = share.interval
    return replace(share, value=100.0 - share.value, interval=(100.0 - high, 100.0 - low))


def _share(
    left: NDArray[np.float64], right: NDArray[np.float64], widen: tuple[float, float]
) -> Estimate:
    """Return the share of two uptakes with draws; `widen`: factors on their SD.

    Variances are about the study's own value, so that a doubt that goes one way counts whole.
    """
    off_left, off_right = left[1:] - left[0], right[1:] - right[0]
    spreads = (
        float(np.mean(off_left**2)) * widen[0] ** 2,
        float(np.mean(off_right**2)) * widen[1] ** 2,
        float(np.mean(off_left * off_right)),
    )
    low, high = share_interval_percent(left[0], right[0], *spreads)
    value = float(share_percent(left[0], right[0]))
    sd = float(share_sd_percent(left[0], right[0], *spreads))
    return Estimate(float(np.clip(value, 0.0, 100.0)), sd, (float(low), float(high)))


def _refused(study: Renogram, given: Circumstances) -> str:
    if given.single_kidney:
        return f"only the {given.single_kidney} kidney is there: a share has no meaning"
    lacking = [side for side in KIDNEYS if side not in study.counts]
    return f"there is no curve of the {lacking[0]} kidney" if lacking else ""


def _lines(study: Renogram, found: Draws, rules: Rules) -> tuple[dict[str, Uptake], list[str]]:
    if found.blood is None or found.blood_variance is None:
        return {}, ["No Rutland–Patlak line: there is no blood region."]
    lines: dict[str, Uptake] = {}
    said = []
    for side, rates in found.kidneys.items():
        made = patlak(study, rates, found.variance[side], found.blood, found.blood_variance, rules)
        if isinstance(made, str):
            said.append(f"No Rutland–Patlak line for the {side} kidney: {made}.")
        else:
            lines[side] = made
            if made.line.shrunk:
                said.append(
                    f"The {side} kidney's Rutland–Patlak plot bends: tracer leaves early, and the "
                    f"line ends at {made.line.window_s[1]:.0f} s."
                )
    return lines, said


def shares_of(study: Renogram, found: Draws, given: Circumstances, rules: Rules) -> Shares:
    """Return the shares of a study.

    Parameters
    ----------
    study : Renogram
    found : Draws
    given : Circumstances
    rules : Rules

    Returns
    -------
    Shares
        A share that is refused is None, and `said` tells why.
    """
    row = rules.rows["uptake-window"]
    window = (float(row["from_s"]), float(row["to_s"]))
    said: list[str] = []
    uptakes: dict[str, NDArray[np.float64]] = {}
    lacking = why_not(study, window, row["least_covered"], window[1] - window[0])
    seconds = overlap_s(study, window)
    if lacking:
        said.append(f"No share by the integral: {lacking}.")
    else:
        # Counts as if the whole window had been covered.
        scale = (window[1] - window[0]) / seconds.sum()
        uptakes = {side: scale * (rates @ seconds) for side, rates in found.kidneys.items()}
    lines, about = _lines(study, found, rules)
    said += about
    refused = _refused(study, given)
    integral = line = None
    if refused:
        said.append(f"No share of function: {refused}.")
    else:
        integral = _made(_without_blood(uptakes, found, seconds), "the integral", (1, 1), said)
        trusted = _trusted(lines, rules, said)
        slopes = {side: made.slopes for side, made in lines.items()} if trusted else {}
        spread = [lines[side].spread if side in lines else 1.0 for side in KIDNEYS]
        line = _made(slopes, "Rutland–Patlak", (spread[0], spread[1]), said)
    relied, method = _choose(integral, line, rules)
    agree = _agree(integral, line, rules, said)
    estimates = {
        side: Estimate(
            float(rows[0]),
            float(rows[1:].std(ddof=1)),
            (float(np.percentile(rows[1:], 2.5)), float(np.percentile(rows[1:], 97.5))),
        )
        for side, rows in uptakes.items()
    }
    covered = window if uptakes else None
    return Shares(covered, estimates, lines, integral, line, relied, method, agree, tuple(said))


def _without_blood(
    uptakes: Mapping[str, NDArray[np.float64]], found: Draws, seconds: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """Return uptakes whose draws leave out the kidneys' own blood, which an integral counts in."""
    return {
        side: rows - found.own_blood * (found.taken_off[side] @ seconds)
        for side, rows in uptakes.items()
    }


def _made(
    parts: Mapping[str, NDArray[np.float64]],
    method: str,
    widen: tuple[float, float],
    said: list[str],
) -> Estimate | None:
    if any(side not in parts for side in KIDNEYS):
        return None
    try:
        return _share(parts["left"], parts["right"], widen)
    except InputError as error:
        said.append(f"No share by {method}: {error.what}.")
        return None


def _trusted(lines: Mapping[str, Uptake], rules: Rules, said: list[str]) -> bool:
    least = number(rules, "patlak-window", "misfit_p")
    bad = [
        side
        for side, made in lines.items()
        if made.line.lack_of_fit < least and made.line.curvature < least
    ]
    if bad:
        said.append(
            f"The Rutland–Patlak plot of the {' and '.join(bad)} kidney is not a line: no share "
            "rests on it."
        )
    return not bad


def _choose(
    integral: Estimate | None, line: Estimate | None, rules: Rules
) -> tuple[Estimate | None, str]:
    if line is None:
        return integral, "integral" if integral else ""
    ratio = number(rules, "methods-agree", "patlak_sd_ratio")
    if integral is not None and line.sd > ratio * integral.sd:
        return integral, "integral"
    return line, "Rutland–Patlak"


def _agree(
    integral: Estimate | None, line: Estimate | None, rules: Rules, said: list[str]
) -> Truth:
    if integral is None or line is None:
        return Truth.NOT_KNOWN
    points = number(rules, "methods-agree", "points")
    apart = abs(integral.value - line.value)
    if apart > points:
        said.append(
            f"The shares by both methods lie {apart:.0f} points apart, more than {points:g}: look "
            "at regions and background before relying on either."
        )
    return Truth.of(apart <= points)
