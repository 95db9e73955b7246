"""What the kidney equations may be used for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["CREATININE_MG_DL", "CYSTATIN_C_MG_L", "HEIGHT_CM", "WEIGHT_KG", "is_female"]

# What a living person can have; the same bounds at which the record refuses a result.
CREATININE_MG_DL = (0.05, 34.0)
CYSTATIN_C_MG_L = (0.1, 15.0)
HEIGHT_CM = (20.0, 260.0)
WEIGHT_KG = (0.3, 450.0)


def is_female(sex: ArrayLike) -> NDArray[np.bool_]:
    """Return where `sex` is ``"female"``; anything but that and ``"male"`` is refused.

    Raises
    ------
    InputError
        If another word stands anywhere.
    """
    words = np.asarray(sex)
    female = np.asarray(words == "female")
    if not np.all(female | np.asarray(words == "male")):
        raise InputError(
            "the kidney equations know only 'female' and 'male'",
            mend="give the sex that the laboratory's own equation would use",
        )
    return female
