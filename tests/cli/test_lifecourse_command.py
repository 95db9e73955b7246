"""`thalweg lifecourse` on a small case, through the real command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg

if TYPE_CHECKING:
    from pathlib import Path

CASE = """\
[person]
reference = "LC-7"
name = "Ann Sample"
born = 1956-05-06
sex = "female"

[course]
at = 2026-03-02
indication = "bladder cancer"
bladder-kept = false
"""
LABS = "test,value,unit,taken\ncreatinine,1.1,mg/dL,2026-03-01\n"
ON = ("--on", "2026-04-01")


def taken_in(folder: Path, home: Path, more: str) -> str:
    folder.mkdir()
    (folder / "case.toml").write_text(CASE + more, encoding="utf-8")
    (folder / "labs.csv").write_text(LABS, encoding="utf-8")
    thalweg("intake", folder, "--home", home)
    (case,) = thalweg("cases", "--home", home, "--json").json["cases"]
    return str(case["id"])


@pytest.fixture(scope="module")
def followed(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path, Any]:
    base = tmp_path_factory.mktemp("lives")
    home = base / "home"
    more = 'kidneys-present = "both"\nbladder-cancer-spread = "localised"\n'
    case = taken_in(base / "folder", home, more)
    ran = thalweg(
        "lifecourse", case, "--home", home, *ON, "--lives", 4000,
        "--compare", "ileal-conduit,neobladder", "--json",
    )  # fmt: skip
    return case, home, ran.json


def options(answer: Any) -> dict[str, dict[str, Any]]:
    return {
        row["key"]: {figure["key"]: figure for figure in row["figures"]}
        for row in answer["options"]
    }


def test_every_finding_is_whole(followed: tuple[str, Path, Any]) -> None:
    found = checked_findings(followed[2]["findings"])
    alive = found["life-course-ileal-conduit-survival-5-years"]
    assert alive["unit"] == "%"
    assert 0 < alive["interval"][0] < alive["value"] < alive["interval"][1] < 100
    assert "seer-bladder" not in alive["name"]
    assert any("not a prophecy" in text for text in alive["cautions"])


def test_cancer_on_record_shortens_lives_and_is_said(
    followed: tuple[str, Path, Any], tmp_path: Path
) -> None:
    """Relative survival 71 % at 5 years (SEER): the table's survival times that, near enough."""
    case = taken_in(tmp_path / "folder", tmp_path / "home", 'kidneys-present = "both"\n')
    answer = thalweg(
        "lifecourse", case, "--home", tmp_path / "home", *ON, "--lives", 4000,
        "--compare", "ileal-conduit,neobladder", "--json",
    ).json  # fmt: skip
    assert any("NOT in it" in text for text in answer["cautions"])
    rows = [
        options(each)["ileal-conduit"]["survival"]["at"][1]["value"]
        for each in (followed[2], answer)
    ]
    assert rows[0] / rows[1] == pytest.approx(0.71, abs=0.05)


def test_what_is_not_known_is_null_with_the_reason(followed: tuple[str, Path, Any]) -> None:
    lost = options(followed[2])["ileal-conduit"]["lost-unit"]
    assert all(row["value"] is None for row in lost["at"])
    assert any("how often a kidney is lost" in text for text in lost["says"])


def test_whole_people_add_up(followed: tuple[str, Path, Any]) -> None:
    for option in followed[2]["options"]:
        for states in option["states_of_100"]:
            if states is not None:
                assert sum(states.values()) == 100


def test_two_are_compared_only_where_counted_alike(followed: tuple[str, Path, Any]) -> None:
    figures = {one["key"]: one for one in followed[2]["comparison"]["figures"]}
    assert "different parts" in figures["operations"]["not_comparable"]
    # Both rest on the same series of early deaths and meet the same chance.
    assert figures["survival"]["at"][1]["difference"] == 0.0


def test_people_read_the_same(followed: tuple[str, Path, Any]) -> None:
    case, home, _ = followed
    ran = thalweg(
        "lifecourse", case, "--home", home, *ON, "--lives", 4000, "--years", "2",
        "--compare", "ileal-conduit,cutaneous-bilateral",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    assert "2 years" in ran.out
    assert "not known" in ran.out
    assert "not comparable" in ran.out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--years", "soon"), "are no years"),
        (("--years", "0"), "between 0 and 100 years"),
        (("--lives", "5"), "5 lives cannot be simulated"),
        (("--seed", "-3"), "negative"),
        (("--compare", "ileal-conduit"), "does not name two diversions"),
        (("--compare", "ileal-conduit,none"), "not a diversion of the catalogue"),
        (("--compare", "neobladder,neobladder"), "compared with itself"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(
    followed: tuple[str, Path, Any], arguments: tuple[str, ...], says: str
) -> None:
    case, home, _ = followed
    assert says in thalweg("lifecourse", case, "--home", home, *ON, *arguments).refusal(
        "Ann", "LC-7"
    )


def test_without_kidneys_on_record_there_is_no_life_course(tmp_path: Path) -> None:
    case = taken_in(tmp_path / "folder", tmp_path / "home", "")
    ran = thalweg("lifecourse", case, "--home", tmp_path / "home", *ON)
    assert "record kidneys-present" in ran.refusal("Ann", "LC-7")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[amount.nights-infection]\nlow = 3\nhigh = 5\nunit = "d"\n', "names no source"),
        ('[amount.nights-infection]\nlow = 5\nhigh = 3\nsource = "us"\n', "is no interval"),
        ('[amount.nights-infection]\nlow = 5\nsource = "us"\n', "cannot be used"),
        ('[nights.x]\nlow = 5\nsource = "us"\n', "not a part of the life course"),
        (
            '[shape.hernias]\nyears=[0,1]\nsummed=[0,-1]\nthen_per_year=1\nsource="us"\n',
            "rise from 0",
        ),
    ],
)
def test_a_protocol_that_cannot_be_read_is_refused(
    followed: tuple[str, Path, Any], tmp_path: Path, text: str, says: str
) -> None:
    case, home, _ = followed
    (tmp_path / "lifecourse.toml").write_text(text, encoding="utf-8")
    ran = thalweg("lifecourse", case, "--home", home, *ON, "--protocol", tmp_path)
    assert says in ran.refusal("Ann", "LC-7")
