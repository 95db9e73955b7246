"""`thalweg margins` on a small case: one ureter in an elliptical trunk."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.support.commands import thalweg

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

STEP_MM = 15.0


def test_map_picture_and_table_agree(small: OnRecord, tmp_path: Path) -> None:
    picture, table = tmp_path / "map.png", tmp_path / "map.csv"
    asked = (small.case_id, *small.where, "--step", "1.5cm", "--picture", picture, "--table", table)
    payload = thalweg("margins", *asked, "--json").json
    assert payload["step_mm"] == pytest.approx(STEP_MM)
    assert set(payload["best"]) == {"left"}
    sites = payload["sites"]
    assert len(sites) >= 20
    points = np.array([site["point_mm"] for site in sites])
    assert np.mod(points[:, [0, 2]], STEP_MM) == pytest.approx(0.0, abs=1e-9)
    # The trunk's skin is an ellipse of 68 by 55 mm about (0, 6).
    assert np.hypot(points[:, 0] / 68, (points[:, 1] - 6) / 55) == pytest.approx(1.0, abs=0.05)
    for site in sites:
        left = site["ureters"]["left"]
        told = [left[f"margin{which}_mm"] for which in ("", "_at_most", "_at_least")]
        assert sum(value is not None for value in told) <= 1
        assert left["state"] in ("reaches", "uncertain", "short", "no route found")
        if left["probability_reaches"] is not None:
            assert 0 <= left["probability_reaches"] <= 1
    counts = payload["counts"]["left"]
    assert sum(counts.values()) - counts["not known"] == len(sites)
    assert len(payload["not_known_xz_mm"]) == counts["not known"]
    assert any("does not make a site" in said for said in payload["cautions"])
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(sites)
    told = [row["left_state"] for row in rows]
    assert told == [site["ureters"]["left"]["state"] for site in sites]
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_people_read_counts_and_cautions(small: OnRecord) -> None:
    ran = thalweg("margins", small.case_id, *small.where, "--step", "20mm")
    assert ran.code == 0, ran.err
    assert "Left ureter: " in ran.out
    assert "does not make a site" in ran.out
    assert "does not replace licensed judgement" in ran.out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--step", "10"), "--step"),
        (("--step", "2mm"), "2 mm"),
        (("--step", "10kg"), "--step"),
        (("--picture", "map.bmp"), "--picture"),
    ],
)
def test_what_cannot_be_asked(small_once: OnRecord, options: tuple[str, str], said: str) -> None:
    line = thalweg("margins", small_once.case_id, *small_once.where, *options).refusal()
    assert said in line


def test_no_such_case(small_once: OnRecord) -> None:
    thalweg("margins", "none-none", *small_once.where).refusal()
