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
from pydicom import dcmread
from tests.support.casefolder import (
    CASE_TOML,
    LABS_CSV,
    MARKS_TOML,
    PATIENT,
    TODAY,
    bundle,
    case_folder,
    result,
    write_series,
)

from thalweg.errors import InputError
from thalweg.exchange.dicom import read_volume, survey
from thalweg.exchange.reading import CollectedInputError
from thalweg.record.fact import Mark
from thalweg.service.intake import IntakeReport, take_in
from thalweg.service.library import series_of, volume_of
from thalweg.store import Store, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

BUNDLE = bundle(PATIENT, result("3091-6", "30.0", "mg/dL"))
UNMARKED_IMAGES = '\n[images]\nfolder = "ct"\n'


@pytest.fixture(scope="module")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("empty") / "home"
    Store(home).close()
    return home


@pytest.fixture
def inn(tmp_path: Path, empty_home: Path) -> Iterator[Store]:
    shutil.copytree(empty_home, tmp_path / "home")
    with Store(tmp_path / "home") as store:
        yield store


def taken(folder: Path, store: Store) -> IntakeReport:
    return take_in(folder, store, today=TODAY)


def refusal_of(folder: Path, store: Store) -> InputError:
    """Return the error, having checked that it changed nothing and names nobody."""
    before = (store.trail(), sorted(store.home.rglob("*")))
    with pytest.raises(InputError) as caught:
        taken(folder, store)
    assert (store.trail(), sorted(store.home.rglob("*"))) == before
    for told in (caught.value, *getattr(caught.value, "others", ())):
        assert not {word for word in ("Ada", "Example", "1961-03", "SU-0417") if word in str(told)}
    return caught.value


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


# ---- whose it is --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"birthDate": "1961-03-05"}, "another birth date than the case file"),
        ({"birthDate": "1962"}, "another birth date than the case file"),
        ({"gender": "male"}, "another sex than the case file"),
        ({"gender": "male", "birthDate": "1962-01-01"}, "another birth date and another sex"),
    ],
)
def test_bundle_about_somebody_else(
    tmp_path: Path, inn: Store, change: dict[str, object], said: str
) -> None:
    text = bundle(PATIENT | change, result("3091-6", "30.0", "mg/dL"))
    error = refusal_of(case_folder(tmp_path / "in", fhir=text), inn)
    assert said in str(error)
    assert error.where == "results.json"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"birthDate": "1961-03"}, ()),
        ({"birthDate": ""}, ("results.json gives no birth date to compare with the case file.",)),
        ({"gender": "unknown"}, ("results.json gives no sex to compare with the case file.",)),
        (
            {"identifier": [{"value": "4711"}]},
            ("results.json carries another number for the person than the case file.",),
        ),
    ],
)
def test_bundle_that_says_less_is_questioned(
    tmp_path: Path, inn: Store, change: dict[str, object], said: tuple[str, ...]
) -> None:
    text = bundle(PATIENT | change, result("3091-6", "30.0", "mg/dL"))
    assert taken(case_folder(tmp_path / "in", fhir=text), inn).questions == said


def test_images_of_somebody_else(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in")
    write_series(folder / "ct", born=date(1971, 3, 4))
    error = refusal_of(folder, inn)
    assert str(error).startswith("images in 'ct': names a person of another birth date")
    accepting = CASE_TOML + "\n[images]\naccept_identity = true\n"
    (folder / "case.toml").write_text(accepting)
    report = taken(folder, inn)
    assert len(report.new_series) == 1
    assert "another birth date; the case file accepts that." in report.questions[0]


def test_accepting_images_does_not_accept_results(tmp_path: Path, inn: Store) -> None:
    text = bundle(PATIENT | {"gender": "male"}, result("3091-6", "30.0", "mg/dL"))
    accepting = CASE_TOML + "\n[images]\naccept_identity = true\n"
    error = refusal_of(case_folder(tmp_path / "in", case_toml=accepting, fhir=text), inn)
    assert "another sex" in str(error)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("1961-03-04", "1961-03-05", "on record with another birth date"),
        ('"female"', '"male"', "on record with another sex"),
        ("Ada Example", "Eva Other", "on record with another name"),
    ],
)
def test_reference_on_record_for_somebody_else(
    tmp_path: Path, inn: Store, old: str, new: str, said: str
) -> None:
    taken(case_folder(tmp_path / "in"), inn)
    folder = case_folder(tmp_path / "other", case_toml=CASE_TOML.replace(old, new))
    assert said in str(refusal_of(folder, inn))


# ---- marks and their images ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("end_mm = [8, 4, 2]", "end_mm = [-8, -4, 2]", "ureter-left lies outside its images (1 of"),
        ("umbilicus = [4, 3, 18]", "umbilicus = [4, 3, 180]", "umbilicus lies outside its images"),
        ("point_mm = [6, 2, 12]", "point_mm = [6, 20, 12]", "stoma-site 'left lower' lies outside"),
        ("at = 2026-03-02", 'at = 2026-03-02\nfolder = "mr"', "but no such images came along"),
    ],
)
def test_marks_that_miss_their_images(
    tmp_path: Path, inn: Store, old: str, new: str, said: str
) -> None:
    marks = MARKS_TOML.replace(old, new, 1)
    assert marks != MARKS_TOML
    folder = case_folder(tmp_path / "in", case_toml=CASE_TOML + marks, images=True)
    assert said in str(refusal_of(folder, inn))


def test_marks_dated_otherwise_than_their_images(tmp_path: Path, inn: Store) -> None:
    marks = MARKS_TOML.replace("at = 2026-03-02", "at = 2026-03-01")
    folder = case_folder(tmp_path / "in", case_toml=CASE_TOML + marks, images=True)
    assert taken(folder, inn).questions == (
        "The case file dates the marked images 2026-03-01, their files 2026-03-02.",
    )


def test_marks_without_images(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", case_toml=CASE_TOML + MARKS_TOML)
    assert "there are marks, but no such images" in str(refusal_of(folder, inn))


def test_marks_on_one_of_two_series(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", case_toml=CASE_TOML + MARKS_TOML, images=True)
    write_series(folder / "later", seed="second")
    assert "2 series (ct, later)" in str(refusal_of(folder, inn))
    named = MARKS_TOML.replace("[images]\n", '[images]\nfolder = "later"\n')
    (folder / "case.toml").write_text(CASE_TOML + named)
    case = inn.get_case(taken(folder, inn).case_id)
    mark, _ = case.mark("umbilicus")
    assert mark is not None
    assert mark.series_uid == survey(folder / "later").series_uid
    assert series_of(case, mark.series_uid).folder == "later"
    with pytest.raises(InputError, match="2 series are on record"):
        series_of(case)


def test_marks_may_lie_on_a_series_already_on_record(tmp_path: Path, inn: Store) -> None:
    first = case_folder(tmp_path / "in", case_toml=CASE_TOML + UNMARKED_IMAGES, images=True)
    case_id = taken(first, inn).case_id
    later = case_folder(tmp_path / "more", case_toml=CASE_TOML + MARKS_TOML)
    report = taken(later, inn)
    assert (report.case_id, report.new_series) == (case_id, ())
    (record,) = inn.get_case(case_id).images
    mark, _ = inn.get_case(case_id).mark("ureter-left")
    assert mark is not None
    assert mark.series_uid == record.series_uid
    outside = MARKS_TOML.replace("umbilicus = [4, 3, 18]", "umbilicus = [4, 3, 180]")
    wrong = case_folder(tmp_path / "wrong", case_toml=CASE_TOML + outside)
    assert "umbilicus lies outside its images" in str(refusal_of(wrong, inn))


# ---- series -------------------------------------------------------------------------------------


def test_one_series_in_two_folders(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    shutil.copytree(folder / "ct", folder / "copy")
    assert "'copy' and 'ct' hold the same series" in str(refusal_of(folder, inn))


def test_series_altered_since_it_was_taken_in(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    taken(folder, inn)
    path = sorted((folder / "ct").iterdir())[3]
    header = dcmread(path)
    header.ContentTime = "101010"
    header.save_as(path)
    assert "ct: the series is on record with other files" in str(refusal_of(folder, inn))


def test_series_without_uid_is_known_by_its_content(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    for path in (folder / "ct").iterdir():
        header = dcmread(path)
        del header.SeriesInstanceUID
        header.save_as(path)
    first = taken(folder, inn)
    assert first.new_series[0].series_uid.startswith("sha256:")
    assert taken(folder, inn).known_series == first.new_series


@pytest.mark.parametrize("after", [0, 7])
def test_full_disk_in_the_middle_of_copying(
    tmp_path: Path, inn: Store, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    folder = case_folder(tmp_path / "in", fhir=BUNDLE, images=True)
    calls, real = iter(range(1000)), os.fsync

    def full(handle: int) -> None:
        if next(calls) >= after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="nothing was changed: the disk is full; free some space"):
        taken(folder, inn)
    monkeypatch.undo()
    assert inn.list_cases() == ()
    assert [path for path in (inn.home / "images").rglob("*") if path.is_file()] == []
    assert taken(folder, inn).opened
    assert verify(inn) == []


def test_progress_is_told(tmp_path: Path, inn: Store) -> None:
    folder = case_folder(tmp_path / "in", images=True)
    told: list[tuple[str, int, int]] = []
    take_in(folder, inn, today=TODAY, progress=lambda *step: told.append(step))
    assert ("keeping images", 16, 16) in told
    assert ("hashing images", 16, 16) in told
