"""The invented person's renogram, as a gamma camera and whoever drew the regions would leave it.

A left kidney that takes up little and is held up, with furosemide given after 20 minutes; a right
one that makes up for it and drains.
"""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from thalweg.assess.renogram.regions import outline_of
from thalweg.exchange.casefile.renograms import FOLDER
from thalweg.exchange.casefile.renograms import REGIONS as REGION_CONCEPTS
from thalweg.exchange.dicom import write_dynamic
from thalweg.exchange.regions import regions_toml
from thalweg.phantom.renogram import RenogramSpec, renogram_image
from thalweg.phantom.tracer import KidneySpec
from thalweg.record.fact import Fact, FactValue, Origin, PixelMark

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from thalweg.exchange.dicom import InventedPerson
    from thalweg.exchange.regions import Corners
    from thalweg.phantom.renogram import RenogramTruth

__all__ = ["write_renogram"]

FILE: Final = "mag3.dcm"
REGIONS: Final = "regions.toml"
COUNTED: Final = datetime(2026, 10, 21, 10, 15, tzinfo=timezone(timedelta(hours=1)))
SEED: Final = 20
COARSE_PX: Final = 0.7
"""How far an outline drawn by hand may leave the true one."""
SPEC: Final = RenogramSpec(
    left=KidneySpec(uptake_per_s=0.00052, outflow_limit_ml_min=1.3, pelvis_ml=45.0),
    right=KidneySpec(uptake_per_s=0.00088),
    furosemide_s=1200.0,
    acquired=COUNTED.date().isoformat(),
)
"""37 % on the left, as a kidney with a narrowed ureter may come to."""

STATED: Final[tuple[tuple[str, FactValue, str | None], ...]] = (
    ("renogram-furosemide", Decimal(20), "min"),
    ("renogram-drained", True, None),
    ("renogram-hydrated", True, None),
    ("renogram-reflux", False, None),
)
"""What the request form says. Nobody has said whether both kidneys are ill."""


def write_renogram(
    folder: Path, person: InventedPerson, origin: Origin
) -> tuple[tuple[Fact, ...], RenogramTruth]:
    """Write the camera's file and the regions, and return what the case file says of them.

    Parameters
    ----------
    folder : Path
        The case folder.
    person : InventedPerson
        Whom the file names.
    origin : Origin
        Of the facts.

    Returns
    -------
    facts : tuple of Fact
        As a case file states them: with the file's name.
    truth : RenogramTruth
    """
    image, regions, truth = renogram_image(SPEC, SEED)
    inside = folder / FOLDER
    inside.mkdir()
    write_dynamic(
        image,
        inside / FILE,
        person=person,
        study_at=COUNTED,
        description="MAG3 renogram with furosemide",
        seed="demonstration",
    )
    drawn = {role: _by_hand(regions[role]) for role in ("left", "right", "blood", "bladder")}
    (inside / REGIONS).write_text(regions_toml(drawn), encoding="utf-8")
    at = COUNTED.date()
    facts = [Fact("renogram", FILE, None, at, origin, FILE)]
    facts += [Fact(key, value, unit, at, origin, FILE) for key, value, unit in STATED]
    table = Origin("table", f"{FOLDER}/{REGIONS}")
    facts += [
        Fact(REGION_CONCEPTS[role], PixelMark(corners, FILE), None, at, table, FILE)
        for role, corners in drawn.items()
    ]
    return tuple(facts), truth


def _by_hand(region: NDArray[np.bool_]) -> Corners:
    """Return an outline of some dozen corners, as a person draws one."""
    from skimage.measure import approximate_polygon  # noqa: PLC0415 - slow to load

    whole = np.array([*outline_of(region), outline_of(region)[0]])
    coarse: Any = approximate_polygon  # the library says no types of it
    corners = coarse(whole, COARSE_PX)[:-1]
    return tuple((round(float(column), 1), round(float(row), 1)) for column, row in corners)
