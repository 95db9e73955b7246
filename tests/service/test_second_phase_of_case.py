"""A second phase from a case folder to the plan: what opened no longer moves the cut.

The truth is the drawn ureter's own: where its wave and its fixed narrowing lie and how wide they
are, as `tests.support.twophases` states.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pydicom import dcmread
from tests.support.casefolder import CASE_TOML as ADA_TOML
from tests.support.casefolder import MARKS_TOML as ADA_MARKS
from tests.support.casefolder import TODAY, case_folder, write_series
from tests.support.printed import text_of, words
from tests.support.smallcase import CASE_TOML, DAY
from tests.support.twophases import (
    FIXED_MM,
    MOVED_MM,
    RADIUS_MM,
    TIGHT_MM,
    TWO_PHASES_TOML,
    WAVE_MM,
    write_two_phases,
)

from thalweg.errors import InputError
from thalweg.measure.phases import Verdict
from thalweg.plan.reach.scene import defaults
from thalweg.progress import silent
from thalweg.record.fact import Mark
from thalweg.service.caseload import course_of
from thalweg.service.documents import plan_content
from thalweg.service.images import Images
from thalweg.service.intake import IntakeReport, take_in
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.service.ureters import TracedUreter, traced_ureters
from thalweg.service.workup import Workup, worked_up
from thalweg.sheets.html import to_html
from thalweg.sheets.plan import plan_document
from thalweg.store import Store, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SECOND = "ureter-left-second"
ABOVE_MM = float(defaults()["usual"]["above_narrowing_mm"])
IN_AIR = "second_points_mm = [[-70, -50, 45], [28.8, 0, -69]]"
MOVED = (28.8 + MOVED_MM[0], MOVED_MM[1])
ON_URETER = (
    f"second_points_mm = [[{MOVED[0]}, {MOVED[1]}, {49 + MOVED_MM[2]}], "
    f"[{MOVED[0]}, {MOVED[1]}, {-69 + MOVED_MM[2]}]]"
)


@dataclass(frozen=True)
class TwoPhases:
    """The case of two phases on record, worked up; to be read only."""

    folder: Path
    home: Path
    report: IntakeReport
    worked: Workup


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> TwoPhases:
    base = tmp_path_factory.mktemp("two-phases")
    folder = write_two_phases(base / "in")
    with Store(base / "home") as store:
        report = take_in(folder, store, today=DAY)
        worked = worked_up(store.get_case(report.case_id), store, at=DAY)
    return TwoPhases(folder, base / "home", report, worked)


@pytest.fixture
def own(two: TwoPhases, tmp_path: Path) -> Iterator[Store]:
    """Give the case in a store of the test's own."""
    shutil.copytree(two.home, tmp_path / "home")
    with Store(tmp_path / "home") as store:
        yield store


def ureter_of(two: TwoPhases, store: Store) -> TracedUreter:
    case = store.get_case(two.report.case_id)
    (ureter,) = traced_ureters(
        case, Images(case, store, silent), draw=None, at=DAY, progress=silent
    )
    return ureter


def withdraw_second(two: TwoPhases, store: Store) -> None:
    (fact,) = store.get_case(two.report.case_id).series(SECOND)
    store.withdraw(two.report.case_id, fact.id, "placed on the wrong series")


def mark_anew(two: TwoPhases, store: Store, folder: Path, points: str) -> None:
    """Place the second phase's points anew, on the series on record."""
    withdraw_second(two, store)
    marks = TWO_PHASES_TOML.replace('second = "late"', f'second = "late"\n{points}')
    folder.mkdir()
    folder.joinpath("case.toml").write_text(CASE_TOML + marks, encoding="utf-8")
    report = take_in(folder, store, today=DAY)
    assert [fact.concept for fact in report.new_facts] == [SECOND]


def test_each_mark_names_its_own_series(two: TwoPhases) -> None:
    case = two.worked.case
    uids = {record.folder: record.series_uid for record in case.images}
    assert set(uids) == {"ct", "late"}
    said = {fact.concept: fact.value for fact in case.facts if isinstance(fact.value, Mark)}
    second = said.pop(SECOND)
    assert second.series_uid == uids["late"]
    assert {mark.series_uid for mark in said.values()} == {uids["ct"]}
    assert second.points_mm == said["ureter-left"].points_mm
    assert two.report.questions == ()


def test_what_opens_is_told_from_what_holds(two: TwoPhases) -> None:
    (ureter,) = two.worked.ureters
    assert ureter.again is not None
    assert ureter.again.problem == ""
    assert ureter.again.phases is not None
    wave, fixed = ureter.again.phases.stretches
    for one, (start, end) in ((wave, WAVE_MM), (fixed, FIXED_MM)):
        assert one.kind == "narrowing"
        assert (one.from_mm, one.to_mm) == pytest.approx((start, end), abs=2.5)
        assert one.narrow is not None
        assert one.narrow.least_calibre_mm == pytest.approx(2 * TIGHT_MM, abs=0.4)
    assert (wave.verdict, fixed.verdict) == (Verdict.OPENED, Verdict.HELD)
    assert wave.least_calibre_mm == pytest.approx(2 * RADIUS_MM, abs=0.5)
    assert fixed.least_calibre_mm == pytest.approx(2 * TIGHT_MM, abs=0.4)
    found = {finding.name: finding for finding in ureter.findings}
    opened = found[f"ureter-narrowing-at-{wave.from_mm:.0f}-second-phase-left"]
    assert {fact.concept for fact in opened.facts} == {"ureter-left", SECOND}
    assert "ureter-length-difference-of-phases-left" in found
    # Both series name one frame of reference, so that nothing had to be assumed.
    assert not any("frame of reference" in c for one in found.values() for c in one.all_cautions)


def test_reach_counts_on_to_the_narrowing_that_holds(two: TwoPhases, own: Store) -> None:
    (ureter,) = two.worked.ureters
    assert ureter.freed is not None
    assert ureter.freed.division_mm == pytest.approx(FIXED_MM[0] - ABOVE_MM, abs=2.5)
    assert "narrow on both phases" in ureter.freed.cautions[0]
    assert SECOND in {fact.concept for fact in ureter.freed.facts}
    withdraw_second(two, own)
    case = own.get_case(two.report.case_id)
    alone = worked_up(case, own, at=DAY)
    (once,) = alone.ureters
    assert once.again is None
    assert once.freed is not None
    assert once.freed.division_mm == pytest.approx(WAVE_MM[0] - ABOVE_MM, abs=2.5)
    gained = ureter.freed.division_mm - once.freed.division_mm

    def skin(worked: Workup) -> tuple[float, float]:
        route = next(one for one in worked.routes if one.diversion == "cutaneous-single")
        assert route.free_mm is not None
        assert route.margin_mm is not None
        return route.free_mm, route.margin_mm

    (free, margin), (free_once, margin_once) = skin(two.worked), skin(alone)
    assert free - free_once == pytest.approx(gained, abs=0.01)
    assert margin - margin_once == pytest.approx(gained, abs=2.0)
    assert verify(own) == []
    # Taking the folder in again does not bring the withdrawn mark back.
    again = take_in(two.folder, own, today=DAY)
    assert any("ureter-left-second" in said for said in again.not_taken)


def test_the_plan_tells_both_phases_side_by_side(two: TwoPhases, tmp_path: Path) -> None:
    page = tmp_path / "plan.html"
    page.write_bytes(to_html(plan_document(plan_content(two.worked, NO_PROTOCOL))))
    text = words(text_of(page))
    (ureter,) = two.worked.ureters
    assert ureter.again is not None
    assert ureter.again.phases is not None
    wave, fixed = ureter.again.phases.stretches
    assert wave.narrow is not None
    opened = (
        f"{wave.from_mm:.0f} to {wave.to_mm:.0f} narrowing, {wave.narrow.least_calibre_mm:.1f} mm "
        f"open, {wave.least_calibre_mm:.1f} mm"
    )
    assert opened in text
    assert f"narrow, {fixed.least_calibre_mm:.1f} mm" in text
    assert "opened: peristalsis, not fixed" in text
    assert "narrow both times: holds" in text
    assert "opened on the second phase and does not move the cut" in text
    assert "may still be two waves of peristalsis at one place" in text


def test_the_course_of_the_case_names_the_second_phase(two: TwoPhases, own: Store) -> None:
    told = "\n".join(course_of(two.report.case_id, own, at=DAY).lines())
    assert f"{SECOND} [28.8, 0, 49; 28.8, 0, -69] mm" in told
    assert "case.toml [ureter.left] second" in told
    assert "second phase: opened, least calibre" in told


def test_points_of_its_own_give_the_same_answer(two: TwoPhases, own: Store, tmp_path: Path) -> None:
    mark_anew(two, own, tmp_path / "again", ON_URETER)
    ureter = ureter_of(two, own)
    assert ureter.again is not None
    assert ureter.again.phases is not None
    verdicts = [one.verdict for one in ureter.again.phases.stretches]
    assert verdicts == [Verdict.OPENED, Verdict.HELD]
    # Across the ureter; how far a straight one slid along itself does not show.
    across = ureter.again.phases.start_shift_mm[:2]
    np.testing.assert_allclose(across, -MOVED_MM[:2], atol=0.7)


def test_a_second_phase_that_cannot_be_traced_stops_nothing(
    two: TwoPhases, own: Store, tmp_path: Path
) -> None:
    mark_anew(two, own, tmp_path / "again", IN_AIR)
    worked = worked_up(own.get_case(two.report.case_id), own, at=DAY)
    (ureter,) = worked.ureters
    assert ureter.course is not None
    assert ureter.freed is not None
    assert ureter.freed.division_mm == pytest.approx(WAVE_MM[0] - ABOVE_MM, abs=2.5)
    assert SECOND not in {fact.concept for fact in ureter.freed.facts}
    assert ureter.problem == ""
    assert ureter.again is not None
    assert ureter.again.findings == ()
    assert ureter.again.problem.startswith(
        "The second phase of the left ureter was not used, so that one phase alone decides: "
    )
    assert "start" in ureter.again.problem
    assert ureter.again.problem in worked.problems
    assert any(route.margin_mm is not None for route in worked.routes)
    page = tmp_path / "plan.html"
    page.write_bytes(to_html(plan_document(plan_content(worked, NO_PROTOCOL))))
    assert text_of(page).count("second phase of the left ureter was not used") == 2


def test_a_second_phase_of_another_day_s_marks_is_not_used(
    two: TwoPhases, own: Store, tmp_path: Path
) -> None:
    later = TWO_PHASES_TOML.replace("at = 2026-03-02", "at = 2026-03-09", 1)
    tmp_path.joinpath("later").mkdir()
    tmp_path.joinpath("later", "case.toml").write_text(
        CASE_TOML + later.replace('second = "late"\n', ""), encoding="utf-8"
    )
    take_in(tmp_path / "later", own, today=DAY)
    ureter = ureter_of(two, own)
    assert ureter.again is not None
    assert ureter.again.phases is None
    assert "beside images of 2026-03-02, and the course lies on those of 2026-03-09" in (
        ureter.again.problem
    )


# ---- what intake refuses -------------------------------------------------------------------------

ADA = ADA_TOML + ADA_MARKS.replace("at = 2026-03-02\n", 'at = 2026-03-02\nfolder = "ct"\n', 1)
ENDS = "end_mm = [8, 4, 2]"


def ada(folder: Path, lines: str, *, accept: bool = False) -> Path:
    """Write a case folder of one series, with `lines` added to its ureter."""
    text = ADA.replace(ENDS, f"{ENDS}\n{lines}")
    if accept:
        text = text.replace('folder = "ct"\n', 'folder = "ct"\naccept_identity = true\n')
    return case_folder(folder, case_toml=text, images=True)


def refused(folder: Path, home: Path) -> str:
    with Store(home) as store:
        with pytest.raises(InputError) as caught:
            take_in(folder, store, today=TODAY)
        assert not store.list_cases()
    assert not getattr(caught.value, "others", ())
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_second_phase_that_did_not_come_along(tmp_path: Path) -> None:
    said = refused(ada(tmp_path / "in", 'second = "late"'), tmp_path / "home")
    assert said.startswith("case.toml [ureter.left] second: the second phase lies on images in")
    assert "'late', but no such images came along" in said


def test_the_first_series_is_no_second_phase(tmp_path: Path) -> None:
    said = refused(ada(tmp_path / "in", 'second = "ct"'), tmp_path / "home")
    assert "'ct' is the series of the first phase" in said


def test_another_person_s_images_are_no_second_phase(tmp_path: Path) -> None:
    folder = ada(tmp_path / "in", 'second = "late"', accept=True)
    write_series(folder / "late", born=TODAY.replace(year=1980), description="late")
    said = refused(folder, tmp_path / "home")
    assert "'late' name another person than those of the first phase" in said
    assert "1980" not in said


def test_one_frame_of_reference_or_points_of_its_own(tmp_path: Path) -> None:
    folder = ada(tmp_path / "in", 'second = "late"')
    write_series(folder / "late", description="late", minute=20)  # another study and frame
    said = refused(folder, tmp_path / "home")
    assert "another frame of reference than those of the first phase" in said
    assert "second_points_mm = [[x, y, z], …]" in said
    other = ada(tmp_path / "placed", 'second = "late"\nsecond_points_mm = [[9, 5, 29], [8, 4, 3]]')
    write_series(other / "late", description="late", minute=20)
    with Store(tmp_path / "home") as store:
        assert take_in(other, store, today=TODAY).questions == ()


def test_points_beside_the_second_series(tmp_path: Path) -> None:
    outside = 'second = "late"\nsecond_points_mm = [[9, 5, 29], [8, 4, -40]]'
    folder = ada(tmp_path / "in", outside)
    write_series(folder / "late", description="late")
    said = refused(folder, tmp_path / "home")
    assert "ureter-left-second lies outside its images (1 of 2 points)" in said


def test_a_frame_that_is_not_named_is_questioned(tmp_path: Path) -> None:
    folder = ada(tmp_path / "in", 'second = "late"')
    write_series(folder / "late", description="late")
    for path in (folder / "late").iterdir():
        dataset = dcmread(path)
        del dataset.FrameOfReferenceUID
        dataset.save_as(path)
    with Store(tmp_path / "home") as store:
        (said,) = take_in(folder, store, today=TODAY).questions
    assert "name no frame of reference: the same points were taken to mean the same places" in said
