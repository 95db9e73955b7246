"""The case file: what it says comes through, what it must not say is refused with a mend.

TOML itself is read by the standard library; the sentences are checked for where and how.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.casefolder import CASE_TOML, MARKS_TOML, TODAY

from thalweg.errors import InputError
from thalweg.exchange.casefile import CaseFile, read_casefile, write_casefile
from thalweg.exchange.reading import CollectedInputError
from thalweg.record.case import Person
from thalweg.record.fact import Fact, Mark, Origin

if TYPE_CHECKING:
    from pathlib import Path


def read_text(folder: Path, text: str) -> CaseFile:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return read_casefile(path, today=TODAY)


def test_every_kind_of_entry(tmp_path: Path) -> None:
    found = read_text(tmp_path, CASE_TOML)
    assert found.person == Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
    said = {fact.concept: (fact.value, fact.unit, fact.at) for fact in found.facts}
    assert said == {
        "indication": ("bladder cancer", None, date(2026, 3, 2)),
        "bladder-kept": (False, None, date(2026, 3, 2)),
        "weight": (Decimal("72.0"), "kg", date(2026, 3, 2)),
        "height": (Decimal(168), "cm", date(2026, 2, 27)),
        "operation-date": ("2026-04-20", None, date(2026, 3, 2)),
    }
    weight = next(fact for fact in found.facts if fact.concept == "weight")
    assert str(weight.value) == "72.0"
    assert str(weight.origin) == "case file: case.toml [course] weight"


def test_marks_become_facts(tmp_path: Path) -> None:
    found = read_text(tmp_path, CASE_TOML + MARKS_TOML)
    said = {(fact.concept, fact.label): fact.value for fact in found.facts}
    assert said["ureter-left", ""] == Mark(((10.0, 5.0, 30.0), (12.0, 6.0, 20.0), (8.0, 4.0, 2.0)))
    assert said["stoma-site", "left lower"] == Mark(((6.0, 2.0, 12.0),), normal=(0.0, -1.0, 0.0))
    assert said["site-wall", "left lower"] == Decimal(30)
    assert str(said["site-height", "left lower"]) == "10.0"
    assert said["obstacle", "aorta"] == Mark(((0.0, 40.0, 100.0), (0.0, 40.0, -60.0)), 10.0)
    assert said["umbilicus", ""] == Mark(((4.0, 3.0, 18.0),))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "Ada Example"\n', "", "[person]: 'name' is missing"),
        ("born = 1961-03-04", "born = 2026-04-02", "[person]: the birth date lies in the future"),
        ("born = 1961-03-04", "born = 1905-03-04", "more than 120 years back"),
        ("born = 1961-03-04", 'born = "1961-03-04"', "'born' is not a date"),
        ("born = 1961-03-04", "born = 1961-03-04T10:00:00Z", "'born' is not a plain date"),
        ('sex = "female"', 'sex = "F"', "unknown sex 'F'"),
        ('sex = "female"', 'gender = "female"', "unknown key 'gender'"),
        ('reference = "SU-0417"', "reference = 417", "'reference' is not a text"),
        ("at = 2026-03-02\n", "", "'indication' has no date; add at = "),
        ("at = 2026-03-02\n", "at = 2026-03-02T10:00:00\n", "a time but no time zone"),
        ("weight =", "wieght =", "unknown key 'wieght'; perhaps 'weight' is meant"),
        ('weight = "72.0 kg"', "weight = 72.0", "'weight' has no unit"),
        ('weight = "72.0 kg"', 'weight = "72.0"', "weight, '72.0': a number without a unit"),
        ('weight = "72.0 kg"', 'weight = "72.0 lb"', "'lb' is not a UCUM unit"),
        ('weight = "72.0 kg"', 'weight = "72.0 mm"', "body weight cannot be in mm"),
        ('weight = "72.0 kg"', 'weight = "7200 kg"', "body weight of 7200 kg is impossible"),
        ('weight = "72.0 kg"', 'weight = "1e999999 kg"', "out of all proportion"),
        ('"bladder cancer"', '"bladder cancr"', "perhaps 'bladder cancer' is meant"),
        ("bladder-kept = false", 'bladder-kept = "no"', "'bladder-kept' is yes or no"),
        ("bladder-kept = false", "bladder-kept = {}", "bladder-kept: 'value' is missing"),
        ("bladder-kept = false", "umbilicus = [0, 0, 0]", "'umbilicus' is a mark"),
        ("[course]", "[curse]", "unknown key 'curse'; perhaps 'course' is meant"),
        ("[course]", "[course", "is not valid TOML (at line 7"),
    ],
)
def test_refused_with_place_and_mend(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in CASE_TOML
    with pytest.raises(InputError) as caught:
        read_text(tmp_path, CASE_TOML.replace(old, new, 1))
    assert str(caught.value).startswith("case.toml")
    assert said in str(caught.value)
    assert "Ada" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("at = 2026-03-02\n", "", "without the date of their images"),
        ("[ureter.left]", "[ureter.middle]", "[ureter]: unknown key 'middle'"),
        ("end_mm = [8, 4, 2]", "", "[ureter.left]: 'end_mm' is missing"),
        ("end_mm = [8, 4, 2]", "end_mm = [8, 4]", "'end_mm' is not a point"),
        ("end_mm = [8, 4, 2]", "end_mm = [12, 6, 20]", "two successive points are the same"),
        ("end_mm = [8, 4, 2]", 'end_mm = [8, 4, "2"]', "'end_mm' is not a number"),
        ("end_mm = [8, 4, 2]", "end_mm = [8, 4, nan]", "no length within a room"),
        ("end_mm = [8, 4, 2]", "end_mm = [8, 4, 20000]", "no length within a room"),
        ("start_mm", "start", "unknown key 'start'; perhaps 'start_mm' is meant"),
        ('name = "left lower"\n', "", "[[site]] 1: 'name' is missing"),
        ("normal = [0, -1, 0]", "normal = [0, 0, 0]", "'normal' points nowhere"),
        ("wall_mm = 30", "wall_mm = 3000", "is impossible"),
        ("wall_mm", "wall", "perhaps 'wall_mm' is meant"),
        ("radius_mm = 10", "radius_mm = 0", "'radius_mm' is not above 0"),
        ('kind = "capsule"', 'kind = "mesh"', "unknown kind 'mesh'"),
        ('kind = "capsule"', 'kind = "sphere"', "unknown key 'from_mm'"),
        ("umbilicus", "umbilcus", "perhaps 'umbilicus' is meant"),
        ("[[obstacle]]", "[[site]]\nname = 'left lower'\n[[obstacle]]", "is used twice"),
        ("[[obstacle]]", "[obstacle]", "[[obstacle]]: is not a list of sections"),
    ],
)
def test_marks_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in MARKS_TOML
    with pytest.raises(InputError) as caught:
        read_text(tmp_path, CASE_TOML + MARKS_TOML.replace(old, new, 1))
    assert said in str(caught.value)


def test_every_problem_is_found_at_once(tmp_path: Path) -> None:
    text = CASE_TOML.replace("72.0 kg", "72.0").replace('"female"', '"f"').replace("168", "1680")
    with pytest.raises(CollectedInputError) as caught:
        read_text(tmp_path, text)
    assert len(caught.value.others) == 2
    sentence = str(caught.value)
    for part in ("72.0", "sex", "1680"):
        assert part in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("content", [b"\xff\xfe[", b"\x00", b"a = " + b"[" * 100_000])
def test_not_toml_at_all(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"case\.toml"):
        read_casefile(path, today=TODAY)


def test_unlikely_value_is_questioned_not_refused(tmp_path: Path) -> None:
    found = read_text(tmp_path, CASE_TOML.replace("72.0 kg", "250 kg"))
    weight = next(fact for fact in found.facts if fact.concept == "weight")
    assert weight.value == 250
    assert "unlikely" in weight.questions[0]


# ---- writing reads back ---------------------------------------------------------------------

DAY = date(2026, 3, 2)
coordinates = st.floats(-500, 500, allow_subnormal=False)
points = st.tuples(coordinates, coordinates, coordinates)
names = st.text(min_size=1, max_size=20).map(str.strip).filter(bool)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    name=names,
    label=names,
    ureter=st.lists(points, min_size=2, max_size=5, unique=True),
    radius=st.floats(0.1, 100),
    weight=st.decimals(40, 120, places=3),
)
def test_written_case_file_reads_back(
    tmp_path: Path,
    name: str,
    label: str,
    ureter: list[tuple[float, float, float]],
    radius: float,
    weight: Decimal,
) -> None:
    origin = Origin("by hand")
    facts = (
        Fact("weight", weight, "kg", DAY, origin),
        Fact("indication", "neurogenic bladder", None, DAY, origin),
        Fact("helper-at-home", True, None, DAY, origin),
        Fact("ureter-right", Mark(tuple(ureter)), "mm", DAY, origin),
        Fact("stoma-site", Mark((ureter[0],), normal=(0.0, -1.0, 0.5)), "mm", DAY, origin, label),
        Fact("site-wall", Decimal("31.50"), "mm", DAY, origin, label),
        Fact("obstacle", Mark((ureter[0], ureter[1]), radius), "mm", DAY, origin, label),
        Fact("lower-pole-left", Mark((ureter[1],)), "mm", DAY, origin),
    )
    person = Person("R-1", name, date(1950, 1, 31), "male")
    content = CaseFile(person, facts, images_folder="ct", accept_identity=True)
    path = tmp_path / "case.toml"
    write_casefile(path, content)
    found = read_casefile(path, today=TODAY)
    assert found.person == person
    assert {fact.id for fact in found.facts} == {fact.id for fact in facts}
    assert (found.images_folder, found.accept_identity) == ("ct", True)


def test_a_course_placed_by_hand_comes_back_as_one(tmp_path: Path) -> None:
    course = Mark(((1.5, 2.0, 90.0), (2.0, 3.0, 40.0), (4.0, 1.0, -20.0)))
    fact = Fact("ureter-course-right", course, "mm", DAY, Origin("by hand"))
    path = tmp_path / "case.toml"
    person = Person("R-1", "A", date(1950, 1, 31), "male")
    write_casefile(path, CaseFile(person, (fact,)))
    assert [found.id for found in read_casefile(path, today=TODAY).facts] == [fact.id]
    ends = "start_mm = [1.5, 2, 90]\nvia_mm = [[2, 3, 40]]\nend_mm = [4, 1, -20]"
    lines = path.read_text(encoding="utf-8").splitlines()
    text = "\n".join(ends if line.startswith("points_mm") else line for line in lines)
    assert [found.id for found in read_text(tmp_path, text).facts] == [fact.id]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('second = ""', "'second' is not a text"),
        ("second = 2", "'second' is not a text"),
        ("second_points_mm = [[1, 2, 3], [4, 5, 6]]", "but not the series it lies on; add second"),
        ('second = "b"\nsecond_points_mm = [[1, 2, 3]]', "has fewer than 2 points"),
        ('second = "b"\nsecond_points_mm = [[1, 2, 3], [1, 2, 3]]', "'second_points_mm' are the"),
        ('second = "b"\nsecond_points_mm = "c"', "'second_points_mm' is not a list of points"),
        ('seconds = "b"', "unknown key 'seconds'; perhaps 'second' is meant"),
    ],
)
def test_second_phase_refused(tmp_path: Path, lines: str, said: str) -> None:
    end = "end_mm = [8, 4, 2]"
    with pytest.raises(InputError) as caught:
        read_text(tmp_path, CASE_TOML + MARKS_TOML.replace(end, f"{end}\n{lines}"))
    assert said in str(caught.value)
    assert "[ureter.left]" in str(caught.value)


@pytest.mark.parametrize("key", ["ureter-left", "ureter-course-left"])
@pytest.mark.parametrize("own", [True, False])
def test_a_second_phase_comes_back(tmp_path: Path, key: str, own: bool) -> None:
    start, via, end = (1.5, 2.0, 90.0), (2.0, 3.0, 40.0), (4.0, 1.0, -20.0)
    # Unless it has points of its own: all that were to be traced, of a course by hand its ends.
    shared = (start, via, end) if key == "ureter-left" else (start, end)
    points = ((1.0, 2.5, 88.0), (4.0, 1.0, -21.0)) if own else shared
    origin = Origin("by hand")
    facts = (
        Fact(key, Mark((start, via, end)), "mm", DAY, origin),
        Fact("ureter-left-second", Mark(points, series_uid="late, 5 min"), "mm", DAY, origin),
    )
    path = tmp_path / "case.toml"
    write_casefile(path, CaseFile(Person("R-1", "A", date(1950, 1, 31), "male"), facts))
    found = read_casefile(path, today=TODAY)
    assert [fact.id for fact in found.facts] == [fact.id for fact in facts]
    assert ("second_points_mm" in path.read_text(encoding="utf-8")) is own


def test_marks_of_different_dates_have_no_case_file(tmp_path: Path) -> None:
    mark = Fact("umbilicus", Mark(((0.0, 0.0, 0.0),)), "mm", DAY, Origin("by hand"))
    person = Person("R-1", "A", date(1950, 1, 31), "male")
    later = replace(mark, concept="conduit-base", at=date(2026, 3, 9))
    with pytest.raises(ValueError, match="one date"):
        write_casefile(tmp_path / "case.toml", CaseFile(person, (mark, later)))
