"""A case's radiographs from the folder to the plan; the truth is the artificial ureter's own."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from tests.support.casefolder import CASE_TOML, TODAY, case_folder
from tests.support.commands import checked_findings, thalweg
from tests.support.radiographs import PROJECTOR, thrown, written_radiograph

from thalweg.exchange.casefile import CaseFile, read_casefile, write_casefile
from thalweg.phantom.courses import usual_course
from thalweg.phantom.tube import Tube
from thalweg.record.fact import PixelMark
from thalweg.store import Store, verify

if TYPE_CHECKING:
    from pathlib import Path

ON = TODAY.isoformat()
LENGTH = "ureter-length-on-radiograph-left"
LEAST = "ureter-least-length-on-radiograph-left"


def points() -> str:
    """Return the left ureter's places as TOML."""
    return "[" + ", ".join(f"[{c:.2f}, {r:.2f}]" for c, r in thrown().points_px) + "]"


def film(file: str = "urogram.dcm", **changes: str) -> str:
    """Return a ``[[radiograph]]`` of the left ureter with its true distances; "" leaves out."""
    truth = thrown()
    column, row = PROJECTOR.foot_px
    rows = {
        "file": f'"{file}"',
        "side": '"left"',
        "at": "2026-02-20",
        "points_px": points(),
        "source_ureter": f'"{truth.ureter_mm:.2f} mm"',
        "depth_spread": f'"{truth.spread_mm / 10:.3f} cm"',
        "central_ray_px": f"[{column}, {row}]",
    } | changes
    return "\n[[radiograph]]\n" + "".join(f"{k} = {v}\n" for k, v in rows.items() if v)


def by_hand(course: np.ndarray) -> str:
    """Return a left ureter whose course was placed by hand on CT."""
    places = ", ".join(f"[{x:.2f}, {y:.2f}, {z:.2f}]" for x, y, z in course)
    return f"\n[images]\nat = 2026-03-02\n\n[ureter.left]\npoints_mm = [{places}]\n"


def folder(root: Path, extra: str, *, born: date = date(1961, 3, 4)) -> Path:
    """Write a case folder with a radiograph in it."""
    made = case_folder(root, case_toml=CASE_TOML + extra)
    written_radiograph(made / "radiographs" / "urogram.dcm", born=born)
    return made


def taken_in(root: Path, extra: str) -> tuple[str, Path]:
    """Take such a folder in; return the case's id and the store's home."""
    home = root / "home"
    report = thalweg("intake", folder(root / "in", extra), "--home", home, "--on", ON, "--json")
    return str(report.json["case"]), home


def course_of(case_id: str, home: Path) -> Any:
    """Return the case as JSON."""
    return thalweg("case", case_id, "--home", home, "--on", ON, "--json").json


def test_from_the_folder_to_findings(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film())
    shown = course_of(case_id, home)
    findings = checked_findings(shown["findings"])
    truth = thrown().length_mm
    assert 0.85 * truth < findings[LENGTH]["value"] < truth
    assert findings[LEAST]["value"] < findings[LENGTH]["value"]
    assert findings[LENGTH]["date"].startswith("2026-02-20")
    # Every stated distance is among the facts that the finding rests on.
    used = {fact["concept"] for fact in findings[LENGTH]["facts"]}
    assert used == {
        "radiograph-left",
        "radiograph-source-ureter",
        "radiograph-depth-spread",
        "radiograph-central-ray",
    }
    (image,) = shown["images"]
    assert image["modality"] == "DX"
    assert image["phantom"] is True
    assert any("Reach is not computed from it" in problem for problem in shown["problems"])
    words = thalweg("case", case_id, "--home", home, "--on", ON).out
    assert "left ureter" in words.lower()
    assert "pixels" in words


def test_the_same_length_as_on_the_command_line(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film())
    by_case = checked_findings(course_of(case_id, home)["findings"])[LENGTH]["value"]
    truth = thrown()
    line = thalweg(
        "radiograph",
        tmp_path / "in" / "radiographs" / "urogram.dcm",
        *truth.options,
        "--source-ureter",
        f"{truth.ureter_mm:.2f}mm",
        "--depth-spread",
        f"{truth.spread_mm:.2f}mm",
        "--json",
    )
    assert by_case == pytest.approx(line.json["length_mm"], abs=1e-9)


def test_the_file_is_kept_and_nothing_is_doubled(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film())
    again = thalweg("intake", tmp_path / "in", "--home", home, "--on", ON, "--json").json
    assert again["case"] == case_id
    assert again["new_facts"] == again["new_series"] == []
    # Without its file the folder still names what is on record.
    (tmp_path / "in" / "radiographs" / "urogram.dcm").unlink()
    bare = thalweg("intake", tmp_path / "in", "--home", home, "--on", ON, "--json").json
    assert bare["new_facts"] == []
    assert LENGTH in checked_findings(course_of(case_id, home)["findings"])
    with Store(home) as store:
        assert verify(store) == []


def test_a_picture_is_dated_by_the_case_file(tmp_path: Path) -> None:
    (first, last) = thrown().ruler_px
    ruler = f"[[{first[0]:.2f}, {first[1]:.2f}], [{last[0]:.2f}, {last[1]:.2f}]]"
    made = case_folder(
        tmp_path / "in",
        case_toml=CASE_TOML
        + film("film.png", scale_px=ruler, scale='"15 cm"', scale_depth='"945 mm"'),
    )
    (made / "radiographs").mkdir()
    grey = Image.fromarray((thrown().image.values / 16).astype(np.uint8))
    grey.save(made / "radiographs" / "film.png")
    home = tmp_path / "home"
    report = thalweg("intake", made, "--home", home, "--on", ON, "--json").json
    assert any("names no person" in question for question in report["questions"])
    found = checked_findings(course_of(report["case"], home)["findings"])[LENGTH]
    assert found["date"] == "2026-02-20"
    case_id, other = taken_in(tmp_path / "dicom", film())
    dicom = checked_findings(course_of(case_id, other)["findings"])[LENGTH]
    assert found["value"] == pytest.approx(dicom["value"], rel=5e-4)


def true_course() -> np.ndarray:
    """Return the left ureter in space."""
    tube = Tube(usual_course("left"), 4.5)
    return np.asarray(tube.centreline.point_at(np.linspace(0.0, tube.length_mm, 40)))


def test_it_agrees_with_the_true_course_on_ct(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film() + by_hand(true_course()))
    shown = course_of(case_id, home)
    findings = checked_findings(shown["findings"])
    assert any("Radiograph and CT agree" in c for c in findings[LENGTH]["cautions"])
    assert findings[LEAST]["value"] < findings["ureter-length-left"]["value"]
    assert not any("disagree" in problem for problem in shown["problems"])


def test_a_course_on_ct_that_is_too_short_is_said_to_disagree(tmp_path: Path) -> None:
    """Half the ureter: the least length on the radiograph exceeds it beyond doubt."""
    case_id, home = taken_in(tmp_path, film() + by_hand(true_course()[:20]))
    shown = course_of(case_id, home)
    assert any("disagree on the left ureter" in problem for problem in shown["problems"])
    findings = checked_findings(shown["findings"])
    assert any("disagree" in caution for caution in findings[LEAST]["cautions"])


def test_the_plan_shows_it(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film())
    out = tmp_path / "out"
    done = thalweg("plan", case_id, "--home", home, "--on", ON, "--out", out, "--json").json
    assert LEAST in checked_findings(done["findings"])
    page = (out / f"plan-{case_id}.html").read_text(encoding="utf-8")
    assert "Left ureter on a radiograph" in page
    assert "lower bound" in page
    assert "not shorter than" in page
    assert "Reach is not computed from it" in page
    assert (out / f"plan-{case_id}.pdf").stat().st_size > 10_000


def test_unknown_scale_and_a_second_frame_are_problems_of_their_own(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film(source_ureter="", depth_spread=""))
    shown = course_of(case_id, home)
    assert checked_findings(shown["findings"])[LENGTH]["value"] is None
    assert any("shadow on the radiograph is not known" in p for p in shown["problems"])


def test_impossible_distances_do_not_stop_the_plan(tmp_path: Path) -> None:
    case_id, home = taken_in(tmp_path, film(source_ureter='"1200 mm"'))
    shown = course_of(case_id, home)
    assert any("was not measured on the radiograph" in p for p in shown["problems"])
    assert LENGTH not in {finding["name"] for finding in shown["findings"]}


@pytest.mark.parametrize(
    ("extra", "word"),
    [
        (film(side='"middle"'), "unknown side"),
        (film(file="gone.dcm"), "no such file came along"),
        (film(file="../urogram.dcm"), "not a plain name"),
        (film(points_px="[[1, 2]]"), "fewer than 2 points"),
        (film(points_px="[[1, 2], [3]]"), "no place"),
        (film(points_px="[[1, 2], [3, 9000]]"), "outside its 430 columns"),
        (film(source_ureter="950"), "has no unit"),
        (film(source_ureter='"950"'), "without a unit"),
        (film(source_ureter='"2 mm"'), "source to ureter"),
        (film(scale='"15 cm"'), "'scale_px' is missing"),
        (film(scale_px="[[1, 2], [3, 4]]"), "'scale' is missing"),
        (film(scale_depth='"ureter"'), "'scale' is missing"),
        (film(frame="0"), "whole number from 1"),
        (film(frame="2"), "no frame 2"),
        (film(at=""), "'at' is missing"),
        (film(at="2027-01-01", central_ray_px=""), "future"),
        (film(colour='"grey"'), "unknown key"),
        (film() + film(), "given before"),
    ],
)
def test_what_cannot_be_taken_in_is_refused_whole(tmp_path: Path, extra: str, word: str) -> None:
    home = tmp_path / "home"
    ran = thalweg("intake", folder(tmp_path / "in", extra), "--home", home, "--on", ON)
    assert word in ran.refusal("Ada", "Example", "1961")
    assert thalweg("cases", "--home", home, "--json").json == {"cases": []}


def test_a_radiograph_of_somebody_else_is_refused(tmp_path: Path) -> None:
    made = folder(tmp_path / "in", film(), born=date(1950, 1, 1))
    ran = thalweg("intake", made, "--home", tmp_path / "home", "--on", ON)
    assert "another birth date" in ran.refusal("Ada", "Example", "1961", "1950")


def test_another_day_and_a_file_nobody_named_are_said(tmp_path: Path) -> None:
    made = folder(tmp_path / "in", film(at="2026-02-19"))
    written_radiograph(made / "radiographs" / "other.dcm")
    report = thalweg("intake", made, "--home", tmp_path / "home", "--on", ON, "--json").json
    assert any("2026-02-19, its file 2026-02-20" in q for q in report["questions"])
    assert any("other.dcm is not named" in sentence for sentence in report["not_taken"])


def test_a_written_case_file_reads_back_the_same(tmp_path: Path) -> None:
    (first, last) = thrown().ruler_px
    scale = f"[[{first[0]:.2f}, {first[1]:.2f}], [{last[0]:.2f}, {last[1]:.2f}]]"
    path = tmp_path / "case.toml"
    path.write_text(
        CASE_TOML
        + film(scale_px=scale, scale='"15 cm"', scale_depth='"ureter"', frame="3")
        + film(side='"right"', scale_px=scale, scale='"15 cm"', scale_depth='"94.5 cm"'),
        encoding="utf-8",
    )
    content = read_casefile(path, today=TODAY)
    assert sum(isinstance(fact.value, PixelMark) for fact in content.facts) == 6
    again = tmp_path / "again.toml"
    write_casefile(again, CaseFile(content.person, content.facts))
    reread = read_casefile(again, today=TODAY)
    assert {fact.id for fact in reread.facts} == {fact.id for fact in content.facts}
