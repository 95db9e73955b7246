"""The cells of a ``*.csv`` whose first row names its columns; every table of ours opens so."""

from __future__ import annotations

import csv
import io
from difflib import get_close_matches
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.exchange.reading import text_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

__all__ = ["table_cells"]


def table_cells(
    path: Path, needed: Sequence[str], known: Sequence[str]
) -> tuple[list[str], list[list[str]]]:
    """Return the column names and the rows below them.

    Parameters
    ----------
    path : Path
    needed, known : sequence of str
        Columns that must, and that may, be there.

    Raises
    ------
    InputError
        If it is no table, or a column is missing, unknown or there twice.
    """
    text = text_of(path)
    first = text.partition("\n")[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise InputError(
            f"is not a readable table ({error})", mend="save it as CSV again"
        ) from None
    if not rows:
        raise InputError("is empty", mend=f"begin it with the columns {', '.join(needed)}")
    header = [name.strip().lower() for name in rows[0]]
    for name in header:
        if name not in known:
            near = get_close_matches(name, known, n=1)
            mend = f"did you mean {near[0]!r}" if near else f"known are {', '.join(known)}"
            raise InputError(f"has the unknown column {name!r}", where="row 1", mend=mend)
        if header.count(name) > 1:
            raise InputError(f"has the column {name!r} twice", where="row 1", mend="keep one")
    if missing := [name for name in needed if name not in header]:
        raise InputError(
            f"has no column {' and none '.join(map(repr, missing))}",
            where="row 1",
            mend=f"begin the table with a row naming {', '.join(needed)}",
        )
    return header, rows[1:]
