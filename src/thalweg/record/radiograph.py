"""A projection radiograph: its picture, and what is known of how it was projected.

Pixel places are ``(column, row)``, counted from 0 at the centre of the first pixel, as a person
reads them off a picture. Spacings are ``(between rows, between columns)``, as DICOM writes them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Radiograph"]

Pair = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Radiograph:
    """One projection image.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
        Grey values to be shown, the larger the brighter; bone and contrast bright. Nothing is
        measured from them.
    modality : str
        DICOM modality code (``"CR"``, ``"DX"``, ``"RF"``, ``"XA"``, ``"RG"``), or ``"OT"`` for a
        picture without a header.
    detector_spacing_mm : tuple of float, optional
        Distance between pixels at the detector, or on the film that was scanned.
    object_spacing_mm : tuple of float, optional
        Distance between pixels in the person, as the file was corrected or calibrated by others.
    object_kind : str
        How: ``"GEOMETRY"``, ``"FIDUCIAL"``, or empty where the file does not say.
    magnification : float, optional
        Source–detector over source–object distance that the file estimates, at a depth that it
        does not state.
    source_detector_mm : float, optional
        Distance of the source from the detector.
    shape_ratio : float
        Height of a pixel over its width; NaN where nothing says.
    image_id : str
        ``sha256:`` and the hash of the file.
    acquired : str
        ISO 8601 date or date and time; empty where not known.
    phantom : bool
        True when it is artificial.
    calibration : str
        What the file says of its scale, in words.
    cautions : tuple of str
        Sentences that any measurement on it must carry.
    """

    values: NDArray[np.float32]
    modality: str = "OT"
    detector_spacing_mm: Pair | None = None
    object_spacing_mm: Pair | None = None
    object_kind: str = ""
    magnification: float | None = None
    source_detector_mm: float | None = None
    shape_ratio: float = float("nan")
    image_id: str = ""
    acquired: str = ""
    phantom: bool = False
    calibration: str = ""
    cautions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.values.ndim != 2 or min(self.values.shape) < 2:
            msg = f"a radiograph has two axes, not shape {self.values.shape}"
            raise ValueError(msg)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows, columns."""
        rows, columns = self.values.shape
        return rows, columns
