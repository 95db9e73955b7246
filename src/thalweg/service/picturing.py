"""A traced ureter, or why it was refused, as a picture file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.service.safefile import replace_file

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.measure.course import Course
    from thalweg.record.image import ImageVolume

__all__ = ["checked_picture", "write_course", "write_refusal"]

KINDS = ("svg", "png", "pdf")


def checked_picture(path: Path) -> str:
    """Return the kind of picture that a file's name asks for: svg, png or pdf.

    Raises
    ------
    InputError
        If it asks for another.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise InputError(
            f"a picture cannot be written as {path.suffix or 'a file without ending'}",
            where=str(path),
            mend="end its name in .svg, .png or .pdf",
        )
    return kind


def write_course(path: Path, volume: ImageVolume, course: Course) -> None:
    """Write the picture of a course, whole or not at all.

    Raises
    ------
    InputError
        If the name asks for another kind of file, or it cannot be written.
    """
    from thalweg.sheets.pictures.course import course_picture  # noqa: PLC0415 - only when asked for

    replace_file(path, course_picture(volume, course, kind=checked_picture(path)).data)


def write_refusal(path: Path, volume: ImageVolume, refused: InputError) -> InputError:
    """Write the picture of what was refused, and return the same error with where it lies.

    An error that is not about placed points comes back as it is, and nothing is written. Where the
    picture itself cannot be written the error says that too.
    """
    from thalweg.sheets.pictures.refused import (  # noqa: PLC0415 - only when asked for
        refused_picture,
    )

    picture = refused_picture(volume, refused, kind=checked_picture(path))
    if picture is None:
        return refused
    try:
        replace_file(path, picture.data)
        said = f"the picture {path} shows it"
    except InputError as unwritten:
        said = f"no picture of it: {str(unwritten).rstrip('.')}"
    mend = f"{refused.mend}; {said}" if refused.mend else said
    return type(refused)(refused.what, where=refused.where, mend=mend, detail=refused.detail)
