"""Renograms in the case file: every word becomes a dated fact, reads back, or is refused."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.casefolder import CASE_TOML, TODAY

from thalweg.exchange.casefile import CaseFile, read_casefile, write_casefile
from thalweg.exchange.casefile.renograms import REGIONS, is_of_renogram
from thalweg.exchange.reading import CollectedInputError
from thalweg.record.case import Person
from thalweg.record.fact import Fact, Origin, PixelMark
from thalweg.record.renogram import ROLES

if TYPE_CHECKING:
    from pathlib import Path

RENOGRAM_TOML = """
[[renogram]]
file = "mag3.dcm"
at = 2026-02-20
furosemide = "20 min"
given = "30 s"
emptied = "45 min"
left_at = "left"
view = "posterior"
detector = 2
energy_window = 1
drained = true
hydrated = false
reflux = false
both_diseased = false
[renogram.regions_px]
left = [[40, 60], [55, 60], [55, 90], [40.5, 90]]
right = [[75, 60], [90, 60], [90, 90]]
left-background = [[30, 60], [38, 60], [38, 90]]
"""


def renogram_facts(folder: Path, text: str) -> list[Fact]:
    """Return the facts of renograms that a case file states."""
    path = folder / "case.toml"
    path.write_text(CASE_TOML + text, encoding="utf-8")
    return [fact for fact in read_casefile(path, today=TODAY).facts if is_of_renogram(fact)]


def test_every_word_becomes_a_fact(tmp_path: Path) -> None:
    facts = renogram_facts(tmp_path, RENOGRAM_TOML)
    assert {fact.label for fact in facts} == {"mag3.dcm"}
    assert {fact.at for fact in facts} == {date(2026, 2, 20)}
    said = {fact.concept: (fact.value, fact.unit) for fact in facts}
    assert said == {
        "renogram": ("mag3.dcm", None),
        "renogram-furosemide": (Decimal(20), "min"),
        "renogram-given": (Decimal(30), "s"),
        "renogram-emptied": (Decimal(45), "min"),
        "renogram-left-at": ("left", None),
        "renogram-view": ("posterior", None),
        "renogram-detector": ("2", None),
        "renogram-energy-window": ("1", None),
        "renogram-drained": (True, None),
        "renogram-hydrated": (False, None),
        "renogram-reflux": (False, None),
        "renogram-both-diseased": (False, None),
        "renogram-region-left": (
            PixelMark(((40.0, 60.0), (55.0, 60.0), (55.0, 90.0), (40.5, 90.0)), "mag3.dcm"),
            None,
        ),
        "renogram-region-right": (
            PixelMark(((75.0, 60.0), (90.0, 60.0), (90.0, 90.0)), "mag3.dcm"),
            None,
        ),
        "renogram-region-left-background": (
            PixelMark(((30.0, 60.0), (38.0, 60.0), (38.0, 90.0)), "mag3.dcm"),
            None,
        ),
    }
    assert str(facts[0].origin) == "case file: case.toml [[renogram]] 1"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('file = "mag3.dcm"\n', "", "'file' is missing"),
        ('file = "mag3.dcm"', 'file = "../mag3.dcm"', "not a plain name"),
        ("at = 2026-02-20\n", "", "'at' is missing"),
        ('furosemide = "20 min"', "furosemide = 20", "'furosemide' has no unit"),
        ('furosemide = "20 min"', 'furosemide = "20"', "a number without a unit"),
        ('furosemide = "20 min"', 'furosemide = "20 mg/L"', "cannot be in mg/L"),
        ('furosemide = "20 min"', 'furosemide = "20 h"', "cannot be in h"),
        ('furosemide = "20 min"', 'furosemide = "2000 min"', "is impossible"),
        ('given = "30 s"', 'given = "-30 s"', "is impossible"),
        ('left_at = "left"', 'left_at = "above"', "'left_at' cannot be 'above'"),
        ('view = "posterior"', 'view = "lateral"', "'view' cannot be 'lateral'"),
        ("detector = 2", "detector = 0", "'detector' is not a number from 1"),
        ("detector = 2", "detector = true", "'detector' is not a number from 1"),
        ("drained = true", 'drained = "yes"', "'drained' is yes or no"),
        ("drained = true", "drainde = true", "perhaps 'drained' is meant"),
        ("left = [[40", "liver = [[40", "unknown region 'liver'"),
        ("right = [[75, 60], [90, 60], [90, 90]]", "right = [[75, 60], [90, 60]]", "fewer than 3"),
        ("right = [[75, 60]", "right = [[75]", "no place"),
        ("[[renogram]]", "[renogram]", "is not a list of sections"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    text = RENOGRAM_TOML.replace(old, new)
    assert text != RENOGRAM_TOML
    with pytest.raises(CollectedInputError) as refused:
        renogram_facts(tmp_path, text)
    assert said in str(refused.value)
    assert "renogram]]" in str(refused.value)


def test_the_same_file_twice_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CollectedInputError, match="given before"):
        renogram_facts(tmp_path, RENOGRAM_TOML + RENOGRAM_TOML)


COORDINATES = st.floats(-1e4, 1e4, allow_nan=False)
CORNERS = st.lists(st.tuples(COORDINATES, COORDINATES), min_size=3, max_size=5).map(tuple)
SAID = st.fixed_dictionaries(
    {},
    optional={
        "renogram-furosemide": st.decimals(-120, 240, places=3).map(lambda value: (value, "min")),
        "renogram-given": st.decimals(0, 3600, places=1).map(lambda value: (value, "s")),
        "renogram-emptied": st.decimals(0, 300, places=2).map(lambda value: (value, "min")),
        "renogram-left-at": st.sampled_from(["left", "right"]).map(lambda word: (word, None)),
        "renogram-view": st.sampled_from(["posterior", "anterior", "geometric mean"]).map(
            lambda word: (word, None)
        ),
        "renogram-detector": st.sampled_from("12").map(lambda word: (word, None)),
        "renogram-energy-window": st.sampled_from("123").map(lambda word: (word, None)),
        "renogram-drained": st.booleans().map(lambda word: (word, None)),
        "renogram-hydrated": st.booleans().map(lambda word: (word, None)),
        "renogram-reflux": st.booleans().map(lambda word: (word, None)),
        "renogram-both-diseased": st.booleans().map(lambda word: (word, None)),
    },
)
STUDIES = st.tuples(
    st.one_of(
        st.dates(date(2000, 1, 1), TODAY),
        st.datetimes(datetime(2000, 1, 1), datetime(2026, 1, 1), timezones=st.just(UTC)).map(  # noqa: DTZ001
            lambda at: at.replace(microsecond=0)
        ),
    ),
    SAID,
    st.dictionaries(st.sampled_from(ROLES), CORNERS, max_size=4),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(STUDIES, max_size=3))
def test_what_is_written_reads_back_as_the_same_facts(
    tmp_path: Path, studies: list[tuple[date, dict[str, tuple[object, str | None]], object]]
) -> None:
    origin, facts = Origin("case file"), []
    for number, (at, said, regions) in enumerate(studies):
        name = f'study "{number}" ü.dcm'
        facts.append(Fact("renogram", name, None, at, origin, name))
        facts += [
            Fact(key, value, unit, at, origin, name)  # type: ignore[arg-type]
            for key, (value, unit) in said.items()
        ]
        assert isinstance(regions, dict)
        facts += [
            Fact(REGIONS[role], PixelMark(corners, name), None, at, origin, name)
            for role, corners in regions.items()
        ]
    person = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
    path = tmp_path / "case.toml"
    write_casefile(path, CaseFile(person, tuple(facts)))
    back = read_casefile(path, today=TODAY)
    assert {fact.id for fact in back.facts} == {fact.id for fact in facts}
    assert len(back.facts) == len(facts)
