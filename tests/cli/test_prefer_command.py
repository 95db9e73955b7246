"""`thalweg prefer` asks, records with the audit trail, orders, and refuses what is no answer."""

from __future__ import annotations

from shutil import copytree
from typing import TYPE_CHECKING

import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import write_small_case

from thalweg.store import Store

if TYPE_CHECKING:
    from pathlib import Path

CASE = """\
[person]
reference = "SU-0418"
name = "Ben Sample"
born = 1950-01-02
sex = "male"

[course]
at = 2026-03-02
indication = "neurogenic bladder"
intent = "temporary"
kidneys-present = "both"
bladder-kept = true
obstruction = false
bowel-disease = false
short-bowel = false
bowel-irradiated = false
colon-usable = true
liver-failure = false
ureters-irradiated = false
dexterity = "full"
cognition-sufficient = true
accepts-catheterisation = false
fit-for-bowel-surgery = true
pelvis-dilated = true
bleeding-disorder = false
lower-abdominal-surgery = false

[preferences]
at = 2026-03-03
"no-bag/kidneys" = "first"
"no-bag/no-noise" = "second"
"""
DAY = ("--on", "2026-04-01")


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return a record with one small case, and the case's id."""
    folder = tmp_path_factory.mktemp("preferring")
    write_small_case(folder / "case", case_toml=CASE, images=False)
    ran = thalweg("intake", folder / "case", "--home", folder / "record", *DAY, "--json")
    (question,) = [one for one in ran.json["questions"] if "no-noise" in one]
    assert "is kept" in question
    return folder / "record", ran.json["case"]


@pytest.fixture
def home(taken: tuple[Path, str], tmp_path: Path) -> tuple[Path, str]:
    """Return a copy of the record, to be written into, and the case's id."""
    copytree(taken[0], tmp_path / "record")
    return tmp_path / "record", taken[1]


def test_an_answer_is_recorded_once_with_its_origin_and_the_trail_holds(
    home: tuple[Path, str],
) -> None:
    record, case_id = home
    given = "no-tube/can-be-undone=second"
    made = thalweg("prefer", case_id, "--answer", given, "--home", record, *DAY, "--json").json
    assert len(made["recorded"]) == 1
    answers = {one["key"]: one for one in made["answers"]}
    assert answers["no-tube/can-be-undone"]["answer"] == "second"
    assert answers["no-tube/can-be-undone"]["fact"]["origin"].startswith("the person: ")
    assert answers["no-bag/kidneys"]["fact"]["at"] == "2026-03-03"
    checked_findings(made["findings"])
    again = thalweg("prefer", case_id, "--answer", given, "--home", record, *DAY, "--json").json
    assert again["recorded"] == []
    assert again["order"] == made["order"]
    with Store(record) as store:
        assert [one.action for one in store.trail()].count("took in answers") == 1
    assert thalweg("verify", "--home", record).code == 0


def test_a_changed_mind_counts_and_the_earlier_answer_stays(home: tuple[Path, str]) -> None:
    record, case_id = home
    made = thalweg(
        "prefer", case_id, "--answer", "kidneys/no-bag=first", "--home", record, "--json"
    )
    (answer,) = [one for one in made.json["answers"] if one["key"] == "no-bag/kidneys"]
    assert answer["answer"] == "second"
    assert [one["value"] for one in answer["earlier"]] == ["first"]
    assert any("an earlier, different one (2026-03-03) is kept" in s for s in made.json["cautions"])
    before = thalweg("prefer", case_id, "--home", record, *DAY, "--json").json
    assert [one["answer"] for one in before["answers"]] == ["first"]


def test_at_the_keyboard_it_asks_orders_and_keeps_closed_ones_apart(home: tuple[Path, str]) -> None:
    record, case_id = home
    said = thalweg("prefer", case_id, "--home", record, *DAY)
    assert said.code == 0, said.err
    lines = said.out.splitlines()
    assert any(line.startswith("Next question: ") for line in lines)
    assert any(line.strip().startswith("1. ") for line in lines)
    assert "  x Continent cutaneous pouch: closed" in lines
    assert any("opens a closed option" in line for line in lines)
    assert "--answer" in said.out
    assert said.out.rstrip().endswith("local protocol.")


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("--answer", "no-bag"), "write it like no-bag/kidneys=first"),
        (("--answer", "no-bga/kidneys=first"), "choose no-bag"),
        (("--answer", "no-bag/kidneys=maybe"), "first or second or no difference or do not know"),
        (
            ("--answer", "no-bag/kidneys=first", "--answer", "kidneys/no-bag=first"),
            "answered twice",
        ),
        (("--answer", "no-bag/kidneys=first", "--on", "2190-01-01"), "day to come"),
        (("--answer", "no-bag/kidneys=first", "--on", "1940-01-01"), "before the person's birth"),
    ],
)
def test_what_is_no_answer_is_refused_and_nothing_recorded(
    home: tuple[Path, str], arguments: tuple[str, ...], part: str
) -> None:
    record, case_id = home
    with Store(record) as store:
        head = store.head()
    assert part in thalweg("prefer", case_id, *arguments, "--home", record).refusal("Sample")
    with Store(record) as store:
        assert store.head() == head


def test_a_case_that_is_not_there_is_refused(home: tuple[Path, str]) -> None:
    record, _ = home
    thalweg("prefer", "c-none", "--answer", "no-bag/kidneys=first", "--home", record).refusal()


def test_a_units_own_matters_are_asked(home: tuple[Path, str], tmp_path: Path) -> None:
    record, case_id = home
    own = tmp_path / "protocol"
    own.mkdir()
    own.joinpath("preferences.toml").write_text(
        '[attribute.no-noise]\nname = "no noise"\nlevels = [["quiet", "quiet"], ["loud", "loud"]]\n'
        'source = "Our clinic, 2026"\n',
        encoding="utf-8",
    )
    made = thalweg("prefer", case_id, "--protocol", own, "--home", record, *DAY, "--json").json
    assert "no-bag/no-noise" in {one["key"] for one in made["answers"]}
    assert any("Our clinic" in one["source"] for one in made["matters"])
    assert any("own protocol" in one for one in made["cautions"])
