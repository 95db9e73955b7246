"""`thalweg trace --picture`: what was measured, or what was wrong with the points, as a file."""

from __future__ import annotations

import re
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from PIL import Image
from pypdf import PdfReader
from tests.support.commands import thalweg
from tests.support.once import built_once
from tests.support.printed import page_of, words
from tests.support.smallcase import DAY, MARKS_TOML, SECRETS, write_images, write_small_case

from thalweg.service import documents
from thalweg.service.ureters import Draw

if TYPE_CHECKING:
    from pathlib import Path

START, END = "28.8,0,49", "28.8,0,-69"
OTHER_SIDE = "-28.8,0,-69"


@pytest.fixture(scope="module")
def images(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a small series, written once in a run."""
    return built_once(tmp_path_factory, "small-series", lambda folder: void(write_images(folder)))


def void(_: object) -> None:
    """Take what a maker returns; nobody wants it."""


def whole(kind: str, data: bytes) -> bool:
    if kind == "svg":
        return ET.fromstring(data).tag.endswith("svg")
    if kind == "png":
        return Image.open(BytesIO(data)).format == "PNG"
    return len(PdfReader(BytesIO(data)).pages) == 1


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_a_course_is_written_as_a_picture(images: Path, tmp_path: Path, kind: str) -> None:
    path = tmp_path / "new" / f"course.{kind}"
    ran = thalweg("trace", images, "--start", START, "--end", END, "--picture", path, "--json")
    assert ran.json["length_mm"] > 100
    assert whole(kind, path.read_bytes())
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_a_course_by_hand_is_written_too(images: Path, tmp_path: Path) -> None:
    path = tmp_path / "course.svg"
    ran = thalweg(
        "trace", images, "--by-hand", "--start", START, "--via", "20,0,-10", "--end", END,
        "--picture", path,
    )  # fmt: skip
    assert ran.code == 0, ran.err
    assert f"Written: {path}" in ran.out
    assert whole("svg", path.read_bytes())


@pytest.mark.parametrize(
    ("start", "end", "fault"),
    [
        pytest.param(END, START, "as if the two were swapped", id="swapped"),
        pytest.param(START, OTHER_SIDE, "midline", id="other side"),
        pytest.param(START, "28.8,0,-400", "outside the image", id="outside"),
        pytest.param(START, "70,-50,-60", "in air", id="air"),
    ],
)
@pytest.mark.parametrize("form", [(), ("--json",)], ids=["aloud", "json"])
def test_refused_points_are_said_shown_and_give_no_length(
    images: Path, tmp_path: Path, start: str, end: str, fault: str, form: tuple[str, ...]
) -> None:
    path = tmp_path / "wrong.svg"
    bare = thalweg("trace", images, "--start", start, "--end", end, *form)
    ran = thalweg("trace", images, "--start", start, "--end", end, "--picture", path, *form)
    line = ran.refusal(*SECRETS)
    assert fault in line
    assert line == bare.refusal(*SECRETS).rstrip(".") + f"; the picture {path} shows it."
    assert whole("svg", path.read_bytes())
    for text in (ran.out, ran.err, bare.out, path.read_text(encoding="utf-8")):
        assert not re.search(r"length[_ ]mm|length \d", text)


def test_a_picture_that_cannot_be_written_hides_no_fault(images: Path, tmp_path: Path) -> None:
    tmp_path.joinpath("file").touch()
    path = tmp_path / "file" / "wrong.png"
    line = thalweg("trace", images, "--start", END, "--end", START, "--picture", path).refusal()
    assert "swapped" in line
    assert "cannot be written" in line


@pytest.mark.parametrize("name", ["course.jpg", "course", "course.svg.gz"])
def test_another_kind_of_picture_is_refused_before_anything_is_read(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / name
    nowhere = tmp_path / "no-images"
    ran = thalweg("trace", nowhere, "--start", START, "--end", END, "--picture", path)
    assert "end its name in .svg, .png or .pdf" in ran.refusal()
    assert not path.exists()


def test_a_picture_needs_images(tmp_path: Path) -> None:
    path = tmp_path / "course.svg"
    ran = thalweg(
        "trace", "--by-hand", "--start", START, "--end", END, "--picture", path
    )  # fmt: skip
    assert "a picture needs images" in ran.refusal()
    assert not path.exists()


def planned(tmp_path: Path, marks: str) -> tuple[str, Path]:
    folder = write_small_case(tmp_path / "in")
    case = folder / "case.toml"
    case.write_text(case.read_text(encoding="utf-8").replace(MARKS_TOML, marks), encoding="utf-8")
    where = ("--home", str(tmp_path / "home"), "--on", DAY.isoformat())
    case_id = thalweg("intake", folder, *where, "--json").json["case"]
    ran = thalweg("plan", case_id, *where, "--out", tmp_path / "out", "--json")
    assert ran.code == 0, ran.err
    return ran.out, tmp_path / "out" / f"plan-{case_id}.html"


def test_the_plan_shows_what_was_wrong_beside_the_reason(tmp_path: Path) -> None:
    marks = MARKS_TOML.replace("[28.8, 0, -69]", "[-28.8, 0, -69]")
    said, path = planned(tmp_path, marks)
    assert "length_mm" not in said
    page = page_of(path)
    (picture,) = [one for one in page.all("img") if "end: the start lies" in one["alt"]]
    assert picture["src"].startswith("data:image/svg+xml")
    assert "was not traced: end: the start lies on the left" in words(page.text)


def test_a_plan_outlives_a_picture_that_cannot_be_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(documents, "DRAW", Draw(broken, broken))
    said, path = planned(tmp_path, MARKS_TOML)
    assert "ureter-length-left" in said
    assert "could not be drawn (ZeroDivisionError)" in words(page_of(path).text)
