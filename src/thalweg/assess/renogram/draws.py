"""The one model of doubt: what else could have been counted, had all been done again.

Every measure of a renogram is computed on the study itself and on 400 draws of it. In each draw
the counts of every region are Poisson about those seen, the tissue over each kidney differs from
that of its background region by a normal factor, each kidney's region is drawn again, and where
nobody says whether decay was corrected, it was in half of them. The draws are seeded: same study,
same intervals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.frames import mean_rate, overlap_s
from thalweg.assess.renogram.result import Background
from thalweg.assess.rules import number
from thalweg.record.renogram import KIDNEYS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.evidence.protocol import Rules
    from thalweg.record.renogram import Renogram

__all__ = ["DRAWS", "Draws", "decay_factor", "drawn"]

DRAWS = 400
SEED = 20


def decay_factor(time_s: NDArray[np.float64], half_life_s: float) -> NDArray[np.float64]:
    """Return by what counts at `time_s` after the tracer are multiplied to undo decay."""
    return np.asarray(np.exp2(time_s / half_life_s))


@dataclass(frozen=True, eq=False)
class Draws:
    """Rates of the study (row 0) and of its draws, in counts per second.

    Parameters
    ----------
    kidneys : dict of side to ndarray of float64, shape (1 + draws, frames)
        Background taken off, decay corrected where it could be.
    variance : dict of side to ndarray of float64, shape (frames,)
        Of row 0 by counting alone.
    taken_off : dict of side to ndarray of float64, shape (frames,)
        The background of row 0.
    background_sd : dict of side to ndarray of float64, shape (frames,)
        Doubt of what was taken off, other than by counting.
    backgrounds : dict of side to Background
    blood : ndarray of float64, shape (1 + draws, frames), or None
        Tissue taken off where a background region allows it.
    blood_variance : ndarray of float64, shape (frames,), or None
    blood_corrected : bool
    own_blood : ndarray of float64, shape (1 + draws,)
        Blood in the kidneys as a part of what was taken off: nought in row 0, else between nought
        and what the rule allows, the same for both kidneys.
    """

    kidneys: dict[str, NDArray[np.float64]]
    variance: dict[str, NDArray[np.float64]]
    taken_off: dict[str, NDArray[np.float64]]
    background_sd: dict[str, NDArray[np.float64]]
    backgrounds: dict[str, Background]
    blood: NDArray[np.float64] | None
    blood_variance: NDArray[np.float64] | None
    blood_corrected: bool
    own_blood: NDArray[np.float64]


def _choice(study: Renogram, side: str) -> tuple[str, str]:
    """Return the background region for a kidney, and why it or none."""
    for role, said in (
        (f"{side}-background", "region beside the kidney, by area"),
        ("background", "one region for both kidneys, by area: it tends to take off too little"),
    ):
        if role not in study.counts:
            continue
        lacking = [name for name in (side, role) if name not in study.pixels]
        if lacking:
            return "", (
                f"the area of {' and '.join(lacking)} is not stated, so that no background could "
                "be taken off"
            )
        return role, said
    return "", "there is no background region, so that none could be taken off"


def _streams(study: Renogram) -> dict[str, np.random.Generator]:
    """Return one stream of chance a region, such that swapping the sides swaps the streams."""
    sides = [side for side in KIDNEYS if side in study.counts]
    ordered = sorted(sides, key=lambda side: study.counts[side].tolist())
    streams = {side: np.random.default_rng([SEED, place]) for place, side in enumerate(ordered)}
    for place, side in enumerate(ordered):
        streams[f"{side}-background"] = np.random.default_rng([SEED, 10 + place])
    return {
        **streams,
        "background": np.random.default_rng([SEED, 20]),
        "blood": np.random.default_rng([SEED, 21]),
        "decay": np.random.default_rng([SEED, 22]),
        "own blood": np.random.default_rng([SEED, 23]),
    }


def _ratio(study: Renogram, side: str, role: str, rules: Rules) -> float | None:
    row = rules.rows["uptake-window"]
    seconds = overlap_s(study, (float(row["from_s"]), float(row["to_s"])))
    if not role or not seconds.any():
        return None
    density = [
        float(mean_rate(study.counts[name] / study.durations_s, seconds)) / study.pixels[name]
        for name in (side, role)
    ]
    return density[0] / density[1] if density[1] > 0 else None


@dataclass(frozen=True, eq=False)
class _Regions:
    """Raw regions drawn again: rates with decay undone, and how counting scatters them."""

    rates: dict[str, NDArray[np.float64]]
    variance: dict[str, NDArray[np.float64]]


def _counted(study: Renogram, streams: dict[str, np.random.Generator]) -> _Regions:
    factor = decay_factor(study.middles_s, study.half_life_s)
    undo = np.ones((1 + DRAWS, study.starts_s.size))
    if study.decay_corrected is False:
        undo[:] = factor
    elif study.decay_corrected is None:
        undo[1:][streams["decay"].random(DRAWS) < 0.5] = factor
    rates, variance = {}, {}
    for role in (r for r in study.counts if r in streams):
        # Counts that were corrected already scatter as the fewer that were counted.
        scale = factor if study.decay_corrected else np.ones_like(factor)
        seen = study.counts[role] / scale
        rows = np.empty((1 + DRAWS, seen.size))
        rows[0] = seen
        rows[1:] = streams[role].poisson(seen, (DRAWS, seen.size))
        per_second = undo * scale / study.durations_s
        rates[role] = rows * per_second
        variance[role] = seen * per_second[0] ** 2
    return _Regions(rates, variance)


def _doubt(role: str, rules: Rules) -> float:
    if not role:
        return 0.0
    return number(rules, "background-doubt", "common_share" if role == "background" else "share")


def drawn(study: Renogram, rules: Rules) -> Draws:
    """Return the study and 400 draws of it, corrected.

    Parameters
    ----------
    study : Renogram
        With one kidney at least.
    rules : Rules
        For the doubts.
    """
    streams = _streams(study)
    regions = _counted(study, streams)
    most = number(rules, "own-blood", "of_background")
    own = np.concatenate([[0.0], streams["own blood"].uniform(0.0, most, DRAWS)])
    found = Draws({}, {}, {}, {}, {}, *_blood(study, regions, streams, rules), own)
    for side in (s for s in KIDNEYS if s in study.counts):
        role, said = _choice(study, side)
        factor = study.pixels[side] / study.pixels[role] if role else 0.0
        stream, share = streams[side], _doubt(role, rules)
        off = np.concatenate([[1.0], 1.0 + share * stream.standard_normal(DRAWS)])
        spread = number(rules, "region-doubt", "share")
        if not role:
            spread = float(np.hypot(spread, number(rules, "no-background", "share")))
        again = np.concatenate([[1.0], np.exp(spread * stream.standard_normal(DRAWS))])
        under = factor * regions.rates[role] if role else np.zeros_like(regions.rates[side])
        found.kidneys[side] = again[:, None] * (regions.rates[side] - off[:, None] * under)
        beside = factor**2 * regions.variance[role] if role else 0.0
        found.variance[side] = regions.variance[side] + beside
        found.taken_off[side] = under[0]
        found.background_sd[side] = share * under[0]
        found.backgrounds[side] = Background(role, factor, _ratio(study, side, role, rules), said)
    return found


def _blood(
    study: Renogram, regions: _Regions, streams: dict[str, np.random.Generator], rules: Rules
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None, bool]:
    """Return the blood curve less the tissue before and behind it, where areas are known."""
    if "blood" not in study.counts:
        return None, None, False
    blood, variance = regions.rates["blood"], regions.variance["blood"]
    roles = [r for r in ("left-background", "right-background", "background") if r in study.pixels]
    if "blood" not in study.pixels or not roles:
        return blood, variance, False
    area = sum(study.pixels[role] for role in roles)
    # Summed in an order of size, so that mirrored studies agree to the last digit.
    tissue = np.sort([regions.rates[role] for role in roles], axis=0).sum(axis=0)
    factor = study.pixels["blood"] / area
    share = number(rules, "background-doubt", "blood_share")
    off = np.concatenate([[1.0], 1.0 + share * streams["blood"].standard_normal(DRAWS)])
    beside = np.sort([regions.variance[role] for role in roles], axis=0).sum(axis=0)
    return blood - off[:, None] * factor * tissue, variance + factor**2 * beside, True
