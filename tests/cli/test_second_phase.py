"""`thalweg trace --second`: two phases, one shut where the other is open."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tests.support import tubes
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import PERSON

from thalweg.exchange.dicom import write_ct_series

if TYPE_CHECKING:
    from pathlib import Path

LINE = tubes.arc(60.0, 1.7)
MOVED = np.array([1.0, -2.0, 4.0])


def phase(folder: Path, line: tubes.Array, start: float, end: float, minute: int) -> Path:
    tube = tubes.Tube(
        line, tubes.constant(2.2), lambda s: np.where((s > start) & (s < end), 0.0, 420.0)
    )
    shape, to_lps = tubes.grid(LINE, (1.25, 0.9, 0.9), margin_mm=24.0)
    write_ct_series(
        tubes.render([tube], shape, to_lps, seed=minute),
        folder,
        person=PERSON,
        study_at=datetime(2026, 3, 2, 9, minute, tzinfo=UTC),
        description="phase",
        seed="two phases",
    )
    return folder


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    home = tmp_path_factory.mktemp("phases")
    return (
        phase(home / "first", LINE, 40.0, 58.0, 10),
        phase(home / "second", LINE + MOVED, 75.0, 88.0, 20),
    )


def at(point: tubes.Array) -> str:
    return ",".join(f"{value:.3f}" for value in point)


def test_a_gap_that_opens_is_said(two: tuple[Path, Path]) -> None:
    first, second = two
    ends = ("--start", at(LINE[0]), "--end", at(LINE[-1]))
    own = ("--second-start", at(LINE[0] + MOVED), "--second-end", at(LINE[-1] + MOVED))
    found = thalweg("trace", first, *ends, "--second", second, *own, "--json").json
    (gap,) = found["gaps"]
    (stretch,) = found["second"]["stretches"]
    assert stretch["kind"] == "gap"
    assert stretch["from_mm"] == gap["from_mm"]
    assert stretch["verdict"] == "opened"
    assert stretch["least_calibre_mm"] == pytest.approx(4.4, abs=0.5)
    assert found["second"]["length_mm"] == pytest.approx(60.0 * 1.7, rel=0.01)
    checked_findings(found["second"]["findings"])
    told = thalweg("trace", first, *ends, "--second", second, *own)
    assert told.code == 0
    assert "it was peristalsis, not fixed" in told.out
    assert "frame of reference" not in told.out


def test_marks_of_the_first_are_used_and_that_is_said(two: tuple[Path, Path]) -> None:
    first, second = two
    ends = ("--start", at(LINE[4]), "--end", at(LINE[-5]))
    told = thalweg("trace", first, *ends, "--second", second)
    assert told.code == 0
    assert "both series are taken to share one frame of reference" in told.out


def test_what_cannot_be_is_refused(two: tuple[Path, Path], tmp_path: Path) -> None:
    first, second = two
    ends = ("--start", at(LINE[0]), "--end", at(LINE[-1]))
    half = thalweg("trace", first, *ends, "--second", second, "--second-start", at(LINE[0]))
    assert "--second-end is missing" in half.refusal()
    lone = thalweg("trace", first, *ends, "--second-end", at(LINE[-1]))
    assert "there is no second phase" in lone.refusal()
    nowhere = thalweg("trace", first, *ends, "--second", tmp_path / "none")
    assert "second phase" in nowhere.refusal()
    away = ("--second-start", "900,0,0", "--second-end", at(LINE[-1]))
    outside = thalweg("trace", first, *ends, "--second", second, *away).refusal()
    assert "second phase, start" in outside
