"""An artificial renogram, written as a camera writes it, gives its curves back through regions."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from thalweg.assess.renogram.regions import (
    check_regions,
    outline_of,
    propose_background,
    regions_of,
)
from thalweg.exchange.dicom import InventedPerson, read_dynamic, write_dynamic
from thalweg.exchange.regions import read_regions, regions_toml
from thalweg.exchange.renogram_table import read_renogram_table
from thalweg.exchange.write_renogram_table import write_renogram_table
from thalweg.phantom.renogram import RenogramSpec, renogram_image
from thalweg.record.renogram import KIDNEYS

if TYPE_CHECKING:
    from thalweg.record.renogram import Renogram

PAGE = Path(__file__).parents[2] / "docs" / "renogram-files.md"


def equal(ours: Renogram, theirs: Renogram) -> None:
    np.testing.assert_array_equal(ours.starts_s, theirs.starts_s)
    np.testing.assert_array_equal(ours.durations_s, theirs.durations_s)
    assert ours.counts.keys() == theirs.counts.keys()
    for role, curve in ours.counts.items():
        np.testing.assert_array_equal(curve, theirs.counts[role])
    assert dict(ours.pixels) == dict(theirs.pixels)


@pytest.mark.parametrize("view", ["posterior", "anterior"])
def test_from_phantom_to_file_to_curves_to_table(tmp_path: Path, view: str) -> None:
    image, truth_regions, _ = renogram_image(RenogramSpec(view=view), seed=7)
    file, outlines, table = (tmp_path / name for name in ("r.dcm", "r.toml", "r.csv"))
    write_dynamic(
        image,
        file,
        person=InventedPerson("RG-7", "Example^Ada", date(1961, 3, 4), "F"),
        study_at=datetime(2026, 3, 1, 8, 30, tzinfo=UTC),
        description="Renogram",
        seed="tests",
    )
    read = read_dynamic(file)
    np.testing.assert_array_equal(read.image.counts, image.counts)
    assert (read.image.view, read.image.left_at) == (view, image.left_at)
    drawn = {
        role: outline_of(region)
        for role, region in truth_regions.items()
        if "background" not in role
    }
    outlines.write_text(regions_toml(drawn), encoding="utf-8")
    rows, columns = image.counts.shape[1:]
    regions = regions_of(read_regions(outlines), (rows, columns))
    for role in drawn:
        np.testing.assert_array_equal(regions[role], truth_regions[role])
    assert check_regions(regions, read.image.left_at) == ()
    rings = propose_background(regions)
    curves = read.curves(regions | rings, furosemide_s=1200.0)
    equal(curves, image.curves(regions | rings))
    uptake = (curves.middles_s > 60) & (curves.middles_s < 120)
    for side in KIDNEYS:  # a kidney takes up more in an area than what lies round it
        dense = curves.counts[side][uptake].sum() / curves.pixels[side]
        assert (
            dense
            > 2
            * curves.counts[f"{side}-background"][uptake].sum()
            / (curves.pixels[f"{side}-background"])
        )
    write_renogram_table(curves, table)
    again = read_renogram_table(table)
    equal(again, curves)
    assert (again.view, again.furosemide_s, again.phantom) == (view, 1200.0, True)


def test_the_pages_examples_read(tmp_path: Path) -> None:
    """What the documentation prints is what the readers take."""
    blocks = re.findall(r"```(text|toml)\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    curves, outlines, corners = (text for _, text in blocks)
    (tmp_path / "curves.csv").write_text(curves, encoding="utf-8")
    read = read_renogram_table(tmp_path / "curves.csv")
    assert read.counts["left"].tolist() == [1204.0, 1688.0, 4120.0]
    assert read.furosemide_s == 1200.0
    (tmp_path / "r.toml").write_text(outlines, encoding="utf-8")
    regions = regions_of(read_regions(tmp_path / "r.toml"), (128, 128))
    assert check_regions(regions, "left") == ()
    (tmp_path / "r.csv").write_text(corners, encoding="utf-8")
    assert read_regions(tmp_path / "r.csv") == {"left": ((40, 52), (50, 50), (53, 60))}
