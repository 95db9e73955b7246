"""Small artificial CT series on disk, and ways to spoil them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pydicom import Dataset, dcmread

from thalweg.errors import ImageError
from thalweg.exchange.dicom import InventedPerson, survey, write_ct_series
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import ArrayLike, NDArray

PERSON = InventedPerson("INVENTED-4711", "Nobody^Nemo", date(1951, 3, 9), "F")
STUDY_AT = datetime(2026, 2, 3, 14, 5, 6, tzinfo=UTC)


def matrix(
    spacing_mm: ArrayLike = (2.0, 0.75, 0.5),
    origin_mm: ArrayLike = (-120.5, -98.25, 310.0),
    rotation: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Index (plane, row, column) to LPS: axial planes from the feet up, then turned."""
    axes = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])
    turned = axes if rotation is None else rotation @ axes
    to_lps = np.eye(4)
    to_lps[:3, :3] = turned * np.asarray(spacing_mm, dtype=float)
    to_lps[:3, 3] = origin_mm
    return to_lps


def artificial(
    shape: tuple[int, int, int] = (5, 6, 8), to_lps: NDArray[np.float64] | None = None
) -> ImageVolume:
    """Return a phantom of seeded noise over the whole usual CT range."""
    values = np.random.default_rng(20260203).integers(-1024, 3072, shape).astype(np.int16)
    return ImageVolume(values, matrix() if to_lps is None else to_lps, phantom=True)


def written(folder: Path, volume: ImageVolume | None = None, **changes: Any) -> list[Path]:
    """Write a volume as a series; `changes` go to the writer."""
    settings: dict[str, Any] = {
        "person": PERSON,
        "study_at": STUDY_AT,
        "description": "Excretory",
        "seed": "tests",
    }
    return write_ct_series(artificial() if volume is None else volume, folder, **settings | changes)


def edited(path: Path, edit: Callable[[Dataset], object]) -> None:
    """Change one file's data set in place."""
    header = dcmread(path)
    edit(header)
    header.save_as(path)


def setting(**attributes: Any) -> Callable[[Dataset], None]:
    """Return an edit that sets attributes; None removes one."""

    def edit(header: Dataset) -> None:
        for keyword, value in attributes.items():
            if value is None:
                delattr(header, keyword)
            else:
                setattr(header, keyword, value)

    return edit


def refusal(folder: Path) -> ImageError:
    """Return the error a folder is refused with, checked for form and discretion."""
    with pytest.raises(ImageError) as caught:
        survey(folder)
    checked_sentence(caught.value)
    return caught.value


def checked_sentence(error: ImageError) -> None:
    """Check that an error is one sentence with place and mend, and names nobody."""
    sentence = str(error)
    assert error.where
    assert error.mend
    assert sentence.endswith(".")
    assert "\n" not in sentence
    for secret in (PERSON.patient_id, "Nobody", "Nemo", "19510309", "1951"):
        assert secret not in sentence
