"""A case's renograms: taken in whole, analysed anew from the record, and held against reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.support.casefolder import CASE_TOML, case_folder
from tests.support.commands import checked_findings, thalweg
from tests.support.renogram_files import (
    OPTIONS,
    pictured,
    write_camera_file,
    write_curves,
    write_regions,
)

from thalweg.exchange.casefile import read_casefile, write_casefile
from thalweg.service.keeping import open_store
from thalweg.service.workup import work_up
from thalweg.store import Store
from thalweg.store.verify import verify

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

ON = "2026-04-01"
SECRETS = ("Ada", "Example", "1961", "SU-0417")
SHARE, COMPUTED = "split-function-left", "renogram-share-left"


def section(**changes: str) -> str:
    """Return the section of the camera's file; an empty change leaves its line out."""
    lines = {
        "file": '"study.dcm"',
        "at": "2026-02-20",
        "regions": '"regions.toml"',
        "furosemide": '"20 min"',
        "drained": "true",
        "hydrated": "true",
        "reflux": "false",
    }
    lines.update(changes)
    return "\n[[renogram]]\n" + "".join(f"{k} = {v}\n" for k, v in lines.items() if v)


def folder(root: Path, text: str, *, labs: str = "", born: date | None = None) -> Path:
    """Write a case folder with the camera's file and the regions."""
    head = "test,value,unit,taken\ncreatinine,88,µmol/L,2026-03-01\n"
    made = case_folder(root, case_toml=CASE_TOML + text, labs=head + labs)
    inside = made / "renograms"
    inside.mkdir()
    write_camera_file(inside / "study.dcm", **({} if born is None else {"born": born}))
    write_regions(inside / "regions.toml")
    return made


def taken_in(root: Path, text: str, *, labs: str = "") -> tuple[str, Path]:
    """Take such a folder in; return the case and the record's folder."""
    home = root / "home"
    report = thalweg(
        "intake", folder(root / "in", text, labs=labs), "--home", home, "--on", ON, "--json"
    ).json
    return report["case"], home


def course_of(case_id: str, home: Path) -> Any:
    """Return the case's course."""
    return thalweg("case", case_id, "--home", home, "--on", ON, "--json").json


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Return a case with its renogram, and with a report of the same day that agrees."""
    root = tmp_path_factory.mktemp("usual")
    return taken_in(root, section(), labs="split-function-left,38,%,2026-02-20\n")


def test_a_renogram_is_part_of_the_case(usual: tuple[str, Path]) -> None:
    shown = course_of(*usual)
    findings = checked_findings(shown["findings"])
    _, _, truth = pictured()
    low, high = findings[COMPUTED]["interval"]
    assert low < truth.share_left_percent < high
    assert findings["renogram-left-drainage"]["value"] == "impaired drainage"
    assert findings["renogram-right-drainage"]["value"] == "drains"
    # It rests on everything that was said of the study, regions included.
    used = {fact["concept"] for fact in findings[COMPUTED]["facts"]}
    assert {
        "renogram",
        "renogram-furosemide",
        "renogram-drained",
        "renogram-region-left",
        "renogram-region-right",
        "renogram-region-blood",
    } <= used
    assert findings[COMPUTED]["date"].startswith("2026-02-20")
    (image,) = shown["images"]
    assert (image["modality"], image["files"], image["phantom"]) == ("NM", 1, True)


def test_it_says_what_the_command_line_says(usual: tuple[str, Path]) -> None:
    inside = usual[1].parent / "in" / "renograms"
    line = thalweg(
        "renogram",
        inside / "study.dcm",
        "--regions",
        inside / "regions.toml",
        *OPTIONS,
        *("--drained", "--hydrated", "--no-reflux", "--age", "65", "--json"),
    ).json
    by_case = checked_findings(course_of(*usual)["findings"])
    by_line = checked_findings(line["findings"])
    for name in by_line:
        if name != "renogram-share-change":
            assert by_case[name]["value"] == by_line[name]["value"], name
            assert by_case[name]["interval"] == by_line[name]["interval"], name


def test_the_computed_share_answers_for_the_kidneys(usual: tuple[str, Path]) -> None:
    findings = checked_findings(course_of(*usual)["findings"])
    assert findings[SHARE]["value"] == findings[COMPUTED]["value"]
    assert findings[SHARE]["interval"] == findings[COMPUTED]["interval"]
    assert findings[SHARE]["from"] == [COMPUTED]
    # The report that agrees stays among what it rests on.
    assert SHARE in {fact["concept"] for fact in findings[SHARE]["facts"]}
    whole = findings["gfr-to-rely-on"]["value"]
    assert findings["gfr-left-kidney"]["value"] == pytest.approx(
        whole * findings[SHARE]["value"] / 100
    )
    # The same by `thalweg kidney`.
    case_id, home = usual
    kidney = thalweg("kidney", case_id, "--home", home, "--on", ON, "--json").json
    assert checked_findings(kidney["findings"])[SHARE]["value"] == findings[SHARE]["value"]


def standing(shown: Any) -> Any:
    """Return how the work-up's item of each kidney's share stands."""
    return next(one for one in shown["completeness"]["items"] if one["key"] == "split-function")


def criterion(case_id: str, home: Path) -> Any:
    """Return what the appraisal says of each kidney's worth."""
    shown = thalweg("appraise", case_id, "--home", home, "--on", ON, "--json").json
    return next(
        one
        for row in shown["diversions"]
        for one in row["criteria"]
        if one["key"] == "both-kidneys-worth-joining"
    )


def test_a_criterion_is_judged_on_it(usual: tuple[str, Path], tmp_path: Path) -> None:
    assert criterion(*usual)["truth"] == "met"
    # Without any report: the computed share alone settles it, and nobody is asked for one.
    text = section().replace("\n[[renogram]]", 'kidneys-present = "both"\n\n[[renogram]]')
    alone = taken_in(tmp_path, text)
    assert criterion(*alone)["truth"] == "met"
    stood = standing(course_of(*alone))
    assert stood["state"] == "done"
    assert f"{checked_findings(course_of(*alone)['findings'])[SHARE]['value']:.0f}" in str(stood)


def test_a_report_that_differs_is_a_contradiction_and_nothing_is_used(tmp_path: Path) -> None:
    case = taken_in(tmp_path, section(), labs="split-function-left,52,%,2026-02-22\n")
    shown = course_of(*case)
    findings = checked_findings(shown["findings"])
    assert findings[SHARE]["value"] is None
    assert findings[COMPUTED]["value"] is not None
    assert "gfr-left-kidney" not in findings
    (said,) = [problem for problem in shown["problems"] if "neither is used" in problem]
    assert "52 %" in said
    assert "differ by more than 5 points" in said
    assert criterion(*case)["truth"] == "not known"
    stood = standing(shown)
    assert stood["state"] == "contradicting"
    assert "neither is used" in str(stood)


def test_nothing_is_doubled_and_the_record_stays_whole(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, section())
    again = thalweg("intake", tmp_path / "in", "--home", home, "--on", ON, "--json").json
    assert again["case"] == case_id
    assert again["new_facts"] == again["new_series"] == []
    # Without its file the folder still names what is on record.
    (tmp_path / "in" / "renograms" / "study.dcm").unlink()
    bare = thalweg("intake", tmp_path / "in", "--home", home, "--on", ON, "--json").json
    assert bare["new_facts"] == []
    assert COMPUTED in checked_findings(course_of(case_id, home)["findings"])
    with Store(home) as store:
        assert verify(store) == []


def test_the_case_file_reads_back_as_it_was_written(tmp_path: Path) -> None:
    made = folder(tmp_path / "in", section())
    first = read_casefile(made / "case.toml", today=first_of_april())
    write_casefile(made / "case.toml", first)
    assert 'regions = "regions.toml"' in (made / "case.toml").read_text(encoding="utf-8")
    again = read_casefile(made / "case.toml", today=first_of_april())
    assert {fact.id for fact in again.facts} == {fact.id for fact in first.facts}
    assert any(fact.concept == "renogram-region-left" for fact in again.facts)


def first_of_april() -> date:
    """Return the day of these tests."""
    from datetime import date as day

    return day(2026, 4, 1)


def test_a_table_is_dated_by_the_case_file(tmp_path: Path) -> None:
    made = folder(
        tmp_path / "in",
        section(file='"study.csv"', regions="", furosemide="", at="2026-02-21"),
    )
    table = made / "renograms" / "study.csv"
    write_curves(table)
    kept = [line for line in table.read_text("utf-8").splitlines() if "acquired" not in line]
    table.write_text("\n".join(kept), encoding="utf-8")
    home = tmp_path / "home"
    report = thalweg("intake", made, "--home", home, "--on", ON, "--json").json
    assert any("names no person" in question for question in report["questions"])
    assert any("study.dcm is not named" in sentence for sentence in report["not_taken"])
    found = checked_findings(course_of(report["case"], home)["findings"])
    assert found[COMPUTED]["date"] == "2026-02-21"
    (image,) = course_of(report["case"], home)["images"]
    assert image["modality"] == "OT"


def test_the_plan_shows_it(usual: tuple[str, Path], tmp_path: Path) -> None:
    case_id, home = usual
    done = thalweg("plan", case_id, "--home", home, "--on", ON, "--out", tmp_path, "--json").json
    assert COMPUTED in checked_findings(done["findings"])
    page = (tmp_path / f"plan-{case_id}.html").read_text(encoding="utf-8")
    assert "Renogram of 2026-02-20" in page
    assert "impaired drainage" in page
    assert "Rutland–Patlak" in page
    assert "person&#39;s left is on the picture&#39;s left" in page or (
        "person's left is on the picture's left" in page
    )
    assert "sha256:" not in page
    assert (tmp_path / f"plan-{case_id}.pdf").stat().st_size > 10_000


def test_the_side_that_a_single_kidney_has_is_told(tmp_path: Path) -> None:
    text = section().replace("\n[[renogram]]", 'kidneys-present = "left only"\n\n[[renogram]]')
    case_id, home = taken_in(tmp_path, text)
    findings = checked_findings(course_of(case_id, home)["findings"])
    assert findings[COMPUTED]["value"] is None
    assert SHARE not in findings


def test_two_different_statements_stop_the_renogram_and_nothing_else(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, section())
    file = tmp_path / "in" / "case.toml"
    text = file.read_text(encoding="utf-8").replace('"20 min"', '"0 min"')
    file.write_text(text, encoding="utf-8")
    thalweg("intake", tmp_path / "in", "--home", home, "--on", ON, "--json").json  # noqa: B018
    shown = course_of(case_id, home)
    assert any(
        "was not analysed" in one and "renogram-furosemide" in one for one in shown["problems"]
    )
    names = {finding["name"] for finding in shown["findings"]}
    assert COMPUTED not in names
    assert "gfr-to-rely-on" in names
    out = tmp_path / "out"
    plan = thalweg("plan", case_id, "--home", home, "--on", ON, "--out", out)
    assert plan.code == 0, plan.err


def test_it_is_not_known_before_its_day(usual: tuple[str, Path]) -> None:
    case_id, home = usual
    with open_store(home) as store:
        early = work_up(case_id, store, at=first_of_april().replace(month=2, day=1))
    assert early.renograms == ()


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (section(file='"gone.dcm"'), "no such file came along"),
        (section(regions='"gone.toml"'), "gone.toml"),
        (section(regions='"../regions.toml"'), "not a plain name"),
        (section(regions=""), "no region is drawn"),
        (section(left_at='"right"'), "left"),
        (section(view='"anterior"'), "anterior"),
        (section(furosemide="20"), "has no unit"),
        (section(at="2027-01-01"), "future"),
        (section(colour='"grey"'), "unknown key"),
        (section() + section(), "given before"),
    ],
)
def test_what_cannot_be_taken_in_is_refused_whole(tmp_path: Path, text: str, word: str) -> None:
    home = tmp_path / "home"
    ran = thalweg("intake", folder(tmp_path / "in", text), "--home", home, "--on", ON)
    assert word in ran.refusal(*SECRETS)
    assert thalweg("cases", "--home", home, "--json").json == {"cases": []}


def test_a_renogram_of_somebody_else_is_refused(tmp_path: Path) -> None:
    made = folder(tmp_path / "in", section(), born=first_of_april().replace(year=1950))
    ran = thalweg("intake", made, "--home", tmp_path / "home", "--on", ON)
    assert "another birth date" in ran.refusal(*SECRETS, "1950")


def test_another_day_is_said(tmp_path: Path) -> None:
    made = folder(tmp_path / "in", section(at="2026-02-19"))
    report = thalweg("intake", made, "--home", tmp_path / "home", "--on", ON, "--json").json
    assert any("2026-02-19, its file 2026-02-20" in q for q in report["questions"])


def test_the_command_analyses_what_is_on_record(usual: tuple[str, Path]) -> None:
    case_id, home = usual
    where = ("--case", case_id, "--home", home, "--on", ON)
    found = thalweg("renogram", *where, "--json").json
    (study,) = found["renograms"]
    assert (found["case"], study["label"], study["problem"]) == (case_id, "study.dcm", None)
    _, _, truth = pictured()
    low, high = study["share_left_interval_percent"]
    assert low < truth.share_left_percent < high
    of_case = checked_findings(course_of(case_id, home)["findings"])
    own = checked_findings(found["findings"])
    assert own
    assert all(of_case[name] == finding for name, finding in own.items())
    told = thalweg("renogram", *where).out
    assert "study.dcm:" in told
    assert "supports and does not replace" in told


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--drained",), ("--drained", "on record")),
        (("--age", "3"), ("--age", "on record")),
        (("mag3.csv",), ("FILE", "on record")),
        (("--on", "2019-01-01"), ("no renogram", "[[renogram]]")),
    ],
)
def test_a_case_states_its_own(
    usual: tuple[str, Path], options: tuple[str, ...], said: tuple[str, ...]
) -> None:
    case_id, home = usual
    line = thalweg("renogram", "--case", case_id, "--home", home, *options).refusal()
    assert all(word in line for word in said)


def test_neither_file_nor_case_is_refused() -> None:
    assert "FILE" in thalweg("renogram").refusal()
