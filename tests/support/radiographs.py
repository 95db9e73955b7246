"""A small artificial radiograph on disk, with the truth about what it shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from thalweg.exchange.dicom import InventedPerson, write_radiograph
from thalweg.phantom.courses import usual_course
from thalweg.phantom.radiograph import Projector, Ruler, projected
from thalweg.phantom.tube import Tube

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.radiograph import Radiograph

TAKEN = datetime(2026, 2, 20, 9, 30, tzinfo=UTC)
PROJECTOR = Projector(
    source_mm=(0.0, -940.0, -35.0),
    source_detector_mm=1150.0,
    spacing_mm=(0.8, 0.8),
    shape=(520, 430),
    foot_px=(215.0, 260.0),
)
RULER = Ruler((-110.0, 5.0, 60.0), 150.0)


@dataclass(frozen=True)
class Thrown:
    """The picture, the left ureter's true length and depth, and where its points fall."""

    image: Radiograph
    length_mm: float
    ureter_mm: float
    spread_mm: float
    points_px: tuple[tuple[float, float], ...]
    ruler_px: tuple[tuple[float, float], tuple[float, float]]

    @property
    def options(self) -> list[str]:
        """The points as the command line takes them."""
        return [text for c, r in self.points_px for text in ("--point", f"{c:.2f},{r:.2f}")]


@cache
def thrown() -> Thrown:
    """Return a frontal radiograph of two usual ureters with a ruler beside the left one's depth."""
    left, right = (Tube(usual_course(side), 4.5) for side in ("left", "right"))
    depth = PROJECTOR.depth_of(left.centreline.points_mm)
    stations = np.linspace(0.0, left.length_mm, 14)
    pixel = PROJECTOR.pixel_of(left.centreline.point_at(stations))
    first, last = PROJECTOR.pixel_of(RULER.marks_mm()[[0, -1]])
    return Thrown(
        projected([left, right], PROJECTOR, ruler=RULER),
        left.length_mm,
        float((depth.min() + depth.max()) / 2),
        float((depth.max() - depth.min()) / 2) + 0.01,
        tuple((float(c), float(r)) for c, r in pixel),
        ((float(first[0]), float(first[1])), (float(last[0]), float(last[1]))),
    )


def written_radiograph(path: Path, *, born: date = date(1961, 3, 4)) -> Path:
    """Write it as DICOM and return where."""
    write_radiograph(
        thrown().image,
        path,
        person=InventedPerson("SU-0417", "Example^Ada", born, "F"),
        study_at=TAKEN,
        description="Urogram",
        seed="tests",
    )
    return path
