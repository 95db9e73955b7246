"""What a plan still wants, when images were taken, and for which diversion a calendar is laid."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from tests.support.commands import thalweg
from tests.support.smallcase import SECRETS

from thalweg.record.case import Case, ImageRecord, Person
from thalweg.record.fact import Fact, FactValue, Mark, Origin
from thalweg.service.caseload import lacking
from thalweg.service.following import chosen_diversion
from thalweg.service.tracing import acquired_on

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

DAY = date(2026, 3, 2)
PERSON = Person("SU-0419", "Cleo Sample", date(1970, 5, 6), "female")
ORIGIN = Origin("case file", "invented")
POINT = Mark(((0.0, 0.0, 0.0), (0.0, 0.0, -9.0)))
IMAGES = ImageRecord("2.25.1", "CT", "2026-03-02", ("a" * 64,), "ct", phantom=True)


def fact(key: str, value: FactValue, *, at: date = DAY, label: str = "") -> Fact:
    return Fact(key, value, "mm" if isinstance(value, Mark) else None, at, ORIGIN, label=label)


def case(*facts: Fact, images: tuple[ImageRecord, ...] = ()) -> Case:
    return Case("aaaa-bbbb", PERSON, facts, images)


def test_nothing_is_known_of_a_new_case() -> None:
    lacks = lacking(case())
    assert len(lacks) == 8
    assert lacks[-1] == "images"


def test_a_solitary_kidney_wants_only_its_own_side() -> None:
    kept = (
        fact("kidneys-present", "right only"),
        fact("indication", "bladder cancer"),
        fact("ureter-right", POINT),
        fact("lower-pole-right", POINT),
        fact("stoma-site", POINT, label="right lower"),
    )
    (only,) = lacking(case(*kept, images=(IMAGES,)))
    assert only.startswith("creatinine")


def test_what_comes_later_is_not_known_before() -> None:
    later = fact("indication", "bladder cancer", at=date(2026, 3, 3))
    assert case(later).known_on(DAY).facts == ()
    assert case(later).known_on(date(2026, 3, 3)).facts == (later,)


@pytest.mark.parametrize(
    ("text", "at", "cautions"),
    [
        ("2026-03-02", DAY, 0),
        (
            "2026-03-02T09:40:00+01:00",
            datetime(2026, 3, 2, 9, 40, tzinfo=timezone(timedelta(hours=1))),
            0,
        ),
        # DICOM PS3.3 C.12.1.1.2: without Timezone Offset From UTC a time has no zone.
        ("2026-03-02T09:40:00", DAY, 0),
        ("", date(2026, 4, 1), 1),
    ],
)
def test_when_images_were_taken(text: str, at: date, cautions: int) -> None:
    moment, said = acquired_on(text, date(2026, 4, 1))
    assert moment == at
    assert len(said) == cautions


def test_a_calendar_follows_the_record() -> None:
    key, reason = chosen_diversion(case(fact("planned-diversion", "ileal-conduit")))
    assert key == "ileal-conduit"
    assert "as the record says" in reason
    assert chosen_diversion(case()) == (None, "No diversion is on record as made or meant.")


def test_the_home_may_stand_in_the_environment(
    small_once: OnRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("THALWEG_HOME", str(small_once.home))
    (row,) = thalweg("cases", "--on", small_once.day, "--json").json["cases"]
    assert row["id"] == small_once.case_id


@pytest.mark.parametrize("command", ["case", "kidney", "appraise", "plan", "calendar"])
def test_a_day_before_the_person_s_birth(
    small_once: OnRecord, tmp_path: Path, command: str
) -> None:
    where = ("--home", small_once.home, "--on", "1949-12-31")
    out = ("--out", tmp_path) if command == "plan" else ()
    line = thalweg(command, small_once.case_id, *where, *out).refusal(*SECRETS)
    assert "before the person's birth; give a later day" in line
    assert list(tmp_path.iterdir()) == []
