"""`thalweg radiograph` as a user runs it, on artificial radiographs with known truth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from tests.support.commands import checked_findings, thalweg
from tests.support.radiographs import PROJECTOR, thrown, written_radiograph

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def dicom(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the radiograph as DICOM."""
    return written_radiograph(tmp_path_factory.mktemp("radiograph") / "urogram.dcm")


@pytest.fixture(scope="module")
def png(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the same radiograph as a picture without any header."""
    path = tmp_path_factory.mktemp("picture") / "urogram.png"
    Image.fromarray((thrown().image.values / 16).astype(np.uint8)).save(path)
    return path


def measured(file: Path, *options: object) -> Any:
    """Return the JSON of one run along the true course."""
    return thalweg("radiograph", file, *thrown().options, *options, "--json").json


def test_a_dicom_radiograph_with_its_distances(dicom: Path) -> None:
    truth = thrown()
    found = measured(
        dicom,
        "--source-ureter",
        f"{truth.ureter_mm}mm",
        "--depth-spread",
        f"{truth.spread_mm}mm",
        "--side",
        "left",
    )
    assert found["lower_bound"] is True
    assert found["at_least_mm"] < found["length_mm"] < truth.length_mm
    assert found["length_mm"] > 0.85 * truth.length_mm
    low, high = found["interval_mm"]
    assert low < found["length_mm"] < high
    assert found["magnification"] == pytest.approx(1150 / truth.ureter_mm)
    assert found["taken"] == "2026-02-20"
    assert found["phantom"] is True
    assert len(found["station_mm"]) == len(found["points_px"])
    assert found["station_mm"][-1] == found["length_mm"]
    findings = checked_findings(found["findings"])
    assert findings["ureter-length-on-radiograph-left"]["value"] == found["length_mm"]
    assert findings["ureter-least-length-on-radiograph-left"]["value"] == found["at_least_mm"]
    assert any("lower bound" in caution for caution in found["cautions"])
    # Knowing where the beam stands square can only raise what is proven.
    column, row = PROJECTOR.foot_px
    better = measured(
        dicom,
        "--source-ureter",
        f"{truth.ureter_mm}mm",
        "--depth-spread",
        f"{truth.spread_mm}mm",
        "--central-ray",
        f"{column},{row}",
    )
    assert found["at_least_mm"] < better["at_least_mm"] < truth.length_mm


def test_a_picture_with_a_ruler_gives_the_same_length(dicom: Path, png: Path) -> None:
    """The ruler lies 945 mm from the source, known to be 150 mm long between its end marks."""
    truth = thrown()
    ends = [f"{c:.2f},{r:.2f}" for c, r in truth.ruler_px]
    by_ruler = measured(
        png,
        "--scale",
        *ends,
        "150mm",
        "--scale-depth",
        "945mm",
        "--source-ureter",
        f"{truth.ureter_mm}mm",
        "--taken",
        "2026-02-20",
    )
    by_distances = measured(dicom, "--source-ureter", f"{truth.ureter_mm}mm")
    assert by_ruler["length_mm"] == pytest.approx(by_distances["length_mm"], rel=5e-4)
    assert by_ruler["taken"] == "2026-02-20"
    assert by_ruler["at_least_mm"] is None
    assert any("names no person" in caution for caution in by_ruler["cautions"])


def test_unknown_magnification_gives_no_length(dicom: Path, png: Path) -> None:
    for file in (dicom, png):
        found = measured(file)
        assert found["length_mm"] is None
        assert found["interval_mm"] is None
        assert found["station_mm"] is None
        assert any("not known" in caution for caution in found["cautions"])
        checked_findings(found["findings"])
    # The shadow's own length says nothing of the ureter, but is there to be seen.
    assert measured(dicom)["detector_length_mm"] > 0
    assert measured(png)["taken"] is None


def test_the_words_and_the_picture(dicom: Path, tmp_path: Path) -> None:
    for name, start in (("course.svg", b"<?xml"), ("course.png", b"\x89PNG")):
        out = tmp_path / name
        ran = thalweg(
            "radiograph", dicom, *thrown().options, "--source-ureter", "95cm", "--picture", out
        )
        assert ran.code == 0, ran.err
        assert "lower bound" in ran.out
        assert f"Written: {out}" in ran.out
        assert out.read_bytes().startswith(start)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (["--source-ureter", "950"], "number without a unit"),
        (["--source-ureter", "950kg"], "--source-ureter"),
        (["--source-ureter", "-5cm"], "not above 0"),
        (["--source-ureter", "5m"], "between source and detector"),
        (["--side", "middle"], "no side"),
        (["--taken", "yesterday"], "not a date"),
        (["--scale", "1,1", "1,300", "80"], "number without a unit"),
        (["--scale", "1,1", "1", "80mm"], "not a place in a picture"),
        (["--scale-depth", "ureter"], "without a scale"),
        (["--scale", "1,1", "1,300", "80mm", "--scale-depth", "skin"], "--scale-depth"),
        (["--picture", "course.bmp"], ".svg or .png"),
        (["--frame", "2"], "no frame 2"),
        (["--point", "9000,2"], "outside the picture"),
        (["--central-ray", "x,y"], "--central-ray"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(dicom: Path, options: list[str], word: str) -> None:
    ran = thalweg("radiograph", dicom, *thrown().options, *options)
    assert word in ran.refusal("Example", "1961")


def test_other_files_are_refused(tmp_path: Path) -> None:
    note = tmp_path / "note.txt"
    note.write_text("no picture")
    points = ["--point", "1,1", "--point", "2,9"]
    assert "neither DICOM nor" in thalweg("radiograph", note, *points).refusal()
    assert "folder" in thalweg("radiograph", tmp_path, *points).refusal()
    gone = thalweg("radiograph", tmp_path / "gone.dcm", *points).refusal()
    assert "gone.dcm" in gone
