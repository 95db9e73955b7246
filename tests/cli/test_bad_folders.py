"""Folders that cannot be taken in: the sentence says what, where and the mend; nothing changes."""

from __future__ import annotations

import errno
import os
import shutil
from typing import TYPE_CHECKING

import pytest
from pydicom import dcmread
from pydicom.uid import EncapsulatedPDFStorage
from tests.support.casefolder import bundle, result
from tests.support.commands import Ran, thalweg
from tests.support.smallcase import (
    CASE_TOML,
    DAY,
    LABS_CSV,
    MARKS_TOML,
    SECRETS,
    write_small_case,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.conftest import OnRecord

PATIENT: dict[str, object] = {
    "resourceType": "Patient",
    "id": "p1",
    "identifier": [{"value": "SU-0418"}],
    "gender": "male",
    "birthDate": "1950-01-02",
}


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a store with no case, to be copied."""
    home = tmp_path_factory.mktemp("empty") / "home"
    assert thalweg("verify", "--home", home).code == 0
    return home


@pytest.fixture
def home(tmp_path: Path, empty_home: Path) -> Path:
    """Return an empty store of this test's own."""
    shutil.copytree(empty_home, tmp_path / "home")
    return tmp_path / "home"


def intake(folder: Path, home: Path, *more: str) -> Ran:
    """Take a folder in."""
    return thalweg("intake", folder, "--home", home, "--on", DAY.isoformat(), *more)


def state(home: Path) -> tuple[object, list[tuple[str, int]]]:
    """Return the audit trail's head, and every file with its size."""
    files = [
        (str(path.relative_to(home)), path.stat().st_size)
        for path in sorted(home.rglob("*"))
        if path.is_file() and "-wal" not in path.name and "-shm" not in path.name
    ]
    return thalweg("verify", "--home", home, "--json").json, files


def refused(folder: Path, home: Path) -> str:
    """Return the sentence a folder is refused with, having checked that nothing changed."""
    before = state(home)
    line = intake(folder, home).refusal(*SECRETS)
    assert state(home) == before
    return line


def slices(folder: Path) -> list[Path]:
    """Return the files of the small case's series."""
    return sorted((folder / "ct").iterdir())


def lacking_case_file(folder: Path) -> None:
    folder.joinpath("case.toml").unlink()


def truncated(folder: Path) -> None:
    path = slices(folder)[5]
    path.write_bytes(path.read_bytes()[:-900])


def not_an_image(folder: Path) -> None:
    path, *others = slices(folder)
    for other in others:
        other.unlink()
    header = dcmread(path)
    header.file_meta.MediaStorageSOPClassUID = header.SOPClassUID = EncapsulatedPDFStorage
    for keyword in ("PixelData", "Rows", "Columns"):
        delattr(header, keyword)
    header.save_as(path)


def mixed(folder: Path) -> None:
    for path in slices(folder)[::2]:
        header = dcmread(path)
        header.SeriesInstanceUID = "2.25.4711"
        header.save_as(path)


def with_a_hole(folder: Path) -> None:
    for path in slices(folder)[20:23]:
        path.unlink()


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the small case folder, to be copied and spoiled."""
    return write_small_case(tmp_path_factory.mktemp("whole") / "in")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lacking_case_file, ("holds no case.toml", "[person]")),
        (truncated, ("/ct/", "is cut short", "copy the folder again")),
        (not_an_image, ("/ct: holds no images", "give the folder of the CT slices")),
        (mixed, ("/ct: ", "2 series", "give each its own folder")),
        (with_a_hole, ("/ct: lacks 3 plane(s)", "export the complete series")),
    ],
)
def test_spoiled_images(
    tmp_path: Path, home: Path, whole: Path, spoil: Callable[[Path], None], said: tuple[str, ...]
) -> None:
    folder = tmp_path / "in"
    shutil.copytree(whole, folder)
    spoil(folder)
    line = refused(folder, home)
    assert all(part in line for part in said), line


def of_case(old: str, new: str) -> Callable[[Path], Path]:
    assert old in CASE_TOML
    text = CASE_TOML.replace(old, new)
    return lambda folder: write_small_case(folder, case_toml=text, images=False)


def of_labs(old: str, new: str) -> Callable[[Path], Path]:
    assert old in LABS_CSV
    text = LABS_CSV.replace(old, new)
    return lambda folder: write_small_case(folder, labs=text, images=False)


def of_fhir(code: str, value: str, unit: str) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        write_small_case(folder, images=False)
        text = bundle(PATIENT, result(code, value, unit))
        folder.joinpath("results.json").write_text(text, encoding="utf-8")
        return folder

    return write


@pytest.mark.parametrize(
    ("write", "said"),
    [
        (of_fhir("2160-0", "1.1", "mg per dl"), ("results.json", "mg per dl")),
        (of_fhir("2160-0", "1.1", "kg"), ("results.json", "kg")),
        (of_labs("4.5,", "45,"), ("labs.csv", "potassium", "45", "4.5")),
        (of_labs("µmol/L", "mg/dL"), ("labs.csv", "creatinine", "106", "µmol/L")),
        (of_labs("mmol/L", ""), ("labs.csv", "unit")),
        (of_labs("2026-03-01T08:30+01:00\ncyst", "2026-05-01\ncyst"), ("labs.csv", "future")),
        (of_case("1950-01-02", "2031-01-02"), ("case.toml", "born")),
        (of_case('"male"', '"m"'), ("case.toml", "sex", "male")),
        (of_case("cutaneous-single", "bag"), ("case.toml", "planned-diversion", "bag")),
        (of_case("indication =", "indicaton ="), ("case.toml", "indicaton")),
        (of_case("[course]", "[course"), ("case.toml",)),
    ],
)
def test_spoiled_facts(
    tmp_path: Path, home: Path, write: Callable[[Path], Path], said: tuple[str, ...]
) -> None:
    line = refused(write(tmp_path / "in"), home)
    assert all(part in line for part in said), line
    assert ";" in line  # what is wrong; what would mend it


def test_marks_outside_the_images(tmp_path: Path, home: Path, whole: Path) -> None:
    folder = tmp_path / "in"
    shutil.copytree(whole, folder)
    text = CASE_TOML + MARKS_TOML.replace("end_mm = [28.8, 0, -69]", "end_mm = [28.8, 0, -269]")
    folder.joinpath("case.toml").write_text(text, encoding="utf-8")
    line = refused(folder, home)
    assert "ureter-left lies outside its images (1 of 2 points)" in line
    assert "LPS" in line


def test_a_full_disk_in_the_middle(
    tmp_path: Path, home: Path, whole: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, calls, real = state(home), iter(range(10_000)), os.fsync

    def full(handle: int) -> None:
        if next(calls) >= 9:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        line = intake(whole, home).refusal(*SECRETS)
    assert "the disk is full" in line
    assert "nothing was changed" in line
    assert state(home) == before
    assert intake(whole, home, "--json").json["opened"]


def test_two_values_at_one_time_leave_the_rate_not_known(tmp_path: Path, home: Path) -> None:
    labs = LABS_CSV + "creatinine,141,µmol/L,2026-03-01T08:30+01:00\n"
    labs = labs.replace("cystatin-c,0.9,mg/L,2026-03-01T08:30+01:00\n", "")
    folder = write_small_case(tmp_path / "in", labs=labs, images=False)
    report = intake(folder, home, "--json").json
    (conflict,) = report["conflicts"]
    assert "106.08 µmol/L" in conflict
    assert "141 µmol/L" in conflict
    where = ("--home", home, "--on", DAY.isoformat(), "--json")
    course = thalweg("case", report["case"], *where).json
    both = [fact["value"] for fact in course["facts"] if fact["concept"] == "creatinine"]
    assert sorted(map(str, both)) == ["106.08", "141"]
    assert any("106.08" in sentence for sentence in course["conflicts"])
    found = thalweg("kidney", report["case"], *where).json["findings"]
    rate = next(finding for finding in found if finding["name"] == "gfr-to-rely-on")
    assert rate["value"] is None
    assert any("106.08" in caution and "141" in caution for caution in rate["cautions"])


def test_ends_on_air(tmp_path: Path, home: Path, whole: Path) -> None:
    folder = tmp_path / "in"
    shutil.copytree(whole, folder)
    text = CASE_TOML + MARKS_TOML.replace("start_mm = [28.8, 0, 49]", "start_mm = [-70, -50, 49]")
    folder.joinpath("case.toml").write_text(text, encoding="utf-8")
    case_id = intake(folder, home, "--json").json["case"]
    where = ("--home", home, "--on", DAY.isoformat(), "--json")
    planned = thalweg("plan", case_id, *where, "--out", tmp_path / "out").json
    (untraced, unreached) = planned["problems"]
    assert untraced.startswith("The left ureter was not traced: start")
    assert unreached.startswith("Reach was not computed")
    page = tmp_path.joinpath("out", f"plan-{case_id}.html").read_text(encoding="utf-8")
    assert "The left ureter was not traced" in page
    assert tmp_path.joinpath("out", f"plan-{case_id}.pdf").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("start", "said"),
    [
        ("-70,-50,49", "start"),
        ("900,0,0", "start"),
        ("28.8,0", "--start"),
        ("28.8,0,nan", "--start"),
        ("here", "--start"),
    ],
)
def test_trace_between_points_that_cannot_be(whole: Path, start: str, said: str) -> None:
    ran = thalweg("trace", whole / "ct", "--start", start, "--end", "28.8,0,-69", "--json")
    line = ran.refusal(*SECRETS)
    assert said in line
    assert ";" in line


def test_trace_without_images(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "nowhere"):
        ran = thalweg("trace", folder, "--start", "0,0,0", "--end", "0,0,-50")
        assert str(folder) in ran.refusal()


def test_even_aloud_a_refusal_is_one_line(whole: Path) -> None:
    ran = thalweg("trace", whole / "ct", "--start", "-70,-50,49", "--end", "28.8,0,-69")
    assert (ran.code, ran.out, len(ran.err.splitlines())) == (2, "", 1)


def test_steps_are_told_where_the_output_is_a_report(
    tmp_path: Path, home: Path, whole: Path
) -> None:
    folder = tmp_path / "in"
    shutil.copytree(whole, folder)
    with_a_hole(folder)
    ran = intake(folder, home)
    assert ran.out == "reading headers …\n"
    assert len(ran.err.splitlines()) == 1


def test_demo_keeps_off_other_people_s_files(tmp_path: Path) -> None:
    mine = tmp_path / "letters"
    mine.mkdir()
    mine.joinpath("letter.txt").write_text("dear", encoding="utf-8")
    line = thalweg("demo", "--out", mine).refusal()
    assert "holds files that are not of a demonstration" in line
    assert [path.name for path in mine.iterdir()] == ["letter.txt"]
    assert mine.joinpath("letter.txt").read_text(encoding="utf-8") == "dear"


def test_demo_where_no_folder_can_be(tmp_path: Path) -> None:
    tmp_path.joinpath("file").touch()
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        assert str(out) in thalweg("demo", "--out", out).refusal()


def test_a_case_on_record_is_not_touched_by_a_bad_folder(small: OnRecord, tmp_path: Path) -> None:
    bad = write_small_case(tmp_path / "bad", labs=LABS_CSV.replace("4.5,", "45,"), images=False)
    assert "potassium" in refused(bad, small.home)
