"""What becomes of an acute injury: how long it lasts, acute kidney disease, and recovery."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.rules import kidney_rules, number
from thalweg.errors import InputError
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from thalweg.evidence.protocol import Rules

__all__ = ["Episode", "disease_stage", "episodes"]

HOUR, DAY = 60, 24 * 60


@dataclass(frozen=True, slots=True)
class Episode:
    """One acute injury in a series of creatinine, by the places of its results.

    Parameters
    ----------
    onset : int
        The first result that has a stage: when the injury was seen, not when it began.
    last : int
        The last result that still fulfils the criteria against `reference`.
    resolved : int or None
        The first after it that no longer does; None where there is none yet.
    peak : int
        The greatest stage, 1 to 3.
    reference : int
        Creatinine before the injury, nmol/L, held from the onset on.
    """

    onset: int
    last: int
    resolved: int | None
    peak: int
    reference: int

    def longer_than(self, minutes: NDArray[np.int64], limit: int) -> Truth:
        """Return whether it lasted longer than `limit` minutes from its onset.

        NOT_KNOWN where nobody looked between the last result with the injury and the first
        without it, or there is no later result.
        """
        if minutes[self.last] - minutes[self.onset] > limit:
            return Truth.MET
        if self.resolved is None or minutes[self.resolved] - minutes[self.onset] > limit:
            return Truth.NOT_KNOWN
        return Truth.NOT_MET


def _holds(value: int, reference: int, rules: Rules) -> bool:
    """Return whether a creatinine still fulfils the criteria of injury against its reference."""
    times = Fraction(str(number(rules, "injury-ratio", "stage_1")))
    step = round(number(rules, "injury-rise", "umol_l") * 1000)
    return value - reference >= step or value * times.denominator >= reference * times.numerator


def episodes(
    minutes: ArrayLike,
    nmol_l: ArrayLike,
    stages: ArrayLike,
    reference_nmol_l: ArrayLike,
    rules: Rules | None = None,
) -> tuple[Episode, ...]:
    """Return the acute injuries of one series, oldest first.

    Parameters
    ----------
    minutes : array_like of int, shape (n,)
        Times in minutes from any origin, rising.
    nmol_l : array_like of int, shape (n,)
        Creatinine, nmol/L.
    stages : array_like of int, shape (n,)
        The stage shown at each result, as of
        `thalweg.assess.injury.creatinine.creatinine_stages`.
    reference_nmol_l : array_like of int, shape (n,)
        What each ratio was taken to; 0 where there was nothing.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    tuple of Episode
        A rise less than 48 h after a resolution belongs to the injury before it. A later one
        within 90 days of that injury's onset is a new one and keeps the lower reference.

    Raises
    ------
    InputError
        If the arrays are not of one length.

    References
    ----------
    Chawla LS et al. Nat Rev Nephrol 2017;13:241-257 (persistence, reversal).
    """
    rules = rules or kidney_rules()
    time, value, stage, reference = (
        np.asarray(each).astype(np.int64) for each in (minutes, nmol_l, stages, reference_nmol_l)
    )
    if not time.shape == value.shape == stage.shape == reference.shape or time.ndim != 1:
        raise InputError("the series are not of one length", mend="give one value a result")
    apart = int(number(rules, "injury-persistent", "hours") * HOUR)
    until = int(number(rules, "kidney-disease", "to_days") * DAY)
    found: list[Episode] = []
    for place in range(time.size):
        before = found[-1] if found else None
        known = before is not None and time[place] - time[before.onset] <= until
        if before is not None and before.resolved is None and known:
            found[-1] = _continued(before, place, int(value[place]), int(stage[place]), rules)
        elif stage[place] > 0:
            held = int(reference[place])
            if before is not None and known:
                held = min(held, before.reference)
                ended = before.resolved
                if ended is not None and time[place] - time[ended] < apart:
                    peak = max(before.peak, int(stage[place]))
                    found[-1] = Episode(before.onset, place, None, peak, held)
                    continue
            found.append(Episode(place, place, None, int(stage[place]), held))
    return tuple(found)


def _continued(before: Episode, place: int, value: int, stage: int, rules: Rules) -> Episode:
    holds = _holds(value, before.reference, rules)
    return Episode(
        before.onset,
        place if holds else before.last,
        None if holds else place,
        max(before.peak, stage),
        before.reference,
    )


def disease_stage(nmol_l: int, reference_nmol_l: int, rules: Rules | None = None) -> str:
    """Return the stage of acute kidney disease of a creatinine 7 to 90 days after an injury.

    Parameters
    ----------
    nmol_l, reference_nmol_l : int
        The result and the creatinine before the injury, nmol/L, above 0.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    str
        ``"0"``: back where it was (markers of damage, which would part 0A from 0B, are not
        recorded here); ``"0C"``: less than 1.5 times, but not back; ``"1"``, ``"2"``, ``"3"``.

    Raises
    ------
    InputError
        If one of them is not above 0.

    References
    ----------
    Chawla LS et al. Nat Rev Nephrol 2017;13:241-257. What counts as back is not said there: here
    less than 1.2 times and less than 26.5 µmol/L above.
    """
    rules = rules or kidney_rules()
    if min(nmol_l, reference_nmol_l) <= 0:
        raise InputError("a creatinine is not above 0", mend="leave that result out")
    ratio = Fraction(int(nmol_l), int(reference_nmol_l))
    times = {n: Fraction(str(number(rules, "injury-ratio", f"stage_{n}"))) for n in (1, 2, 3)}
    high = round(number(rules, "injury-creatinine-stage-3", "umol_l") * 1000)
    if nmol_l >= high and ratio >= times[1]:
        return "3"
    for grade in (3, 2, 1):
        if ratio >= times[grade]:
            return str(grade)
    back = ratio < Fraction(str(number(rules, "kidney-recovery", "back_below_times")))
    rise = round(number(rules, "injury-rise", "umol_l") * 1000)
    return "0" if back and nmol_l - reference_nmol_l < rise else "0C"
