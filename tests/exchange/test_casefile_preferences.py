"""Answers in a case file: read as the person's own, written back the same, refused in words."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest
from tests.support.casefolder import CASE_TOML, TODAY

from thalweg.errors import InputError
from thalweg.exchange.casefile import CaseFile, read_casefile, write_casefile
from thalweg.record.case import Person
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from pathlib import Path

PERSON = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
FROM = Origin("the person", "invented")


def read(path: Path, section: str) -> dict[str, Fact]:
    """Return the answers of a case file with this section, by question."""
    path.joinpath("case.toml").write_text(CASE_TOML + section, encoding="utf-8")
    facts = read_casefile(path / "case.toml", today=TODAY).facts
    return {fact.label: fact for fact in facts if fact.concept == "preference-answer"}


def test_answers_are_dated_facts_of_the_persons(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        '[preferences]\nat = 2026-03-05\n"no-bag/kidneys" = "second"\n'
        '"no-tube/unseen" = { value = "do not know", at = 2026-03-06 }\n',
    )
    assert {label: (one.value, one.at, one.unit) for label, one in found.items()} == {
        "no-bag/kidneys": ("second", date(2026, 3, 5), None),
        "no-tube/unseen": ("do not know", date(2026, 3, 6), None),
    }
    assert {one.origin.kind for one in found.values()} == {"the person"}
    assert found["no-bag/kidneys"].origin.place == "case.toml [preferences] no-bag/kidneys"


def test_what_is_written_reads_back_the_same(tmp_path: Path) -> None:
    facts = (
        Fact("preference-answer", "first", None, date(2026, 3, 5), FROM, label="no-bag/kidneys"),
        Fact(
            "preference-answer",
            "no difference",
            None,
            datetime(2026, 3, 5, 9, 30, tzinfo=UTC),
            FROM,
            label="no-tube/unseen",
        ),
    )
    write_casefile(tmp_path / "case.toml", CaseFile(PERSON, facts))
    back = read_casefile(tmp_path / "case.toml", today=TODAY).facts
    assert {fact.id for fact in back} == {fact.id for fact in facts}
    with pytest.raises(ValueError, match="one answer"):
        write_casefile(tmp_path / "two.toml", CaseFile(PERSON, (facts[0], facts[0])))


@pytest.mark.parametrize(
    ("section", "what"),
    [
        ('[preferences]\n"no-bag/kidneys" = "first"\n', "has no date"),
        ('[preferences]\nat = 2026-03-05\n"no-bag" = "first"\n', "does not name two things"),
        ('[preferences]\nat = 2026-03-05\n"a/b/c" = "first"\n', "does not name two things"),
        ('[preferences]\nat = 2026-03-05\n"a/b" = "frist"\n', "perhaps 'first' is meant"),
        ('[preferences]\nat = 2026-03-05\n"a/b" = 1\n', "is not a text"),
        ("preferences = 3\n", "is not a section"),
    ],
)
def test_a_section_of_another_form_is_refused(tmp_path: Path, section: str, what: str) -> None:
    text = section + CASE_TOML if section.startswith("pref") else CASE_TOML + section
    tmp_path.joinpath("case.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_casefile(tmp_path / "case.toml", today=TODAY)
    assert what in str(refused.value)


def test_an_answer_under_course_is_sent_to_its_section(tmp_path: Path) -> None:
    text = CASE_TOML.replace("bladder-kept", 'preference-answer = "first"\nbladder-kept')
    tmp_path.joinpath("case.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_casefile(tmp_path / "case.toml", today=TODAY)
    assert "[preferences]" in str(refused.value)
