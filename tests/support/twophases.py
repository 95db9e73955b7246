"""The small abdomen in two phases: one ureter with a wave of peristalsis and a fixed narrowing.

The wave narrows the first phase alone; the fixed narrowing stands in both. Where they lie and how
wide the ureter is there is stated here, and rendered by a code that shares nothing with the tracer.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from tests.support.smallcase import (
    CASE_TOML,
    LABS_CSV,
    MARKS_TOML,
    PERSON,
    Array,
    bowed,
    trunk,
)
from tests.support.tubes import Tube, constant, render

from thalweg.exchange.dicom import write_ct_series

if TYPE_CHECKING:
    from pathlib import Path

    from tests.support.tubes import Along

    from thalweg.record.image import ImageVolume

RADIUS_MM = 3.0
TIGHT_MM = 1.3
"""Radius within a narrowing."""

ABOVE_MARK_MM = 5.2
"""Length of the ureter above its upper mark: tube stations less this are stations of the course."""

WAVE_MM = (45.0, 55.0)
FIXED_MM = (82.0, 92.0)
"""Stations of the course between which the ureter is narrow."""

MOVED_MM = np.array([0.5, -1.0, 2.0])
"""How far breathing moved the ureter between the phases."""

TWO_PHASES_TOML = MARKS_TOML.replace(
    "at = 2026-03-02\n", 'at = 2026-03-02\nfolder = "ct"\n', 1
).replace("end_mm = [28.8, 0, -69]\n", 'end_mm = [28.8, 0, -69]\nsecond = "late"\n', 1)


def narrowed(*stretches: tuple[float, float]) -> Along:
    """Return a radius along the tube that is narrow in each stretch of the course."""

    def radius(station: Array) -> Array:
        along = station - ABOVE_MARK_MM
        tight = np.zeros(len(along), dtype=bool)
        for start, end in stretches:
            tight |= (along > start) & (along < end)
        return np.where(tight, TIGHT_MM, RADIUS_MM)

    return radius


def phase(moved_mm: Array, *stretches: tuple[float, float], seed: int = 0) -> ImageVolume:
    """Return one phase's image."""
    shape, to_lps, tissue = trunk(finer=2)
    tube = Tube(bowed() + moved_mm, narrowed(*stretches), constant(400.0))
    return render([tube], shape, to_lps, tissue_hu=tissue, noise_hu=10.0, seed=seed)


def write_phase(folder: Path, volume: ImageVolume, *, minute: int = 0) -> None:
    """Write a phase as a CT series; another minute is another study and frame of reference."""
    write_ct_series(
        volume,
        folder,
        person=PERSON,
        study_at=datetime(2026, 3, 2, 9, minute, tzinfo=UTC),
        description=folder.name,
        seed="two phases",
    )


def write_two_phases(folder: Path, *, marks: str = TWO_PHASES_TOML) -> Path:
    """Write the case folder with the series ``ct`` and ``late``."""
    folder.mkdir(parents=True)
    folder.joinpath("case.toml").write_text(CASE_TOML + marks, encoding="utf-8")
    folder.joinpath("labs.csv").write_text(LABS_CSV, encoding="utf-8")
    write_phase(folder / "ct", phase(np.zeros(3), WAVE_MM, FIXED_MM))
    write_phase(folder / "late", phase(MOVED_MM, FIXED_MM, seed=1))
    return folder
