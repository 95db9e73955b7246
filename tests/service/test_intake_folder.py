"""Taking a folder in: all or nothing, twice is once, and whatever is wrong is said.

Image series are written with pydicom through the package's own writer, and read back from the
store; the rest of the folder is text spoiled one place at a time.
"""

from __future__ import annotations

import errno
import os
import shutil
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.support.casefolder import (
    CASE_TOML,
    LABS_CSV,
    MARKS_TOML,
    PATIENT,
    bundle,
    case_folder,
    result,
)
from tests.support.taking_in import BUNDLE, refusal_of, taken

from thalweg.assess.injury.report import injury_findings
from thalweg.exchange.dicom import read_volume
from thalweg.exchange.reading import CollectedInputError
from thalweg.record.fact import Mark
from thalweg.service.library import series_of, volume_of
from thalweg.store import Store, verify

if TYPE_CHECKING:
    from pathlib import Path


# ---- the whole folder ---------------------------------------------------------------------------


def test_everything_a_folder_may_hold(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(
        tmp_path / "in", case_toml=CASE_TOML + MARKS_TOML, fhir=BUNDLE, images=True
    )
    report = taken(folder, inn)
    assert report.opened
    assert (len(report.new_facts), report.known_facts) == (5 + 6 + 1 + 2, ())
    assert (report.not_taken, report.conflicts, report.questions) == ((), (), ())
    case = inn.get_case(report.case_id)
    assert case.quantity("creatinine", "umol/L")[0] == 88
    assert case.quantity("urea", "mg/dL")[0] == pytest.approx(30)
    assert case.quantity("site-wall", label="left lower")[0] == 30
    (record,) = case.images
    assert (record.folder, record.modality, record.phantom) == ("ct", "CT", True)
    marks = [fact.value for fact in case.facts if isinstance(fact.value, Mark)]
    assert len(marks) == 4
    assert {mark.series_uid for mark in marks} == {record.series_uid}
    assert verify(inn) == []


def test_images_from_the_store_are_the_voxels_of_the_folder(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    case = inn.get_case(taken(folder, inn).case_id)
    expected = read_volume(folder / "ct")
    shutil.rmtree(folder)
    found = volume_of(inn, series_of(case))
    assert np.array_equal(found.values, expected.values)
    assert np.array_equal(found.to_lps, expected.to_lps)
    assert (found.series_uid, found.phantom) == (expected.series_uid, True)


def test_same_folder_twice_changes_nothing(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(
        tmp_path / "in", case_toml=CASE_TOML + MARKS_TOML, fhir=BUNDLE, images=True
    )
    first = taken(folder, inn)
    trail = inn.trail()
    again = taken(folder, inn)
    assert inn.trail() == trail
    assert (again.case_id, again.opened) == (first.case_id, False)
    assert (again.new_facts, again.new_series) == ((), ())
    assert {fact.id for fact in again.known_facts} == {fact.id for fact in first.new_facts}
    assert again.known_series == first.new_series


def test_one_more_result_adds_just_that(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in")
    taken(folder, inn)
    (folder / "labs.csv").write_text(LABS_CSV + "potassium,4.10,mmol/L,2026-03-01\n")
    (fact,) = taken(folder, inn).new_facts
    assert (fact.concept, str(fact.value)) == ("potassium", "4.10")
    assert [len(entry.detail["facts"] or "") for entry in inn.trail()] == [7, 1]


def test_case_file_alone_is_a_case(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", labs=None)
    assert len(taken(folder, inn).new_facts) == 5


def test_what_is_left_out_is_said(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", fhir=bundle(PATIENT, result("1742-6", "20", "U/L")))
    (folder / "letter.pdf").write_bytes(b"%PDF")
    (folder / ".DS_Store").write_bytes(b"")
    (folder / "plan").mkdir()
    assert taken(folder, inn).not_taken == (
        "The folder plan holds no DICOM images.",
        "Not of a kind that is read: .DS_Store, letter.pdf.",
        "results.json: LOINC 1742-6 is not recorded here; 1 result(s) not taken in.",
    )


def test_two_values_at_one_time_are_both_kept_and_said(tmp_path: Path, inn: Store) -> None:
    labs = LABS_CSV + "creatinine,95,umol/L,2026-03-01T07:30Z\n"
    report = taken(case_folder(tmp_path / "in", labs=labs), inn)
    (sentence,) = report.conflicts
    assert "88 µmol/L" in sentence
    assert "95 µmol/L" in sentence
    assert inn.get_case(report.case_id).quantity("creatinine")[0] is None


def test_one_result_in_two_files_is_one_fact_with_every_doubt(tmp_path: Path, inn: Store) -> None:
    text = bundle(PATIENT, result("14682-9", "88", "umol/L", status="preliminary"))
    report = taken(case_folder(tmp_path / "in", fhir=text), inn)
    (fact,) = inn.get_case(report.case_id).series("creatinine")
    assert fact.questions == ("The result is preliminary.",)
    assert fact.origin.kind == "FHIR bundle"


def test_conflict_with_what_is_on_record_is_said(tmp_path: Path, inn: Store) -> None:
    taken(case_folder(tmp_path / "in"), inn)
    labs = LABS_CSV.replace("88,", "98,")
    assert len(taken(case_folder(tmp_path / "more", labs=labs), inn).conflicts) == 1


def test_withdrawing_one_value_settles_a_conflict_for_good(tmp_path: Path, inn: Store) -> None:
    labs = LABS_CSV + "creatinine,95,umol/L,2026-03-01T07:30Z\n"
    folder = case_folder(tmp_path / "in", labs=labs)
    case_id = taken(folder, inn).case_id
    wrong = next(f for f in inn.get_case(case_id).facts if f.value == 95)
    inn.withdraw(case_id, wrong.id, "sample of the next bed")
    assert inn.get_case(case_id).quantity("creatinine")[0] == 88
    trail = inn.trail()
    report = taken(folder, inn)
    assert (report.new_facts, report.conflicts, inn.trail()) == ((), (), trail)
    assert report.not_taken == (f"{wrong}: was withdrawn earlier, stays so.",)
    assert wrong.id not in {fact.id for fact in report.known_facts}


def test_same_value_in_two_units_is_no_conflict(tmp_path: Path, inn: Store) -> None:
    labs = LABS_CSV + "creatinine,0.995,mg/dL,2026-03-01T08:30+01:00\n"
    report = taken(case_folder(tmp_path / "in", labs=labs), inn)
    assert report.conflicts == ()
    value, _ = inn.get_case(report.case_id).quantity("creatinine", "mg/dL")
    assert value == pytest.approx(0.995, rel=0.01)


def test_unlikely_value_is_taken_in_and_questioned(tmp_path: Path, inn: Store) -> None:
    report = taken(case_folder(tmp_path / "in", labs=LABS_CSV.replace("88", "1300")), inn)
    assert any("unlikely" in question for question in report.questions)
    (fact,) = inn.get_case(report.case_id).series("creatinine")
    assert (fact.value, len(fact.questions)) == (Decimal(1300), 1)


# ---- folders that are refused -------------------------------------------------------------------


def test_folder_without_a_case_file(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in")
    (folder / "case.toml").unlink()
    assert "holds no case.toml; add one with a section [person]" in str(refusal_of(folder, inn))


def test_no_folder(tmp_path: Path, inn: Store) -> None:
    assert "does not exist" in str(refusal_of(tmp_path / "nowhere", inn))
    folder = case_folder(tmp_path / "in")
    assert "is not a folder" in str(refusal_of(folder / "case.toml", inn))


def test_every_problem_in_every_file_at_once(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(
        tmp_path / "in",
        case_toml=CASE_TOML.replace("72.0 kg", "72.0"),
        labs=LABS_CSV.replace("mmol/L", "mol"),
        fhir=bundle(PATIENT, result("14682-9", "88", "mg/dL")),
    )
    (folder / "ct").mkdir()
    (folder / "ct" / "1.dcm").write_bytes(b"\0" * 128 + b"DICM" + b"\0" * 10)
    error = refusal_of(folder, inn)
    assert isinstance(error, CollectedInputError)
    places = [each.where for each in (error, *error.others)]
    assert places[:3] == [
        "case.toml, [course], weight, '72.0'",
        "results.json, entry 2 (Observation)",
        "labs.csv, row 3, column 'unit'",
    ]
    assert len(places) == 4
    assert "ct" in places[3]
    assert all(str(place) in str(error) for place in places[:3])
    assert str(error).endswith("(1 more problem found.)")


@pytest.mark.parametrize(
    ("labs", "said"),
    [
        (LABS_CSV.replace("2026-03-01", "2026-04-03"), "creatinine is dated in the future"),
        (LABS_CSV.replace("2026-03-01", "1961-03-01"), "dated before the person's birth"),
    ],
)
def test_impossible_dates(tmp_path: Path, inn: Store, labs: str, said: str) -> None:
    error = refusal_of(case_folder(tmp_path / "in", labs=labs), inn)
    assert said in str(error)
    assert error.where == "labs.csv row 2"


def test_loose_dicom_file(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    shutil.copy(next((folder / "ct").iterdir()), folder / "slice")
    assert "outside a folder of their own (slice)" in str(refusal_of(folder, inn))


def test_unreadable_file(tmp_path: Path, inn: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = case_folder(tmp_path / "in", fhir=BUNDLE)
    real = type(folder).read_bytes

    def guarded(path: Path) -> bytes:
        if path.suffix in {".csv", ".json"}:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return real(path)

    monkeypatch.setattr(type(folder), "read_bytes", guarded)
    error = refusal_of(folder, inn)
    assert str(error).startswith("results.json: cannot be read (Permission denied)")
    assert isinstance(error, CollectedInputError)
    assert [other.where for other in error.others] == ["labs.csv"]


def test_link_to_nowhere_is_said(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in")
    (folder / "old.csv").symlink_to(folder / "gone.csv")
    assert taken(folder, inn).not_taken == ("Not of a kind that is read: old.csv.",)


def test_urine_by_the_hour_comes_in_and_tells_the_stage(tmp_path: Path, inn: Store) -> None:
    # 30 mL an hour for 13 hours at 70 kg is 0.43 mL/kg/h: below 0.5 for more than 12 hours, KDIGO's
    # stage 2. The first bag says since when it was collected; the others since the one before.
    rows = ["test,value,unit,taken,label", "weight,70,kg,2026-02-01,"]
    rows.append("urine-emptied,30,mL,2026-02-01T07:00+00:00,2026-02-01T06:00+00:00")
    rows += [f"urine-emptied,30,mL,2026-02-01T{hour:02}:00+00:00," for hour in range(8, 20)]
    folder = case_folder(tmp_path / "in", labs="\n".join(rows) + "\n")
    report = taken(folder, inn)
    assert (report.not_taken, report.conflicts, report.questions) == ((), (), ())
    case = inn.get_case(report.case_id)
    assert len(case.series("urine-emptied")) == 13
    found = {one.name: one for one in injury_findings(case, date(2026, 2, 2))}
    # Stage 3 asks for 24 hours, of which 13 are on record.
    assert found["injury-stage-urine"].value == "stage 2, up to 3 not excluded"
    assert "gap" not in " ".join(found["injury-stage-urine"].cautions)


def test_urine_without_an_hour_is_left_out_of_the_chart(tmp_path: Path, inn: Store) -> None:
    labs = (
        "test,value,unit,taken\nweight,70,kg,2026-02-01\nurine-emptied,900,mL,2026-02-01\n"
        "urine-emptied,50,mL,2026-02-01T07:00+00:00\nurine-emptied,50,mL,2026-02-01T08:00+00:00\n"
    )
    case = inn.get_case(taken(case_folder(tmp_path / "in", labs=labs), inn).case_id)
    found = {one.name: one for one in injury_findings(case, date(2026, 2, 2))}
    assert "2 volume(s) were left out" in " ".join(found["injury-stage-urine"].cautions)
