"""A unit's own outcomes from a table: one count in each row of a ``*.csv``.

The header row names the columns; every table has ``outcome``, ``definition``, ``diversion``,
``population``, ``from``, ``to``, ``year``, ``n`` and ``events``, and may add ``unit``,
``follow_up``, ``follow_up_kind``, ``at``, ``arm``, ``printed`` and ``note``::

    outcome,definition,diversion,population,from,to,year,n,events,follow_up,follow_up_kind
    stomal-stenosis,stenosis-treated,cutaneous-bilateral,adult,2015,2024,2026,42,9,31 months,median

`from` and `to` are the first and last year of the operations, `year` that of the count; times carry
their unit. Commas or semicolons part the cells. `docs/published-series.md` lists the words.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Final, get_args

from thalweg.errors import InputError
from thalweg.evidence.outcome import definitions, outcomes
from thalweg.evidence.series import OWN, FollowUp, Population, Series, series_from
from thalweg.evidence.series_checks import check_series
from thalweg.exchange.cells import table_cells
from thalweg.exchange.reading import Reading, placed
from thalweg.record.units import convert, parse_quantity

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

__all__ = ["read_series_table", "whole_number"]

NEEDED: Final = (
    "outcome",
    "definition",
    "diversion",
    "population",
    "from",
    "to",
    "year",
    "n",
    "events",
)
OPTIONAL: Final = ("unit", "follow_up", "follow_up_kind", "at", "arm", "printed", "note")
KNOWN: Final = (*NEEDED, *OPTIONAL)


def read_series_table(
    path: Path, *, diversions: Collection[str] = (), this_year: int | None = None
) -> tuple[Series, ...]:
    """Read a unit's own outcomes.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.
    diversions : collection of str
        Keys of the catalogue; empty: not checked.
    this_year : int, optional
        Nothing can be later than it.

    Returns
    -------
    tuple of Series
        In the order of the rows, checked like the packaged series.

    Raises
    ------
    CollectedInputError
        Every unusable row, by file, row (counted as a spreadsheet does) and column.
    """
    reading = Reading()
    found: list[Series] = []
    with reading.part(""):
        header, rows = table_cells(path, NEEDED, KNOWN)
        for number, row in enumerate(rows, start=2):
            if any(cell.strip() for cell in row):
                with reading.part(f"row {number}"):
                    found.append(_series(header, row, number))
        if not found and not reading.problems:
            raise InputError("holds no row", mend="add one, or take the file away")
    # Rows that stand are checked even where others do not, so that one reading tells everything.
    reading.problems.extend(check_series(found, this_year=this_year, diversions=diversions))
    reading.sound(path.name)
    return tuple(found)


def _series(header: list[str], row: list[str], number: int) -> Series:
    if len(row) > len(header) and any(cell.strip() for cell in row[len(header) :]):
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
    return series_from(
        {
            "key": f"own-row-{number}",
            "source": OWN,
            "setting": "this unit",
            "read": "text",
            "cohort": "this unit",
            "arm": cells["arm"],
            "note": cells["note"] or "This unit's own count.",
            "printed": cells["printed"].removesuffix("%").strip(),
            **_words(cells),
            **_counts(cells),
            **_times(cells),
        }
    )


def _one_of(cells: dict[str, str], name: str, known: Collection[str]) -> str:
    if cells[name] not in known:
        near = get_close_matches(cells[name], known, n=1)
        mend = f"did you mean {near[0]!r}" if near else f"use one of {', '.join(known)}"
        raise InputError(f"{cells[name]!r} is not known", where=f"column {name!r}", mend=mend)
    return cells[name]


def _words(cells: dict[str, str]) -> dict[str, Any]:
    outcome = _one_of(cells, "outcome", outcomes())
    fits = [key for key, one in definitions().items() if one.outcome == outcome]
    group = _one_of(cells, "definition", fits)
    return {
        "outcome": outcome,
        "definition_group": group,
        "definition": definitions()[group].says,
        "diversions": cells["diversion"].replace("+", " ").split(),
        "population": _one_of(cells, "population", get_args(Population)),
        "unit": cells["unit"] or outcomes()[outcome].unit,
    }


def whole_number(cells: Mapping[str, str], name: str) -> int:
    """Return the whole number of a column.

    Raises
    ------
    InputError
        If it is not one, or has more than nine digits.
    """
    text = cells[name]
    if not (text.isascii() and text.isdecimal() and len(text) <= 9):
        raise InputError(
            f"{text!r} is not a whole number", where=f"column {name!r}", mend="write its digits"
        )
    return int(text)


def _counts(cells: dict[str, str]) -> dict[str, Any]:
    return {
        "n": whole_number(cells, "n"),
        "events": whole_number(cells, "events"),
        "year": whole_number(cells, "year"),
        "enrolled": [whole_number(cells, "from"), whole_number(cells, "to")],
    }


def _times(cells: dict[str, str]) -> dict[str, Any]:
    times: dict[str, Any] = {}
    for name, field in (("follow_up", "follow_up_months"), ("at", "at_months")):
        if cells[name]:
            with placed(f"column {name!r}"):
                value, unit = parse_quantity(cells[name])
                times[field] = float(convert(value, unit, "mo"))
    if cells["follow_up_kind"]:
        times["follow_up_kind"] = _one_of(cells, "follow_up_kind", get_args(FollowUp))
    return times
