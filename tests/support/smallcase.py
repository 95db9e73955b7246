"""A small abdomen with one ureter, and the case folder of the invented person it belongs to.

An elliptical trunk, drawn coarsely, with skin, fat, muscle and one bowed ureter full of contrast:
all that a plan needs, in seconds.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from tests.support.tubes import Tube, constant, render

from thalweg.exchange.dicom import InventedPerson, write_ct_series

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]

DAY = date(2026, 4, 1)
PERSON = InventedPerson("SU-0418", "Sample^Ben", date(1950, 1, 2), "M")
SECRETS = ("SU-0418", "Sample", "Ben ", "1950")
"""What no message may repeat."""

SHAPE = (56, 52, 60)
SPACING_MM = 2.5
LAYERS = ((0.0, 15.0), (2.5, -100.0), (15.0, 50.0), (25.0, -100.0))
"""Depth below the skin, mm, and the Hounsfield units from there on."""
START_MM = (30.0, 0.0, 54.0)
END_MM = (30.0, 0.0, -74.0)
BOW_MM = 10.0

CASE_TOML = """\
[person]
reference = "SU-0418"
name = "Ben Sample"
born = 1950-01-02
sex = "male"

[course]
at = 2026-03-02
indication = "bladder cancer"
kidneys-present = "left only"
bladder-kept = false
operation-date = 2026-04-20
planned-diversion = "cutaneous-single"
"""

MARKS_TOML = """
[images]
at = 2026-03-02

[ureter.left]
start_mm = [28.8, 0, 49]
end_mm = [28.8, 0, -69]

[[site]]
name = "left lower"
point_mm = [30, -43, 5]

[landmarks_mm]
umbilicus = [0, -49, 0]
lower-pole-left = [30, 0, 40]
"""

LABS_CSV = """\
test,value,unit,taken
creatinine,106.08,µmol/L,2026-03-01T08:30+01:00
cystatin-c,0.9,mg/L,2026-03-01T08:30+01:00
potassium,4.5,mmol/L,2026-03-01T08:30+01:00
"""


def bowed() -> Array:
    """Return the ureter's dense points, from above its upper mark to below its lower one."""
    along = np.linspace(0.0, 1.0, 400)
    start, end = np.array(START_MM), np.array(END_MM)
    straight = start + along[:, None] * (end - start)
    return np.asarray(straight - np.outer(np.sin(np.pi * along), [BOW_MM, 0.0, 0.0]))


def true_length_mm() -> float:
    """Return the ureter's length between its marks, by summing its steps."""
    course = bowed()
    between = course[(course[:, 2] <= 49.0) & (course[:, 2] >= -69.0)]
    return float(np.linalg.norm(np.diff(between, axis=0), axis=1).sum())


def trunk(finer: int = 1) -> tuple[tuple[int, int, int], Array, Array]:
    """Return shape, index-to-LPS matrix and tissue without a ureter; `finer` divides the pixels."""
    shape = (SHAPE[0], SHAPE[1] * finer, SHAPE[2] * finer)
    spacing = SPACING_MM / finer
    to_lps = np.eye(4)
    to_lps[:3, :3] = [[0, 0, spacing], [0, spacing, 0], [SPACING_MM, 0, 0]]
    to_lps[:3, 3] = (-74.0, -54.0, -78.0)
    index = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"))
    x, y, _ = np.tensordot(to_lps[:3, :3], index, 1) + to_lps[:3, 3][:, None, None, None]
    depth = 55.0 * (1.0 - np.hypot(x / 68.0, (y - 6.0) / 55.0))
    tissue = np.full(shape, -1000.0)
    for border, hounsfield in LAYERS:
        tissue += np.clip((depth - border) / spacing + 0.5, 0.0, 1.0) * (hounsfield - tissue)
    return shape, to_lps, tissue


@cache
def abdomen() -> ImageVolume:
    """Return the abdomen's image."""
    shape, to_lps, tissue = trunk()
    ureter = Tube(bowed(), constant(2.5), constant(400.0))
    return render([ureter], shape, to_lps, tissue_hu=tissue, noise_hu=10.0)


def write_images(folder: Path, *, seed: str = "small") -> list[Path]:
    """Write the abdomen as a CT series."""
    return write_ct_series(
        abdomen(),
        folder,
        person=PERSON,
        study_at=datetime(2026, 3, 2, 9, tzinfo=UTC),
        description="small",
        seed=seed,
    )


def write_small_case(
    folder: Path, *, case_toml: str = CASE_TOML, labs: str = LABS_CSV, images: bool = True
) -> Path:
    """Write the case folder; without images, without marks too."""
    folder.mkdir(parents=True)
    marks = MARKS_TOML if images else ""
    folder.joinpath("case.toml").write_text(case_toml + marks, encoding="utf-8")
    folder.joinpath("labs.csv").write_text(labs, encoding="utf-8")
    if images:
        write_images(folder / "ct")
    return folder
