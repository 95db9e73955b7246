"""One ureter on two phases: what was shut or narrow on the first, and whether it opened.

Breathing and a full bladder move a ureter by some millimetres between phases, more at the kidney
than at the bladder. The second course is therefore laid on the first by a shift that changes evenly
from one end to the other, then each stretch is looked up at the same place. Calibre is only ever
what was measured; the length's doubt of the first phase stays as it is, because its gaps are still
bridged there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.measure.course import Course, Narrowing
    from thalweg.record.fact import Fact, Moment

__all__ = ["METHODS", "Compared", "Phases", "Verdict", "compared", "phase_findings"]

Floats = NDArray[np.float64]

ROUNDS = 25
ALONG_WEIGHT = 0.03
"""Weight of a pair's distance along the ureter against that across it: a straight stretch does not
tell how far it slid, and is then left where it was."""

LOOSE_MM = 4.0
"""Pairs farther apart than this count ever less (Huber's weight)."""

FARTHEST_MM = 8.0
"""Places of the two courses farther apart than this after the shift are not the same place."""

SLACK_MM = 4.0
"""Stations of the two phases agree to this; more where the courses lie farther apart."""

SEEN_SHARE = 0.8
"""A stretch counts as seen open where calibre was measured along this share of it."""

OPENING_RATIO = 1.3
"""A narrowing has opened where its least calibre is now at least so many times what it was."""

Z95 = 1.959963984540054

STILL_DOUBTFUL = (
    "What opened once was not fixed at that moment; what stayed narrow twice may still be two "
    "waves of peristalsis at one place."
)

METHODS = {
    "stretch": Method(
        "ureter-stretch-on-second-phase",
        "The same stretch of a ureter on a second phase",
        "least calibre measured on the second phase where the first had a gap or a narrowing, mm; "
        "courses laid on one another by a shift that changes evenly from end to end (iterated "
        "closest points), stations matched by nearest place",
        "two phases of one ureter that move by less than about 15 mm; stretches filled with "
        "contrast on the second",
        ("thalweg-engineering",),
        (STILL_DOUBTFUL,),
    ),
    "length": Method(
        "ureter-length-difference-of-phases",
        "Length on the second phase less that on the first",
        "difference = second length − first length, mm; "
        "interval = difference ± 1.96 √(SD₁² + SD₂²)",
        "two phases traced between the same anatomical places",
        ("thalweg-engineering",),
    ),
}


class Verdict(StrEnum):
    """What the second phase shows of a stretch."""

    OPENED = "opened"
    HELD = "held"
    NOT_SEEN = "not seen"


@dataclass(frozen=True)
class Compared:
    """One gap or narrowing of the first phase, as the second shows it.

    Parameters
    ----------
    kind : str
        ``"gap"`` or ``"narrowing"``.
    from_mm, to_mm : float
        Stations on the first phase.
    verdict : Verdict
    least_calibre_mm : float or None
        Least calibre measured there on the second phase; None where none was.
    said : str
    narrow : Narrowing or None
        What the first phase measured there, of a narrowing.
    """

    kind: str
    from_mm: float
    to_mm: float
    verdict: Verdict
    least_calibre_mm: float | None
    said: str
    narrow: Narrowing | None = None


@dataclass(frozen=True, eq=False)
class Phases:
    """Two phases of one ureter against each other.

    Parameters
    ----------
    stretches : tuple of Compared
        Narrowings and gaps of the first phase, by station.
    start_shift_mm, end_shift_mm : ndarray, shape (3,)
        What takes the second course's start and end on to the first, LPS mm.
    apart_mm : float
        Root mean square distance of the two courses after the shift.
    length_difference_mm, length_difference_sd_mm : float
        Second less first.
    cautions : tuple of str
    """

    stretches: tuple[Compared, ...]
    start_shift_mm: Floats
    end_shift_mm: Floats
    apart_mm: float
    length_difference_mm: float
    length_difference_sd_mm: float
    cautions: tuple[str, ...]

    def opened(self, narrowing: Narrowing) -> bool:
        """Say whether a narrowing of the first phase opened on the second."""
        return any(
            one.kind == "narrowing"
            and one.from_mm == narrowing.from_mm
            and one.verdict is Verdict.OPENED
            for one in self.stretches
        )


def compared(first: Course, second: Course) -> Phases:
    """Return what the second phase shows where the first was shut or narrow.

    Parameters
    ----------
    first, second : Course
        Of one ureter, from the kidney to the bladder.
    """
    start, end = _shifts(first, second)
    share = second.station_mm / second.length_mm
    moved = second.points_mm + (1 - share)[:, None] * start + share[:, None] * end
    away, nearest = cKDTree(moved).query(first.points_mm)
    there = np.maximum.accumulate(second.station_mm[nearest])
    apart = float(np.sqrt(np.mean(np.square(away))))
    slack = SLACK_MM + apart
    found = [
        *(
            replace(
                _stretch(second, "narrowing", one.from_mm, one.to_mm, place, slack, one), narrow=one
            )
            for one in first.narrowings
            for place in (_place(first, there, away, one.from_mm, one.to_mm),)
        ),
        *(
            _stretch(second, "gap", one.from_mm, one.to_mm, place, slack, None)
            for one in first.gaps
            for place in (_place(first, there, away, one.from_mm, one.to_mm),)
        ),
    ]
    found.sort(key=lambda one: one.from_mm)
    change = second.length_mm - first.length_mm
    sd = float(np.hypot(first.length_sd_mm, second.length_sd_mm))
    return Phases(
        tuple(found), start, end, apart, change, sd, _cautions(change, sd, start, end, apart, found)
    )


def _shifts(first: Course, second: Course) -> tuple[Floats, Floats]:
    """Return the shifts of the second course's ends that lay it on the first."""
    tree = cKDTree(first.points_mm)
    tangents = np.gradient(first.points_mm, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    share = second.station_mm / second.length_mm
    blend = np.stack([1 - share, share], axis=1)
    shifts = np.zeros((2, 3))
    inner = (share > 0.02) & (share < 0.98)  # ends are where they were placed
    for _ in range(ROUNDS):
        moved = second.points_mm + blend @ shifts
        away, nearest = tree.query(moved)
        along = tangents[nearest]
        across = np.eye(3) - (1 - ALONG_WEIGHT) * along[:, :, None] * along[:, None, :]
        weight = np.where(inner, np.minimum(1.0, LOOSE_MM / np.maximum(away, 1e-9)), 0.0)
        # Normal equations of sum w |A (p + b0 s0 + b1 s1 - q)|^2 in s0 and s1.
        metric = np.einsum("n,nij,nik->njk", weight, across, across)
        target = first.points_mm[nearest] - second.points_mm
        square = np.einsum("na,nb,njk->ajbk", blend, blend, metric).reshape(6, 6)
        right = np.einsum("na,njk,nk->aj", blend, metric, target).reshape(6)
        shifts = np.linalg.solve(square + 1e-9 * np.trace(square) * np.eye(6), right).reshape(2, 3)
    return shifts[0], shifts[1]


def _place(
    first: Course, there: Floats, away: Floats, start: float, end: float
) -> tuple[float, float] | None:
    """Return the stations on the second phase between which a stretch of the first lies."""
    within = (first.station_mm >= start) & (first.station_mm <= end)
    if not within.any() or away[within].max() > FARTHEST_MM:
        return None
    return float(there[within].min()), float(there[within].max())


def _stretch(
    second: Course,
    kind: str,
    start: float,
    end: float,
    place: tuple[float, float] | None,
    slack: float,
    narrow: Narrowing | None,
) -> Compared:
    head = f"The {kind} from {start:.0f} to {end:.0f} mm"
    nothing = f"{head} was not seen on the second phase: fixed or passing is not known."
    if place is None:
        return Compared(kind, start, end, Verdict.NOT_SEEN, None, nothing)
    low, high = place
    within = (second.station_mm >= low) & (second.station_mm <= high)
    values = second.calibre_mm[within]
    least = float(np.nanmin(values)) if np.isfinite(values).any() else None
    again = [n for n in second.narrowings if n.from_mm < high + slack and n.to_mm > low - slack]
    shut = sum(max(0.0, min(g.to_mm, high) - max(g.from_mm, low)) for g in second.gaps)
    if again:
        calibre = min(n.least_calibre_mm for n in again)
        was = f"{_calibre(narrow)}, then" if narrow else "shut, then"
        said = f"{head} is narrow in both phases ({was} {calibre:.1f} mm): it holds."
        return Compared(kind, start, end, Verdict.HELD, calibre, said)
    if shut > 0.5 * max(high - low, 1.0):
        said = (
            f"{head} holds no contrast on the second phase either: it stayed shut or was empty both"
            " times, and is taken to hold."
        )
        return Compared(kind, start, end, Verdict.HELD, None, said)
    if least is None or np.isfinite(values).mean() < SEEN_SHARE:
        return Compared(kind, start, end, Verdict.NOT_SEEN, None, nothing)
    if narrow is not None and least < OPENING_RATIO * narrow.least_calibre_mm:
        said = (
            f"{head} is hardly wider on the second phase ({_calibre(narrow)}, then"
            f" {least:.1f} mm): it holds."
        )
        return Compared(kind, start, end, Verdict.HELD, least, said)
    said = f"{head} opened to {least:.1f} mm on the second phase: it was peristalsis, not fixed."
    return Compared(kind, start, end, Verdict.OPENED, least, said)


def _calibre(narrow: Narrowing) -> str:
    limit = "less than " if narrow.less_than else ""
    return f"{limit}{narrow.least_calibre_mm:.1f} mm"


def _cautions(
    change: float, sd: float, start: Floats, end: Floats, apart: float, found: list[Compared]
) -> tuple[str, ...]:
    said = [one.said for one in found]
    said.append(
        f"Between the phases the ureter moved by {np.linalg.norm(start):.0f} mm at the kidney and"
        f" {np.linalg.norm(end):.0f} mm at the bladder; laid on one another the courses lie"
        f" {apart:.1f} mm apart."
    )
    if abs(change) > Z95 * sd:
        said.append(
            f"The two phases give lengths {abs(change):.0f} mm apart, more than their doubt of"
            f" {Z95 * sd:.0f} mm explains: one of the courses may be wrong; look at both."
        )
    if any(one.kind == "gap" and one.verdict is Verdict.OPENED for one in found):
        said.append(
            "A gap seen open on the second phase is still bridged on the first: its length's doubt"
            " was left as it is."
        )
    return tuple(said)


def phase_findings(
    phases: Phases, *, at: Moment, side: str = "", facts: tuple[Fact, ...] = ()
) -> tuple[Finding, ...]:
    """Return the comparison as findings: each stretch, then the difference of the lengths.

    Parameters
    ----------
    phases : Phases
    at : date or aware datetime
        When the second phase was acquired.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    facts : tuple of Fact
        The marks of both phases.
    """
    tail = f"-{side}" if side else ""
    ureter = f"{side} ureter".strip().capitalize()
    found = [
        Finding(
            f"ureter-{one.kind}-at-{one.from_mm:.0f}-second-phase{tail}",
            f"{ureter}, {one.kind} from station {one.from_mm:.0f} to {one.to_mm:.0f} mm on a second"
            f" phase: {one.verdict.value}, least calibre",
            one.least_calibre_mm,
            "mm",
            at,
            METHODS["stretch"],
            facts=facts,
            interval=None,
            cautions=(one.said,),
            digits=1,
        )
        for one in phases.stretches
    ]
    half = Z95 * phases.length_difference_sd_mm
    change = phases.length_difference_mm
    found.append(
        Finding(
            f"ureter-length-difference-of-phases{tail}",
            f"{ureter}, length on the second phase less that on the first",
            change,
            "mm",
            at,
            METHODS["length"],
            facts=facts,
            interval=(change - half, change + half),
            cautions=phases.cautions,
            digits=1,
        )
    )
    return tuple(found)
