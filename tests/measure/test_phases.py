"""Two phases of one ureter: drawn tubes whose shift, gaps and narrowings are known exactly.

The second course is the first moved by a shift that changes evenly from end to end, so that the
alignment's truth is the shift itself; calibres and stretches are stated, not traced.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from tests.support import tubes

from thalweg.measure.course import Course, Gap, Narrowing
from thalweg.measure.phases import Verdict, compared, phase_findings
from thalweg.measure.spline import even_steps
from thalweg.measure.trace import trace_ureter
from thalweg.plan.staging import division_of

START_SHIFT, END_SHIFT = np.array([3.0, -4.0, 11.0]), np.array([0.5, 1.0, -1.0])


def known_course(
    points: tubes.Array,
    *,
    calibre_mm: float = 4.0,
    gaps: tuple[Gap, ...] = (),
    narrowings: tuple[Narrowing, ...] = (),
) -> Course:
    line = even_steps(points, 1.0)
    station = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    calibre = np.full(len(line), calibre_mm)
    for gap in gaps:
        calibre[(station >= gap.from_mm) & (station <= gap.to_mm)] = np.nan
    for one in narrowings:
        calibre[(station >= one.from_mm) & (station <= one.to_mm)] = one.least_calibre_mm
    length = float(station[-1])
    return Course(
        points_mm=line,
        station_mm=station,
        length_mm=length,
        length_sd_mm=2.0,
        chord_mm=float(np.linalg.norm(line[-1] - line[0])),
        tortuosity=1.1,
        calibre_mm=calibre,
        calibre_upper_mm=np.full(len(line), np.nan),
        bend_radius_mm=np.full(len(line), 50.0),
        least_bend_radius_mm=50.0,
        gaps=gaps,
        narrowings=narrowings,
    )


WINDING = tubes.helix(10.0, 60.0, 3.0)


def moved_back(points: tubes.Array) -> tubes.Array:
    share = np.linspace(0.0, 1.0, len(points))[:, None]
    return np.asarray(points - (1 - share) * START_SHIFT - share * END_SHIFT)


GAPS = (Gap(40.0, 55.0), Gap(150.0, 168.0))
TIGHT = (Narrowing(90.0, 100.0, 1.6, 4.0), Narrowing(200.0, 210.0, 1.5, 4.0))
FIRST = known_course(WINDING, gaps=GAPS, narrowings=TIGHT)


def test_the_shift_between_phases_is_found() -> None:
    phases = compared(FIRST, known_course(moved_back(WINDING)))
    np.testing.assert_allclose(phases.start_shift_mm, START_SHIFT, atol=1.0)
    np.testing.assert_allclose(phases.end_shift_mm, END_SHIFT, atol=1.0)
    assert phases.apart_mm < 0.5


def test_what_opens_what_holds_and_what_is_not_seen() -> None:
    second = known_course(
        moved_back(WINDING),
        calibre_mm=3.9,
        gaps=(Gap(153.0, 170.0),),
        narrowings=(Narrowing(201.0, 211.0, 1.7, 4.0),),
    )
    phases = compared(FIRST, second)
    verdicts = {(one.kind, one.from_mm): one for one in phases.stretches}
    opened = verdicts["gap", 40.0]
    assert opened.verdict is Verdict.OPENED
    assert opened.least_calibre_mm == pytest.approx(3.9)
    assert "opened to 3.9 mm" in opened.said
    shut = verdicts["gap", 150.0]
    assert shut.verdict is Verdict.HELD
    assert shut.least_calibre_mm is None
    passing = verdicts["narrowing", 90.0]
    assert passing.verdict is Verdict.OPENED
    fixed = verdicts["narrowing", 200.0]
    assert fixed.verdict is Verdict.HELD
    assert fixed.least_calibre_mm == pytest.approx(1.7)
    assert "narrow in both phases (1.5 mm, then 1.7 mm)" in fixed.said
    assert [one.from_mm for one in phases.stretches] == [40.0, 90.0, 150.0, 200.0]


def test_calibre_that_was_not_measured_is_never_given() -> None:
    second = known_course(moved_back(WINDING))
    calibre = second.calibre_mm.copy()
    calibre[35:110] = np.nan  # hidden, such as by a stent: neither gap nor calibre
    phases = compared(FIRST, replace(second, calibre_mm=calibre))
    verdicts = {(one.kind, one.from_mm): one for one in phases.stretches}
    for key in (("gap", 40.0), ("narrowing", 90.0)):
        assert verdicts[key].verdict is Verdict.NOT_SEEN
        assert verdicts[key].least_calibre_mm is None


def test_a_narrowing_hardly_wider_still_holds() -> None:
    second = known_course(moved_back(WINDING))
    calibre = second.calibre_mm.copy()
    calibre[88:103] = 1.8
    phases = compared(FIRST, replace(second, calibre_mm=calibre))
    (one,) = [s for s in phases.stretches if s.from_mm == 90.0]
    assert one.verdict is Verdict.HELD


def test_a_lumen_too_fine_to_measure_is_told_as_a_limit() -> None:
    fine = (replace(TIGHT[0], less_than=True), TIGHT[1])
    second = known_course(moved_back(WINDING), narrowings=TIGHT)
    phases = compared(replace(FIRST, narrowings=fine), second)
    said = [one.said for one in phases.stretches if one.kind == "narrowing"]
    assert "(less than 1.6 mm, then 1.6 mm)" in said[0]
    assert "(1.5 mm, then 1.5 mm)" in said[1]


def test_lengths_farther_apart_than_their_doubt_are_said() -> None:
    same = compared(FIRST, known_course(WINDING + np.array([2.0, -3.0, 5.0])))
    assert not any("more than their doubt" in caution for caution in same.cautions)
    longer = compared(FIRST, known_course(tubes.helix(13.0, 60.0, 3.0)))
    assert longer.length_difference_sd_mm == pytest.approx(np.hypot(2.0, 2.0))
    assert any("more than their doubt" in caution for caution in longer.cautions)


def test_a_narrowing_that_opened_no_longer_moves_the_cut() -> None:
    alone, why_alone = division_of(FIRST, 60.0)
    assert alone < 90.0
    assert "only peristalsis" in " ".join(why_alone)
    second = known_course(moved_back(WINDING), narrowings=(Narrowing(201.0, 211.0, 1.7, 4.0),))
    cut, why = division_of(FIRST, 60.0, compared(FIRST, second))
    assert 180.0 < cut < 200.0
    assert "narrow on both phases" in why[0]
    assert any("opened on the second phase" in reason for reason in why)
    free, why_free = division_of(FIRST, 60.0, compared(FIRST, known_course(moved_back(WINDING))))
    assert free == FIRST.length_mm
    assert why_free[0] == "Cut at the bladder."


def test_findings_are_whole() -> None:
    second = known_course(moved_back(WINDING), narrowings=(Narrowing(201.0, 211.0, 1.7, 4.0),))
    findings = phase_findings(compared(FIRST, second), at=date(2026, 3, 2), side="left")
    assert len(findings) == len(FIRST.gaps) + len(FIRST.narrowings) + 1
    last = findings[-1]
    assert last.interval is not None
    assert isinstance(last.value, float)
    assert last.interval[0] < last.value < last.interval[1]


def test_traced_phases_of_a_tube_that_moves_and_opens() -> None:
    points = tubes.arc(70.0, 1.6)

    def shut(start: float, end: float) -> tubes.Along:
        return lambda s: np.where((s > start) & (s < end), 0.0, 420.0)

    courses = []
    for line, contrast in (
        (points, shut(40.0, 60.0)),
        (points - np.array([2.0, 1.0, 6.0]), shut(75.0, 90.0)),
    ):
        tube = tubes.Tube(line, tubes.constant(2.1), contrast)
        shape, to_lps = tubes.grid(line, (1.0, 0.8, 0.8))
        volume = tubes.render([tube], shape, to_lps, seed=31)
        courses.append(trace_ureter(volume, line[0], line[-1]))
    phases = compared(*courses)
    (gap,) = phases.stretches
    assert gap.verdict is Verdict.OPENED
    assert gap.least_calibre_mm == pytest.approx(4.2, abs=0.5)
    np.testing.assert_allclose(phases.start_shift_mm, [2.0, 1.0, 6.0], atol=1.5)
