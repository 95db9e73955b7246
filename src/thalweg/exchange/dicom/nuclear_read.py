"""What a reading of gamma-camera files yields, and the curves of regions drawn on it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.exchange.dicom.headers import PatientKeys

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from thalweg.record.renogram import DynamicImage, Renogram

__all__ = ["ReadDynamic"]

MEAN: Final = (
    "Counts are the geometric mean of both views, taken before any background is subtracted and as "
    "if the detectors faced each other pixel by pixel."
)


@dataclass(frozen=True, eq=False)
class ReadDynamic:
    """Frames of a renogram and whom the files name.

    Parameters
    ----------
    image : DynamicImage
        The view that regions are drawn on.
    patient : PatientKeys
        For matching with a case; not shown by ``repr``.
    stated_given_s : float, optional
        When the file says the tracer was given, in seconds after the first frame began; None where
        it does not say. Negative: before it.
    opposite : DynamicImage, optional
        The anterior view of the same time, where the geometric mean of both was asked for.
    """

    image: DynamicImage
    patient: PatientKeys = field(default_factory=PatientKeys, repr=False)
    stated_given_s: float | None = None
    opposite: DynamicImage | None = None

    def curves(
        self,
        regions: Mapping[str, NDArray[np.bool_]],
        *,
        given_s: float = 0.0,
        furosemide_s: float | None = None,
    ) -> Renogram:
        """Sum the counts inside each region, of both views where both were read.

        The geometric mean is taken of the sums, not pixel by pixel: in a pixel of few counts the
        root is too low on average, and a weak kidney would lose more than a strong one.

        Parameters
        ----------
        regions : mapping of str to ndarray of bool, shape (rows, columns)
            By role, drawn on `image`.
        given_s, furosemide_s : float
            As in `thalweg.record.renogram.Renogram`.

        Raises
        ------
        InputError
            A region does not lie on the picture.
        """
        here = self.image.curves(regions, given_s=given_s, furosemide_s=furosemide_s)
        if self.opposite is None:
            return here
        turned = self.opposite.left_at != self.image.left_at
        there = self.opposite.curves(
            {role: mask[:, ::-1] if turned else mask for role, mask in regions.items()},
            given_s=given_s,
        )
        return replace(
            here,
            counts={
                role: np.sqrt(curve * there.counts[role]) for role, curve in here.counts.items()
            },
            view="geometric mean",
            cautions=tuple(dict.fromkeys((*here.cautions, *there.cautions, MEAN))),
        )
