"""A renogram from the gamma camera's own files: NM Image Storage, Image Type DYNAMIC (PS3.3 A.5).

One file may hold several detectors and energy windows; several files of one series may hold one
detector each, or one phase each. What is read is said: the detector, the energy window, and what
a person stated in place of the file.
"""

from __future__ import annotations

import hashlib
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Final

from thalweg.errors import ImageError, InputError
from thalweg.exchange.dicom.dates import acquisition
from thalweg.exchange.dicom.headers import is_phantom, patient_of, term, text
from thalweg.exchange.dicom.nuclear_channels import Channel, channels_of, choose_channels
from thalweg.exchange.dicom.nuclear_counts import counts_of
from thalweg.exchange.dicom.nuclear_label import label_of, stated_given_s
from thalweg.exchange.dicom.nuclear_read import ReadDynamic
from thalweg.exchange.dicom.nuclear_sides import OPPOSITE, VIEWS, Sides, sides_of
from thalweg.exchange.dicom.scan import DAMAGED, OpenedFile, open_file, scan
from thalweg.exchange.dicom.series import require_one_series
from thalweg.progress import Progress, silent
from thalweg.record.renogram import DynamicImage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pydicom import Dataset

__all__ = ["read_dynamic"]

BOTH: Final = "geometric mean"
KINDS: Final = {
    "STATIC": "a static picture",
    "WHOLE BODY": "a whole-body picture",
    "GATED": "a gated study",
    "TOMO": "a tomographic study",
    "GATED TOMO": "a tomographic study",
    "RECON TOMO": "a tomographic study",
    "RECON GATED TOMO": "a tomographic study",
}
"""Image Type, value 3 (PS3.3 C.8.4.9.1.1), other than DYNAMIC."""

SHORTEST_S: Final = 300.0
"""A dynamic study that lasts less is called too short for a renogram; common practice is 20 to 40
minutes."""

SAID_GIVEN_S: Final = 1.0
"""Difference between first frame and injection from which it is said."""


def read_dynamic(
    source: Path | Sequence[Path],
    *,
    detector: int | None = None,
    energy_window: int | None = None,
    view: str = "",
    left_at: str = "",
    progress: Progress = silent,
) -> ReadDynamic:
    """Read the frames of a dynamic renal study.

    Parameters
    ----------
    source : Path or sequence of Path
        One file, the files of one series, or a folder that holds nothing else.
    detector : int, optional
        Which detector to read, from 1; by default the only one, or the only posterior one.
    energy_window : int, optional
        Which energy window to read, from 1; by default the only one over the label's photons.
    view : str
        ``"posterior"``, ``"anterior"`` or ``"geometric mean"`` (of both): which detector to read,
        or, of the only one where the file does not say, from where it looked.
    left_at : str
        ``"left"`` or ``"right"``: where on the picture the person's left lies, where the file does
        not say.
    progress : Progress, optional
        Told after every frame.

    Returns
    -------
    ReadDynamic
        The frames, the opposite view where both were asked for, and whom the files name.

    Raises
    ------
    ImageError
        Not such files, damaged, of several series or persons, or not settled by what they say.
    InputError
        A statement contradicts the file.
    """
    if view not in ("", BOTH, *VIEWS) or left_at not in ("", *OPPOSITE):
        raise InputError(
            f"{view or left_at!r} was stated",
            mend=f"views are {', '.join((*VIEWS, BOTH))}; the person's left lies at left or right",
        )
    place = str(source) if isinstance(source, Path) else str(Path(source[0]))
    # pydicom's warnings quote values, which may name the person; what matters of them is checked.
    with warnings.catch_warnings(action="ignore"):
        opened = _opened(source, progress)
        try:
            chosen = choose_channels(
                channels_of(opened, energy_window), detector, view, both=view == BOTH
            )
            return _read(opened, chosen, view, left_at, progress)
        except InputError as error:
            raise error if error.where else error.at(place) from error
        except (OSError, *DAMAGED) as error:
            raise ImageError(
                "has a damaged header or damaged pixels",
                where=place,
                mend="copy or export it again",
            ) from error


def _opened(source: Path | Sequence[Path], progress: Progress) -> list[OpenedFile]:
    """Return the files of one dynamic series of one person."""
    if isinstance(source, Path):
        folder = source
        found = list(scan(source, progress=progress).files) if source.is_dir() else None
        opened = [open_file(source)] if found is None else found
    else:
        folder = Path(source[0]).parent
        opened = [open_file(Path(path)) for path in source]
    for each in opened:
        try:
            _require_dynamic(each)
        except InputError as error:
            raise error.at(str(each.path)) from error
        except DAMAGED as error:
            raise ImageError(
                "has a damaged header", where=str(each.path), mend="copy or export it again"
            ) from error
    if len(opened) > 1:
        require_one_series(folder, opened)
        _require_one_study(folder, opened)
    return opened


def _require_dynamic(opened: OpenedFile) -> None:
    header = opened.header
    modality = term(header, "Modality")
    if modality != "NM":
        raise ImageError(
            f"is of modality {modality or 'unknown'} ({opened.kind}), not of a gamma camera",
            mend="give the renogram's NM file, or its curves as a table",
        )
    if not opened.has_pixels:
        raise ImageError("holds no pictures", mend="give the dynamic study itself")
    value = header.get("ImageType") or ()
    kinds = [value] if isinstance(value, str) else [str(each) for each in value]
    kind = kinds[2] if len(kinds) > 2 else ""
    if kind != "DYNAMIC":
        named = KINDS.get(kind, "a study of a kind it does not name")
        raise ImageError(f"is {named}, not a dynamic one", mend="give the renogram's own file")
    if len(kinds) > 3 and kinds[3] == "TRANSMISSION":
        raise ImageError("shows transmission, not what the kidneys took up", mend="leave it out")


def _require_one_study(folder: Path, opened: list[OpenedFile]) -> None:
    """Refuse files of one series that name different persons, or one picture twice."""
    if len({patient_of(each.header) for each in opened}) > 1:
        raise ImageError(
            "holds files that name different patients (ID, birth date or sex differ)",
            where=str(folder),
            mend="find out whose renogram this is before using it",
        )
    for keyword, what in (
        ("CorrectedImage", "are corrected in different ways"),
        ("PixelSpacing", "have pixels of different size"),
    ):
        if len({text(each.header, keyword) for each in opened}) > 1:
            raise ImageError(
                f"holds files that {what}", where=str(folder), mend="give one acquisition"
            )
    uids = [text(each.header, "SOPInstanceUID") for each in opened]
    if len(set(uids)) < len(uids):
        raise ImageError(
            "holds the same picture twice", where=str(folder), mend="take the copy out"
        )


def _read(
    opened: list[OpenedFile], chosen: list[Channel], view: str, left_at: str, progress: Progress
) -> ReadDynamic:
    both = len(chosen) == 2
    images = []
    for number, channel in enumerate(chosen):
        sides = sides_of(
            channel.header,
            channel.item,
            alone=channel.alone,
            view="" if both else view,
            left_at=left_at if number == 0 else "",
        )
        images.append(_image(opened, channel, sides, progress))
    if both and not all(image.left_at for image in images):
        raise ImageError(
            "does not say for both views where the person's left lies",
            mend="read one view and state it with --left-at",
        )
    given_s = stated_given_s(chosen[0].header)
    return ReadDynamic(
        images[0], patient_of(opened[0].header), given_s, images[1] if both else None
    )


def _image(
    opened: list[OpenedFile], channel: Channel, sides: Sides, progress: Progress
) -> DynamicImage:
    header = channel.header
    label = label_of(header)
    counts, counted = counts_of(channel, progress)
    acquired, undated = acquisition([each.header for each in opened])
    corrected = header.get("CorrectedImage")
    corrections = [corrected] if isinstance(corrected, str) else list(corrected or ())
    lasted = float(channel.starts_s[-1] + channel.durations_s[-1])
    lossy = text(header, "LossyImageCompression") == "01"
    return DynamicImage(
        counts=counts,
        starts_s=channel.starts_s,
        durations_s=channel.durations_s,
        view=sides.view,
        left_at=sides.left_at,
        pixel_mm=_pixel_mm(header),
        tracer=label.tracer,
        half_life_s=label.half_life_s,
        decay_corrected="DECY" in corrections if corrections else None,
        acquired=acquired,
        source_id=f"sha256:{_digest(opened)}",
        phantom=any(is_phantom(each.header) for each in opened),
        cautions=(
            *channel.cautions,
            *sides.cautions,
            *label.cautions,
            *_given(header),
            *counted,
            *undated,
            *([f"The study lasts {lasted:g} s only."] if lasted < SHORTEST_S else []),
            *(["The pictures were compressed with loss."] if lossy else []),
        ),
    )


def _given(header: Dataset) -> list[str]:
    seconds = stated_given_s(header)
    if seconds is None or abs(seconds) < SAID_GIVEN_S:
        return []
    when = "after" if seconds > 0 else "before"
    said = f"The file puts the injection {abs(seconds):g} s {when} the first frame"
    return [f"{said}; the clocks of dispensary and camera may differ."]


def _pixel_mm(header: Dataset) -> tuple[float, float] | None:
    value = header.get("PixelSpacing")
    numbers = [float(number) for number in value] if value else []
    if len(numbers) != 2 or not all(0 < number < float("inf") for number in numbers):
        return None
    return numbers[0], numbers[1]


def _digest(opened: list[OpenedFile]) -> str:
    """Return the hash of the file, or of the sorted hashes of several."""
    digests = []
    for each in opened:
        with each.path.open("rb") as file:
            digests.append(hashlib.file_digest(file, "sha256").hexdigest())
    if len(digests) == 1:
        return digests[0]
    return hashlib.sha256("\n".join(sorted(digests)).encode()).hexdigest()
