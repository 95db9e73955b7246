"""A renogram's curves written as the table that reads back to the last digit."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.record.renogram import ROLES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from thalweg.record.renogram import Renogram

__all__ = ["renogram_table", "write_renogram_table"]


def write_renogram_table(renogram: Renogram, path: Path) -> None:
    """Write the curves to a new file.

    Parameters
    ----------
    renogram : Renogram
        Curves of one kidney at least.
    path : Path
        New file, UTF-8.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(renogram_table(renogram))
    except FileExistsError:
        raise InputError("is there already", where=str(path), mend="name a new file") from None
    except OSError as error:
        raise InputError(
            f"cannot be written ({error.strerror})", where=str(path), mend="check the folder"
        ) from error


def renogram_table(renogram: Renogram) -> str:
    """Return the curves as the text of a table.

    Every number is the shortest that reads back as the same; times are in seconds.
    """
    text = io.StringIO()
    for key, value in _said(renogram):
        # A line break would end the line early, and the rest be taken for the table.
        text.write(f"# {key}: {' '.join(value.split())}\n")
    roles = [role for role in ROLES if role in renogram.counts]
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["start [s]", "duration [s]", *(f"{role} [{{counts}}]" for role in roles)])
    columns = (renogram.starts_s, renogram.durations_s, *(renogram.counts[r] for r in roles))
    for row in zip(*(column.tolist() for column in columns), strict=True):
        table.writerow([repr(float(number)) for number in row])
    return text.getvalue()


def _said(renogram: Renogram) -> Iterator[tuple[str, str]]:
    if renogram.tracer:
        yield "tracer", renogram.tracer
    yield "given", f"{renogram.given_s!r} s"
    if renogram.furosemide_s is not None:
        yield "furosemide", f"{renogram.furosemide_s!r} s"
    yield "half-life", f"{renogram.half_life_s!r} s"
    if renogram.decay_corrected is not None:
        yield "decay-corrected", "yes" if renogram.decay_corrected else "no"
    if renogram.view:
        yield "view", renogram.view
    if renogram.acquired:
        yield "acquired", renogram.acquired
    if renogram.phantom:
        yield "phantom", "yes"
    for role in ROLES:
        if role in renogram.pixels:
            yield f"area {role}", f"{float(renogram.pixels[role])!r} {{pixels}}"
    for caution in renogram.cautions:
        yield "caution", caution
