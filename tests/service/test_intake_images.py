"""Taking images and marks in: whose they are, where they lie, and what changed since."""

from __future__ import annotations

import errno
import os
import shutil
from datetime import date
from typing import TYPE_CHECKING

import pytest
from pydicom import dcmread
from tests.support.casefolder import (
    CASE_TOML,
    MARKS_TOML,
    PATIENT,
    TODAY,
    bundle,
    case_folder,
    result,
    write_series,
)
from tests.support.taking_in import BUNDLE, UNMARKED_IMAGES, refusal_of, taken

from thalweg.errors import InputError
from thalweg.exchange.dicom import survey
from thalweg.service.intake import take_in
from thalweg.service.library import series_of
from thalweg.store import Store, verify

if TYPE_CHECKING:
    from pathlib import Path


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
