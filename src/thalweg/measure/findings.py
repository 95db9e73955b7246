"""A traced course as findings: each number with its method, doubt, date and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.measure.course_methods import BY_HAND, TRACED
from thalweg.record.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.measure.course import Course
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.method import Method

__all__ = ["course_findings"]

Z95 = 1.959963984540054
SQRT2 = 2**0.5
"""A length between two ends of like doubt is so much less sure than either."""


@dataclass(frozen=True, slots=True)
class _Course:
    """What all findings of one course share."""

    at: Moment
    side: str
    facts: tuple[Fact, ...]
    methods: Mapping[str, Method]

    def finding(
        self,
        kind: str,
        name: str,
        words: str,
        value: float | None,
        *,
        unit: str = "mm",
        interval: tuple[float, float] | None = None,
        cautions: tuple[str, ...] = (),
        digits: int = 1,
    ) -> Finding:
        return Finding(
            f"{name}-{self.side}" if self.side else name,
            f"{self.side} ureter, {words}".strip().capitalize(),
            value,
            unit,
            self.at,
            self.methods[kind],
            facts=self.facts,
            interval=interval,
            cautions=cautions,
            digits=digits,
        )


def course_findings(
    course: Course, *, at: Moment, side: str = "", facts: tuple[Fact, ...] = ()
) -> tuple[Finding, ...]:
    """Return what a course says, as findings.

    Parameters
    ----------
    course : Course
    at : date or aware datetime
        When the images were acquired.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    facts : tuple of Fact
        The marks that the course was traced between.

    Returns
    -------
    tuple of Finding
        Length, chord, winding, calibre, narrowings, gaps, tightest bend; a calibre that the
        image does not give has no value and says so.
    """
    shared = _Course(at, side, facts, BY_HAND if course.by_hand else TRACED)
    half = Z95 * course.length_sd_mm
    length = shared.finding(
        "length",
        "ureter-length",
        "length",
        course.length_mm,
        interval=(course.length_mm - half, course.length_mm + half),
        cautions=course.cautions,
    )
    return (
        length,
        shared.finding(
            "chord",
            "ureter-chord",
            "straight distance of its ends",
            course.chord_mm,
            interval=_about(course.chord_mm, course.chord_sd_mm),
        ),
        shared.finding(
            "tortuosity",
            "ureter-tortuosity",
            "winding",
            course.tortuosity,
            unit="1",
            interval=_about(course.tortuosity, course.tortuosity_sd, least=1.0),
            digits=2,
        ),
        _calibre(course, shared),
        *_narrowings(course, shared),
        *_gaps(course, shared),
        *_dense(course, shared),
        shared.finding(
            "bend",
            "ureter-least-bend-radius",
            "tightest bend that was seen, radius",
            course.least_bend_radius_mm,
            interval=course.least_bend_interval_mm,
            digits=0,
        ),
    )


def _about(value: float, sd: float | None, *, least: float = 0.0) -> tuple[float, float] | None:
    """Return the 95 % interval about a value that cannot be below `least`."""
    if sd is None:
        return None
    return min(max(value - Z95 * sd, least), value), value + Z95 * sd


def _calibre(course: Course, shared: _Course) -> Finding:
    seen = course.calibre_mm[np.isfinite(course.calibre_mm)]
    if not seen.size:
        nothing = "No contrast was measured anywhere along this course."
        return shared.finding(
            "calibre", "ureter-calibre", "median calibre", None, cautions=(nothing,)
        )
    low, high = np.percentile(seen, [2.5, 97.5])
    return shared.finding(
        "calibre",
        "ureter-calibre",
        f"median calibre (95 % of what was seen: {low:.1f} to {high:.1f} mm)",
        float(np.median(seen)),
        interval=_about(float(np.median(seen)), course.median_calibre_sd_mm),
    )


def _narrowings(course: Course, shared: _Course) -> list[Finding]:
    return [
        shared.finding(
            "narrowing",
            f"ureter-narrowing-{number}",
            f"narrowing from station {one.from_mm:.0f} to {one.to_mm:.0f} mm (beside it "
            f"{one.reference_calibre_mm:.1f} mm): {'less than' if one.less_than else 'least'}",
            one.least_calibre_mm,
            interval=_about(one.least_calibre_mm, one.least_sd_mm),
        )
        for number, one in enumerate(course.narrowings, 1)
    ]


def _dense(course: Course, shared: _Course) -> list[Finding]:
    stones = [
        shared.finding(
            "stone",
            f"ureter-stone-{number}",
            f"stone or something as dense at station {(one.from_mm + one.to_mm) / 2:.0f} mm"
            f" ({one.core_hu:.0f} HU, {one.width_mm:.0f} mm across): length along the ureter",
            one.length_mm,
            digits=0,
        )
        for number, one in enumerate(course.stones, 1)
    ]
    stents = [
        shared.finding(
            "stent",
            f"ureter-stent-{number}",
            f"{'stent' if one.certain else 'stent or undiluted contrast'} from station"
            f" {one.from_mm:.0f} to {one.to_mm:.0f} mm ({one.core_hu:.0f} HU): width",
            one.width_mm,
        )
        for number, one in enumerate(course.stents, 1)
    ]
    return stones + stents


def _gaps(course: Course, shared: _Course) -> list[Finding]:
    return [
        shared.finding(
            "gap",
            f"ureter-gap-{number}",
            f"gap from station {one.from_mm:.0f} to {one.to_mm:.0f} mm, not seen: length",
            one.length_mm,
            interval=_about(one.length_mm, one.end_sd_mm and SQRT2 * one.end_sd_mm),
            digits=0,
        )
        for number, one in enumerate(course.gaps, 1)
    ]
