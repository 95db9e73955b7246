"""Series to be pooled from a table of one's own: one count in each row of a ``*.csv``.

The header row names the columns: ``series``, ``year``, ``n`` and ``events``, and where known
``follow_up``, ``follow_up_kind`` and ``group``::

    series,year,n,events,follow_up,follow_up_kind
    North hospital,2014,120,9,31 months,median

That all rows count the same thing in the same way is for whoever made the table to know.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

from thalweg.errors import InputError
from thalweg.evidence.pooling.rows import PoolRow
from thalweg.evidence.series import FollowUp
from thalweg.exchange.cells import table_cells
from thalweg.exchange.reading import Reading, placed
from thalweg.exchange.series_table import whole_number
from thalweg.record.units import convert, parse_quantity

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["read_pool_table"]

NEEDED: Final = ("series", "year", "n", "events")
KNOWN: Final = (*NEEDED, "follow_up", "follow_up_kind", "group")
FIRST_YEAR: Final = 1850
"""Ureters have been led to the skin or to bowel since about then."""
KINDS: Final = {
    "median": "median",
    "mean": "mean",
    "minimum": "at least",
    "maximum": "at most",
    "": "",
}


def read_pool_table(path: Path, *, this_year: int, own: bool = False) -> tuple[PoolRow, ...]:
    """Read a table of series.

    Parameters
    ----------
    path : Path
        UTF-8; commas or semicolons.
    this_year : int
        No series can be later.
    own : bool
        They are the unit's own, to be held against others.

    Raises
    ------
    CollectedInputError
        Every unusable row, by file, row (counted as a spreadsheet does) and column.
    """
    reading = Reading()
    found: list[PoolRow] = []
    with reading.part(""):
        header, rows = table_cells(path, NEEDED, KNOWN)
        for number, row in enumerate(rows, start=2):
            if any(cell.strip() for cell in row):
                with reading.part(f"row {number}"):
                    found.append(_row(header, row, this_year, own=own))
        if not found and not reading.problems:
            raise InputError("holds no row", mend="add one for each series")
        if twice := sorted({a.label for a in found if found.count(a) > 1}):
            raise InputError(f"{twice[0]!r} stands twice", mend="count nobody twice: keep one")
    reading.sound(path.name)
    return tuple(found)


def _row(header: list[str], row: list[str], this_year: int, *, own: bool) -> PoolRow:
    if any(cell.strip() for cell in row[len(header) :]):
        raise InputError(
            f"has {len(row)} cells for {len(header)} columns",
            mend="put text with a separator in quotes",
        )
    cells = dict.fromkeys(KNOWN, "") | {
        name: cell.strip() for name, cell in zip(header, row, strict=False)
    }
    for name in NEEDED:
        if not cells[name]:
            raise InputError("is empty", where=f"column {name!r}", mend="fill it in")
    year, n, events = (whole_number(cells, name) for name in ("year", "n", "events"))
    if not FIRST_YEAR <= year <= this_year:
        raise InputError(
            f"the year {year} cannot be meant", where="column 'year'", mend="correct it"
        )
    if n < 1 or events > n:
        raise InputError(f"{events} events of {n} cannot be", mend="correct the counts")
    months = _months(cells)
    kind = cells["follow_up_kind"]
    if kind and (kind not in get_args(FollowUp) or months is None):
        raise InputError(
            f"{kind!r} is not the kind of a follow-up that is given",
            where="column 'follow_up_kind'",
            mend=f"give follow_up, and {' or '.join(get_args(FollowUp))}",
        )
    said = "not known" if months is None else f"{KINDS[kind]} {months:g} months".strip()
    return PoolRow(cells["series"], year, n, events, said, months, own=own, group=cells["group"])


def _months(cells: dict[str, str]) -> float | None:
    if not cells["follow_up"]:
        return None
    with placed("column 'follow_up'"):
        value, unit = parse_quantity(cells["follow_up"])
        months = float(convert(value, unit, "mo"))
        if months <= 0:
            raise InputError("a follow-up is above 0", mend="correct it or leave it out")
    return months
