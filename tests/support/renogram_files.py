"""An artificial renogram of the case folder's invented person: camera file, regions, table."""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import cache
from typing import TYPE_CHECKING

from thalweg.assess.renogram.regions import outline_of
from thalweg.exchange.dicom import InventedPerson, write_dynamic
from thalweg.exchange.regions import regions_toml
from thalweg.exchange.write_renogram_table import write_renogram_table
from thalweg.phantom.renogram import RenogramSpec, renogram, renogram_image
from thalweg.phantom.tracer import KidneySpec

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from thalweg.phantom.renogram import RenogramTruth
    from thalweg.record.renogram import DynamicImage, Renogram

    Flags = NDArray[np.bool_]

DAY = date(2026, 2, 20)
SPEC = RenogramSpec(
    left=KidneySpec(uptake_per_s=0.0006, outflow_limit_ml_min=1.2, pelvis_ml=60.0),
    right=KidneySpec(uptake_per_s=0.0010),
    furosemide_s=1200.0,
    acquired=DAY.isoformat(),
)
"""The left kidney does 37.5 % and is held up; the right drains."""
OPTIONS = ("--furosemide", "20min")


@cache
def pictured() -> tuple[DynamicImage, dict[str, Flags], RenogramTruth]:
    """Return the pictures, true regions and truth."""
    return renogram_image(SPEC, seed=5)


@cache
def curved() -> tuple[Renogram, RenogramTruth]:
    """Return the curves and the truth."""
    return renogram(SPEC, seed=5)


def drawn_regions() -> dict[str, tuple[tuple[float, float], ...]]:
    """Return outlines that a person could have drawn; nobody draws the rings."""
    _, masks, _ = pictured()
    return {role: outline_of(masks[role]) for role in ("left", "right", "blood")}


def write_regions(path: Path) -> Path:
    """Write the outlines."""
    path.write_text(regions_toml(drawn_regions()), encoding="utf-8")
    return path


def write_camera_file(path: Path, *, born: date = date(1961, 3, 4)) -> Path:
    """Write the pictures as the camera would."""
    image, _, _ = pictured()
    write_dynamic(
        image,
        path,
        person=InventedPerson("SU-0417", "Example^Ada", born, "F"),
        study_at=datetime(DAY.year, DAY.month, DAY.day, 9, tzinfo=UTC),
        description="renogram",
        seed="renogram",
    )
    return path


def write_curves(path: Path) -> Path:
    """Write the curves as a table, which says furosemide, view and day itself."""
    study, _ = curved()
    write_renogram_table(study, path)
    return path
