"""A radiograph given as a PNG or JPEG picture: grey values, and nothing else that can be relied on.

A picture file names no person, no scale and no day. The resolution that some state in dots per
inch is that of the copy, not of the detector, and is left out.
"""

from __future__ import annotations

import hashlib
import warnings
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from thalweg.errors import ImageError
from thalweg.record.radiograph import Radiograph

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["PICTURE_ENDINGS", "read_picture"]

PICTURE_ENDINGS: Final = (".png", ".jpg", ".jpeg")
MOST_PIXELS: Final = 100_000_000
"""A film of 43 × 35 cm at 0.05 mm has 60 million; more is no radiograph, or meant to do harm."""

DEEP_MODES: Final = frozenset({"I", "I;16", "I;16B", "I;16L", "F"})
"""Modes that hold more than 8 bits; the others are converted to 8-bit grey."""


def read_picture(path: Path, *, acquired: str = "") -> Radiograph:
    """Read a picture of a radiograph.

    Parameters
    ----------
    path : Path
        PNG (8 or 16 bits) or JPEG; colours become grey, and the turn that a camera noted (EXIF
        Orientation) is carried out, so that places are those of the picture as viewers show it.
    acquired : str
        ISO 8601 date of the radiograph, which the file does not say.

    Raises
    ------
    ImageError
        Not such a picture, damaged, cut short, or too large.
    """
    try:
        content = path.read_bytes()
        with (
            warnings.catch_warnings(action="error"),
            Image.open(path, formats=("PNG", "JPEG")) as file,
        ):
            if file.width * file.height > MOST_PIXELS:
                raise Image.DecompressionBombError  # noqa: TRY301 - one sentence for both
            photograph = file.format == "JPEG"
            values = _grey(ImageOps.exif_transpose(file))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise ImageError(
            "has more pixels than any radiograph",
            where=str(path),
            mend="give the picture at the resolution it was taken in",
        ) from error
    except UnidentifiedImageError as error:
        raise ImageError(
            "is neither DICOM nor a PNG or JPEG picture", where=str(path), mend="export it as one"
        ) from error
    except (OSError, SyntaxError, ValueError, EOFError, Warning) as error:
        missing = isinstance(error, FileNotFoundError)
        raise ImageError(
            "does not exist" if missing else "is a damaged picture or cannot be read",
            where=str(path),
            mend="check the name" if missing else "copy or export it again",
        ) from error
    return Radiograph(
        values,
        image_id=f"sha256:{hashlib.sha256(content).hexdigest()}",
        acquired=acquired,
        calibration="A picture: it states no scale.",
        cautions=(
            "A picture file names no person: make sure whose radiograph it is.",
            *(
                ["If this is a photograph of a film, it must be taken squarely: slant distorts it."]
                if photograph
                else []
            ),
        ),
    )


def _grey(picture: Image.Image) -> NDArray[np.float32]:
    if picture.mode in DEEP_MODES:
        return np.asarray(picture, dtype=np.float32)
    if "A" in picture.getbands() or "transparency" in picture.info:
        # What shows through is dark, as beside the beam.
        whole = Image.new("RGBA", picture.size, (0, 0, 0, 255))
        whole.alpha_composite(picture.convert("RGBA"))
        picture = whole.convert("RGB")
    return np.asarray(picture.convert("L"), dtype=np.float32)
