"""Artificial MR series: judged by dicom3tools, read back, and traced by the command line.

The whole chain from an artificial infant's MR urogram; its truth is the phantom's own geometry.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.dicom_series import PERSON, STUDY_AT, artificial
from tests.support.toolkits import toolkit

from thalweg.exchange.dicom import read_volume, write_ct_series, write_mr_series
from thalweg.phantom.magnetic import MagneticScanner, render_magnetic
from thalweg.phantom.scenario import infant

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.phantom.render import Phantom
    from thalweg.record.image import ImageVolume

SETTINGS: dict[str, Any] = {
    "person": PERSON,
    "study_at": STUDY_AT,
    "description": "Excretory",
    "seed": "tests",
}


def few_planes() -> ImageVolume:
    volume = artificial((3, 6, 8))
    return replace(volume, values=np.abs(volume.values), modality="MR")


def test_dicom3tools_finds_no_fault_in_mr(tmp_path: Path) -> None:
    for path in write_mr_series(few_planes(), tmp_path / "mr", **SETTINGS):
        verdict = toolkit("dciodvfy", "-new", path)
        assert verdict.returncode == 0, verdict.stderr
        findings = verdict.stdout + verdict.stderr
        assert "MRImage" in findings
        assert "Error" not in findings, findings
        assert "Warning" not in findings, findings


def test_mr_is_read_back_as_it_was(tmp_path: Path) -> None:
    volume = few_planes()
    write_mr_series(volume, tmp_path / "mr", **SETTINGS)
    again = read_volume(tmp_path / "mr")
    assert again.modality == "MR"
    assert again.phantom
    assert again.values.dtype == np.float32
    np.testing.assert_array_equal(again.values, volume.values)
    np.testing.assert_allclose(again.to_lps, volume.to_lps, atol=1e-9)


def test_each_writer_takes_only_its_own_kind(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="CT series"):
        write_ct_series(few_planes(), tmp_path / "a", **SETTINGS)
    with pytest.raises(ValueError, match="MR series"):
        write_mr_series(artificial((3, 6, 8)), tmp_path / "b", **SETTINGS)
    below = replace(few_planes(), values=few_planes().values - np.int16(5))
    with pytest.raises(ValueError, match="0 or more"):
        write_mr_series(below, tmp_path / "c", **SETTINGS)


@pytest.fixture(scope="module")
def mr_folder(tmp_path_factory: pytest.TempPathFactory) -> tuple[Phantom, Path]:
    phantom = render_magnetic(
        infant(), spacing_mm=(1.5, 1.0, 1.0), scanner=MagneticScanner(psf_mm=1.0, seed=8201)
    )
    folder = tmp_path_factory.mktemp("magnetic") / "mr"
    write_mr_series(phantom.volume, folder, **SETTINGS)
    return phantom, folder


def test_trace_of_an_mr_folder(mr_folder: tuple[Phantom, Path]) -> None:
    phantom, folder = mr_folder
    tube = phantom.truth.left
    start, end = tube.centreline.points_mm[[0, -1]]
    ran = thalweg(
        "trace",
        folder,
        "--start",
        ",".join(map(str, start)),
        "--end",
        ",".join(map(str, end)),
        "--json",
    )
    found = ran.json
    assert found["length_mm"] == pytest.approx(tube.length_mm, rel=0.01)
    assert abs(found["length_mm"] - tube.length_mm) < 2 * found["length_sd_mm"]
    said = " ".join(found["cautions"])
    assert "Traced on MR, whose units are arbitrary" in said
    assert "phantom" in said
    assert " HU" not in said
    findings = checked_findings(found["findings"])
    length = findings["ureter-length"]
    assert any("soft tissue" in caution for caution in length["cautions"])
