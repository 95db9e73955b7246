"""`thalweg fitness` on values given on the line, and on a case.

Totals are worked out by hand from the published points named beside each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import CASE_TOML, SECRETS, write_small_case

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

MAN = ("--age", "72", "--sex", "male", "--on", "2026-03-01")
LINE = (
    *MAN,
    *("--creatinine", "2.3mg/dL", "--haemoglobin", "12g/dL", "--spo2", "95%", "--hours", "4h"),
    *("--diversion", "ileal-conduit"),
    *("--lacks", "heart-failure", "--lacks", "cerebrovascular-disease"),
    *("--lacks", "ischaemic-heart-disease", "--lacks", "insulin-treated-diabetes"),
    *("--lacks", "respiratory-infection-month", "--lacks", "operation-emergency"),
    *("--value", "operation-incision=peripheral or lower abdominal"),
)


def fitness(*arguments: str) -> Any:
    """Return what the command prints as JSON."""
    payload = thalweg("fitness", *arguments, "--json").json
    assert set(payload) == {"findings", "scores", "contrast", "notices"}
    return payload


def scores(payload: Any) -> dict[str, Any]:
    """Return the scores and rules by key."""
    return {row["key"]: row for row in (*payload["scores"], *payload["contrast"])}


def test_one_man_worked_by_hand() -> None:
    payload = fitness(*LINE)
    found = checked_findings(payload["findings"])
    # Lee 1999: one for the operation, one for creatinine above 2.0 mg/dL.
    assert (found["rcri"]["value"], found["rcri"]["unit"]) == (2.0, "{score}")
    assert found["rcri-band"]["value"] == "class III"
    # Andersson 2015: 521 of 11 921 with two factors.
    denmark = found["rcri-rate-denmark"]
    assert denmark["value"] == pytest.approx(100 * 521 / 11921)
    assert denmark["unit"] == "%"
    assert "Andersson" in denmark["source"]
    # Canet 2010: 3 for age, 8 for saturation, 23 for duration.
    assert found["ariscat"]["value"] == 34.0
    assert found["ariscat-band"]["value"] == "intermediate"
    # WHO 2011: 120 g/L in a man.
    assert found["anaemia"]["value"] == "mild"
    # CKD-EPI 2021 puts 2.3 mg/dL at 72 years below 30.
    assert found["contrast-vein"]["value"] == "at risk"
    assert found["metformin-vein"]["value"] == "not decidable"


def test_every_rule_is_shown_item_by_item() -> None:
    shown = scores(fitness(*LINE))
    assert {"rcri", "ariscat", "caprini", "charlson", "g8", "asa", "contrast-artery"} <= set(shown)
    items = {item["key"]: item for item in shown["rcri"]["items"]}
    assert items["creatinine"]["least_points"] == items["creatinine"]["most_points"] == 1
    (fact,) = items["creatinine"]["facts"]
    assert (fact["value"], fact["unit"], fact["at"]) == ("2.3", "mg/dL", "2026-03-01")
    assert items["operation"]["from"] == ["operation-intraperitoneal"]
    for row in shown.values():
        least = sum(item["least_points"] for item in row["items"])
        most = sum(item["most_points"] for item in row["items"])
        if row["kind"] == "score":
            assert (row["least_points"], row["most_points"]) == (least, most)
        assert row["source"]


def test_what_is_not_said_widens_the_total_and_is_named() -> None:
    found = scores(fitness(*MAN, "--creatinine", "1.0mg/dL"))["rcri"]
    assert (found["least_points"], found["most_points"]) == (0, 5)
    assert found["possible"] == ["class I", "class II", "class III", "class IV"]
    assert set(found["missing"]) == {
        "operation-intraperitoneal",
        "ischaemic-heart-disease",
        "heart-failure",
        "cerebrovascular-disease",
        "insulin-treated-diabetes",
    }
    one_less = scores(fitness(*MAN, "--creatinine", "1.0mg/dL", "--has", "heart-failure"))["rcri"]
    assert (one_less["least_points"], one_less["most_points"]) == (1, 5)


def test_mass_and_amount_give_the_same() -> None:
    pair = [
        scores(fitness(*MAN, "--creatinine", text, "--haemoglobin", other))
        for text, other in (("2.3mg/dL", "11g/dL"), ("203.33umol/L", "110g/L"))
    ]
    for key in ("rcri", "charlson", "ariscat", "anaemia", "contrast-vein", "metformin-artery"):
        assert pair[0][key]["possible"] == pair[1][key]["possible"]
        assert pair[0][key]["least_points"] == pair[1][key]["least_points"]


def test_for_people_it_says_what_is_open_whose_rates_and_cautions() -> None:
    ran = thalweg("fitness", *MAN, "--creatinine", "2.3mg/dL", "--only", "rcri", "--explain")
    assert ran.code == 0
    assert "1 to 6 points" in ran.out
    assert "not known: Operation in the peritoneal cavity" in ran.out
    assert "Denmark 2005–11" in ran.out
    assert "creatinine 2.3 mg/dL, 2026-03-01" in ran.out
    assert "never quote one without its label" in ran.out
    assert "does not replace licensed judgement" in ran.out
    assert "ARISCAT" not in ran.out


def test_the_list_names_every_item_and_how_to_answer_it() -> None:
    ran = thalweg("fitness", "--list")
    assert ran.code == 0
    assert "Heart failure, now or earlier" in ran.out
    assert "asa-class (choice): I, II, III, IV, V, VI" in ran.out
    rules = thalweg("fitness", "--list", "--json").json["rules"]
    asked = [one for rule in rules for item in rule["items"] for one in item["asks"]]
    assert {"rcri", "caprini", "contrast-vein"} <= {rule["key"] for rule in rules}
    assert all(one["words"] for one in asked)
    # Whatever is listed as a question of yes or no can be answered so, all in one line.
    answers = [
        part for one in asked if one["kind"] == "yes-no" for part in ("--has", one["concept"])
    ]
    assert len(answers) > 80
    found = scores(fitness(*MAN, *answers))
    # Every illness of Charlson's: all but the lesser of each pair, which are choices.
    assert found["charlson"]["least_points"] == 8 + 2 + 2 + 6 + 2 + 2 + 6


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((*MAN, "--creatinine", "2.3"), ("--creatinine", "without a unit")),
        ((*MAN, "--spo2", "95"), ("--spo2", "without a unit")),
        ((*MAN, "--spo2", "195%"), ("--spo2", "impossible")),
        ((*MAN, "--hours", "4"), ("--hours", "without a unit")),
        ((*MAN, "--diversion", "ileal"), ("--diversion", "ileal-conduit")),
        ((*MAN, "--has", "hart-failure"), ("--has", "heart-failure")),
        ((*MAN, "--has", "asa-class"), ("--has", "asa-class", "--value")),
        ((*MAN, "--value", "heart-failure=yes"), ("heart-failure", "--has heart-failure")),
        ((*MAN, "--value", "asa-class=7"), ("asa-class", "'7'")),
        ((*MAN, "--value", "asa-class"), ("--value", "asa-class=III")),
        ((*MAN, "--value", "nonsense=1"), ("--value", "nonsense")),
        ((*MAN, "--value", "bmi=25kg/m2"), ("bmi", "height and weight")),
        ((*MAN, "--value", "ureter-left=1"), ("ureter-left",)),
        ((*MAN, "--only", "rcr"), ("--only", "rcri")),
        (
            (*MAN, "--has", "heart-failure", "--lacks", "heart-failure"),
            ("heart-failure", "there and not to be"),
        ),
        (("--sex", "male"), ("the age is missing",)),
        (("--age", "72"), ("the sex is missing",)),
        (("--age", "72", "--sex", "m"), ("'m'",)),
        ((*MAN, "--protocol", "nowhere"), ("nowhere", "no such folder")),
    ],
)
def test_what_is_refused_is_said(arguments: tuple[str, ...], said: tuple[str, ...]) -> None:
    for mode in ((), ("--json",)):
        line = thalweg("fitness", *arguments, *mode).refusal()
        assert all(part in line for part in said), line


OWN_RULE = """\
[anaemia]
title = "Anaemia, this unit's limit"
asks = "Haemoglobin against the limit of this unit"
valid_for = "adults"
source = "Invented Hospital, guideline 3, 2026-01-01"
[[anaemia.level]]
name = "clinic first"
when = { quantity = "haemoglobin", below = 130, unit = "g/L" }
[[anaemia.level]]
name = "go on"
"""


def test_a_unit_s_own_rule_takes_the_place_of_ours_and_says_so(tmp_path: Path) -> None:
    tmp_path.joinpath("fitness.toml").write_text(OWN_RULE, encoding="utf-8")
    woman = ("--age", "60", "--sex", "female", "--haemoglobin", "125g/L")
    payload = fitness(*woman, "--protocol", str(tmp_path))
    assert scores(payload)["anaemia"]["possible"] == ["clinic first"]
    assert scores(payload)["anaemia"]["source"] == "Invented Hospital, guideline 3, 2026-01-01"
    assert payload["notices"] == ["This unit's own protocol is used for fitness: anaemia."]
    assert scores(fitness(*woman))["anaemia"]["possible"] == ["none"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('source = "Invented Hospital, guideline 3, 2026-01-01"', "", ("anaemia", "no source")),
        ('unit = "g/L"', 'unit = "mm"', ("fitness.toml", "anaemia", "mm")),
        ('"haemoglobin"', '"haemoglobine"', ("anaemia", "haemoglobin")),
        ("below = 130, ", "", ("anaemia", "no bounds")),
        ('name = "go on"', 'name = "go on"\nwhen = { sex = "male" }', ("do not cover",)),
        ('title = "Anaemia, this unit\'s limit"', "", ("'title' is missing",)),
        ("below = 130", "beneath = 130", ("beneath", "does not go with")),
    ],
)
def test_a_unit_s_rule_that_is_not_of_its_form_is_refused(
    tmp_path: Path, old: str, new: str, said: tuple[str, ...]
) -> None:
    assert old in OWN_RULE
    tmp_path.joinpath("fitness.toml").write_text(OWN_RULE.replace(old, new), encoding="utf-8")
    line = thalweg("fitness", *MAN, "--protocol", tmp_path).refusal()
    assert all(part in line for part in said), line


COURSE = """\
asa-class = "III"
heart-failure = true
takes-metformin = true
acute-kidney-injury = false
operation-hours = "4 h"
thrombophilia-known = false
"""


@pytest.fixture
def recorded(tmp_path: Path) -> tuple[str, ...]:
    """Return id and place of a case whose course answers some items."""
    text = CASE_TOML.replace(
        'indication = "bladder cancer"', f'indication = "bladder cancer"\n{COURSE}'
    )
    labs = (
        "test,value,unit,taken\n"
        "creatinine,106.08,µmol/L,2026-03-01T08:30+01:00\n"
        "oxygen-saturation,95,%,2026-03-01T08:30+01:00\n"
    )
    folder = write_small_case(tmp_path / "in", case_toml=text, labs=labs, images=False)
    where = ("--home", str(tmp_path / "home"), "--on", "2026-03-10")
    return thalweg("intake", folder, *where, "--json").json["case"], *where


def test_a_case_s_own_record(recorded: tuple[str, ...]) -> None:
    payload = fitness(*recorded)
    found = checked_findings(payload["findings"])
    assert found["asa"]["value"] == "III: severe systemic disease"
    # A cutaneous ureterostomy is on record as meant: whether the peritoneum is opened is not.
    cardiac = scores(payload)["rcri"]
    # One for heart failure; open are operation, ischaemic disease, stroke and insulin.
    assert (cardiac["least_points"], cardiac["most_points"]) == (1, 5)
    assert "operation-intraperitoneal" in cardiac["missing"]
    # Age 76 (3), saturation 95 (8), 4 hours (23).
    assert scores(payload)["ariscat"]["least_points"] == 3 + 8 + 23
    assert found["metformin-vein"]["value"] == "continue"


def test_words_on_the_line_answer_for_a_case_without_being_recorded(
    recorded: tuple[str, ...],
) -> None:
    said = ("--lacks", "heart-failure", "--diversion", "ileal-conduit", "--creatinine", "3.5mg/dL")
    cardiac = scores(fitness(*recorded, *said))["rcri"]
    assert (cardiac["least_points"], cardiac["most_points"]) == (2, 5)
    again = scores(fitness(*recorded))["rcri"]
    assert (again["least_points"], again["most_points"]) == (1, 5)
    assert "heart-failure" not in again["missing"]


def test_the_work_up_of_a_case_holds_the_same_findings(recorded: tuple[str, ...]) -> None:
    case = thalweg("case", *recorded, "--json").json
    shown = {row["name"]: row for row in case["findings"]}
    alone = {row["name"]: row for row in fitness(*recorded)["findings"]}
    for name, row in alone.items():
        assert shown[name]["value"] == row["value"], name


@pytest.mark.parametrize("option", [("--sex", "female"), ("--age", "50")])
def test_a_case_has_its_own_birth_date_and_sex(
    recorded: tuple[str, ...], option: tuple[str, str]
) -> None:
    line = thalweg("fitness", *recorded, *option).refusal(*SECRETS)
    assert option[0] in line


def test_the_plan_shows_it(small_once: OnRecord) -> None:
    page = small_once.document("html").read_text(encoding="utf-8")
    section = page.split('id="fitness"')[1].split("</section>")[0]
    for words in ("Revised cardiac risk index", "Published rates", "Item by item", "contrast"):
        assert words in section
    # What a small case does not record is a range, never a zero.
    row = section.split("<td>Revised cardiac risk index</td>")[1].split("</tr>")[0]
    assert "0 to 5" in row
    names = {row["name"] for row in small_once.payload["findings"]}
    assert {"rcri", "contrast-vein", "anaemia"} <= names
