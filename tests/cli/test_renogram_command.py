"""`thalweg renogram` as a user runs it, on artificial renograms with known truth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.support.commands import Ran, checked_findings, thalweg
from tests.support.renogram_files import (
    OPTIONS,
    curved,
    pictured,
    write_camera_file,
    write_curves,
    write_regions,
)

from thalweg.record.renogram import ROLES

if TYPE_CHECKING:
    from pathlib import Path

SECRETS = ("SU-0417", "Ada", "Example", "1961")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the camera's file, regions and the same study as a table."""
    home = tmp_path_factory.mktemp("renogram")
    write_camera_file(home / "study.dcm")
    write_regions(home / "regions.toml")
    write_curves(home / "study.csv")
    return home


def on_pictures(folder: Path, *options: object) -> Ran:
    """Run the command on the camera's file with its regions."""
    regions = folder / "regions.toml"
    return thalweg("renogram", folder / "study.dcm", "--regions", regions, *OPTIONS, *options)


def on_table(folder: Path, *options: object) -> Ran:
    """Run the command on the table."""
    return thalweg("renogram", folder / "study.csv", *options)


@pytest.fixture(scope="module")
def counted(folder: Path) -> Any:
    """Return the answer from the camera's file."""
    return on_pictures(
        folder, "--drained", "--hydrated", "--no-reflux", "--age", "65", "--json"
    ).json


@pytest.fixture(scope="module")
def tabled(folder: Path) -> Any:
    """Return the answer from the table."""
    return on_table(folder, "--json").json


def test_the_truth_lies_within_the_intervals(counted: Any, tabled: Any) -> None:
    _, _, truth = pictured()
    for found in (counted, tabled):
        low, high = found["share_left_interval_percent"]
        assert low < truth.share_left_percent < high
        assert low < found["share_left_percent"] < high
        assert found["share_left_percent"] + found["share_right_percent"] == pytest.approx(100)
        assert found["methods_agree"] == "met"
        low, high = found["kidneys"]["right"]["peak_interval_min"]
        assert low < truth.peak_s("right") / 60 < high
        (twenty, *_) = found["kidneys"]["right"]["residuals"]
        assert twenty["moment"] == "20 min"
        low, high = twenty["ratio_interval"]
        # Published for the mean of the minute about 20 min.
        assert low - 0.02 < truth.residual("right", 1170.0, 1230.0) < high + 0.02


def test_the_held_up_kidney_is_told_from_the_one_that_drains(counted: Any) -> None:
    left, right = counted["kidneys"]["left"], counted["kidneys"]["right"]
    assert left["verdict"] == "impaired drainage"
    assert left["half_time_state"] == "not reached"
    assert left["half_time_min"] is None
    assert right["verdict"] == "drains"
    assert right["half_time_state"] == "reached"
    assert right["half_time_min"] < 20
    # Never from a single criterion.
    for one in (left, right):
        assert sum(each["truth"] == "met" for each in one["criteria"]) >= 2
    assert counted["timing"] == "F+20"
    assert counted["furosemide_min"] == 20.0


def test_every_finding_is_whole_and_every_number_has_its_unit(counted: Any) -> None:
    findings = checked_findings(counted["findings"])
    assert findings["renogram-share-left"]["value"] == counted["share_left_percent"]
    assert findings["renogram-left-drainage"]["value"] == "impaired drainage"
    assert {one["date"][:10] for one in counted["findings"]} == {"2026-02-20"}
    units = ("_s", "_min", "_percent", "_counts", "_pixels", "_ratio", "_interval", "_probability")

    def walk(value: Any, key: str) -> None:
        if isinstance(value, dict):
            for name, inner in value.items():
                # A role or a side below a key that has the unit stands for that key.
                walk(inner, key if name in ROLES else name)
        elif isinstance(value, list):
            for inner in value:
                walk(inner, key)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            assert key == "ratio" or key.endswith((*units, "_per_s")), key

    walk({name: value for name, value in counted.items() if name != "findings"}, "")


def test_the_curves_are_the_counts_less_their_background(tabled: Any) -> None:
    study, _ = curved()
    curve = tabled["kidneys"]["left"]["curve"]
    background = tabled["kidneys"]["left"]["background"]
    assert curve["middle_s"] == pytest.approx(study.middles_s.tolist())
    assert background["region"] == "left-background"
    assert background["area_ratio"] == pytest.approx(
        study.pixels["left"] / study.pixels["left-background"]
    )
    undone = np.exp2(study.middles_s / study.half_life_s)
    beside = background["area_ratio"] * study.counts["left-background"]
    expected = undone * (study.counts["left"] - beside) / study.durations_s
    assert curve["rate_counts_per_s"] == pytest.approx(expected.tolist(), rel=1e-9, abs=1e-9)


def test_what_nobody_stated_is_said_and_the_verdict_is_not_firm(
    counted: Any, tabled: Any, folder: Path
) -> None:
    assert tabled["kidneys"]["left"]["circumstances_known"] == "not known"
    assert any("ydration" in reason for reason in tabled["kidneys"]["left"]["reasons"])
    assert counted["kidneys"]["left"]["circumstances_known"] == "met"
    undrained = on_pictures(folder, "--not-drained", "--json").json
    assert undrained["kidneys"]["left"]["circumstances_known"] == "not met"
    assert any("ring round the kidney" in caution for caution in counted["cautions"])
    assert any("phantom" in caution for caution in counted["cautions"])


def test_a_person_reads_both_kidneys_side_by_side(folder: Path) -> None:
    ran = on_table(folder)
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0] == "Renogram of 2026-02-20, MAG3, posterior view, F+20."
    assert lines[1].startswith("Left kidney's share: ")
    assert "%" in lines[1]
    head = next(line for line in lines if line.split() == ["left", "right"])
    drainage = next(line for line in lines if line.startswith("drainage"))
    assert drainage.index("drains") == head.index("right")
    assert any(line.startswith("! ") and "phantom" in line for line in lines)
    assert "does not replace licensed judgement" in lines[-1]
    # A reason that holds of both kidneys is told once.
    assert sum("Hydration is not stated" in line for line in lines) == 1


def test_one_kidney_has_no_share(folder: Path) -> None:
    found = on_table(folder, "--single-kidney", "left", "--json").json
    assert found["share_left_percent"] is None
    assert checked_findings(found["findings"])["renogram-share-left"]["value"] is None
    assert any("share has no meaning" in sentence for sentence in found["said"])


def test_pictures_are_written(folder: Path, tmp_path: Path) -> None:
    signs = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}
    for kind, sign in signs.items():
        curves, uptake = tmp_path / f"curves.{kind}", tmp_path / f"uptake.{kind}"
        ran = on_pictures(folder, "--picture", curves, "--uptake-picture", uptake)
        assert ran.code == 0, ran.err
        assert f"Written: {curves}" in ran.out
        assert curves.read_bytes().startswith(sign)
        assert uptake.read_bytes().startswith(sign)


def test_a_series_in_a_folder_reads_as_its_file(folder: Path, tmp_path: Path, counted: Any) -> None:
    (tmp_path / "series").mkdir()
    write_camera_file(tmp_path / "series" / "a.dcm")
    found = thalweg(
        "renogram", tmp_path / "series", "--regions", folder / "regions.toml", *OPTIONS, "--json"
    ).json
    assert found["share_left_percent"] == counted["share_left_percent"]
    assert found["source_id"] == counted["source_id"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--furosemide", "20"), "--furosemide: a number without a unit"),
        (("--furosemide", "20mg"), "--furosemide"),
        (("--furosemide", "soon"), "not a number with a unit"),
        (("--furosemide", "0min"), "the file says that furosemide was given at 20 min, you 0 min"),
        (("--given", "30"), "--given: a number without a unit"),
        (("--emptied", "-5min"), "not after the tracer was given"),
        (("--view", "lateral"), "--view: 'lateral' cannot be meant"),
        (("--view", "anterior"), "the file says that the view was posterior, you anterior"),
        (("--left-at", "above"), "--left-at: 'above' cannot be meant"),
        (("--left-at", "right"), "a table has no picture"),
        (("--detector", "2"), "a table has no picture for which to state a detector"),
        (("--energy-window", "0"), "--energy-window"),
        (("--single-kidney", "both"), "--single-kidney: 'both' cannot be meant"),
        (("--age", "old"), "--age"),
        (("--age", "200"), "an age of 200 years is not one"),
        (("--acquired", "yesterday"), "--acquired: 'yesterday' is not a date"),
        (("--picture", "curves.gif"), "--picture: pictures of kind 'gif' are not drawn"),
        (("--uptake-picture", "u.png"), "a table holds no pictures"),
    ],
)
def test_options_that_cannot_be_meant_are_refused_in_one_sentence(
    folder: Path, options: tuple[str, ...], said: str
) -> None:
    assert said in on_table(folder, *options).refusal(*SECRETS)


def test_files_that_cannot_be_used_are_refused(folder: Path, tmp_path: Path) -> None:
    assert "no region is drawn" in thalweg("renogram", folder / "study.dcm").refusal(*SECRETS)
    both = thalweg("renogram", folder / "study.csv", folder / "study.dcm")
    assert "2 files are given and the first is a table" in both.refusal(*SECRETS)
    assert "--" not in thalweg("renogram", tmp_path / "gone.csv").refusal(*SECRETS)
    (tmp_path / "empty").mkdir()
    assert "no DICOM files" in thalweg("renogram", tmp_path / "empty").refusal(*SECRETS)
    # The wrong side round is a refusal, not another answer.
    turned = (folder / "regions.toml").read_text(encoding="utf-8")
    turned = turned.replace("left", "other").replace("right", "left").replace("other", "right")
    (tmp_path / "turned.toml").write_text(turned, encoding="utf-8")
    ran = thalweg("renogram", folder / "study.dcm", "--regions", tmp_path / "turned.toml")
    assert "left kidney lies to the right" in ran.refusal(*SECRETS)


def test_nothing_is_written_beside_a_refusal(folder: Path, tmp_path: Path) -> None:
    curves = tmp_path / "curves.png"
    on_table(folder, "--picture", curves, "--uptake-picture", tmp_path / "u.png").refusal()
    assert list(tmp_path.iterdir()) == []


def test_a_study_without_a_day_needs_one(folder: Path, tmp_path: Path) -> None:
    bare = tmp_path / "bare.csv"
    text = (folder / "study.csv").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not line.startswith("# acquired")]
    bare.write_text("\n".join(kept), encoding="utf-8")
    assert "has no date" in thalweg("renogram", bare).refusal()
    found = thalweg("renogram", bare, "--acquired", "2026-02-21", "--json").json
    assert found["acquired"] == "2026-02-21"
    other = on_table(folder, "--acquired", "2026-02-21", "--json").json
    assert other["acquired"].startswith("2026-02-20")
    assert any("the file's date was kept" in caution for caution in other["cautions"])


def test_a_unit_s_own_rules_take_the_place_of_ours(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "renogram.toml").write_text(
        '[half-time-long]\nabove_min = 5\nsource = "our own"\n', encoding="utf-8"
    )
    found = on_table(folder, "--protocol", tmp_path, "--json").json
    criteria = {one["key"]: one for one in found["kidneys"]["right"]["criteria"]}
    assert criteria["half-time-long"]["truth"] == "met"
    assert criteria["half-time-long"]["source"] == "our own"
    usual = on_table(folder, "--json").json["kidneys"]["right"]["criteria"]
    assert {one["key"]: one["truth"] for one in usual}["half-time-long"] == "not met"
