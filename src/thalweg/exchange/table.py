"""Laboratory results and outputs from a table: one result in each row of a ``*.csv``.

The header row names the columns ``test``, ``value``, ``unit`` and ``taken``, and may add
``label`` and ``note``. `test` is a concept's key or a LOINC code; `taken` an ISO 8601 date, or a
date and time with its offset. Commas or semicolons part the cells; decimals have a point.
"""

from __future__ import annotations

import csv
import io
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.reading import Reading, exact_decimal, moment, placed, quantity_fact, text_of
from thalweg.record.concept import LaboratoryCode, concept, concept_of_code
from thalweg.record.fact import Origin
from thalweg.record.units import parse_unit, printed

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.fact import Fact

__all__ = ["read_table"]

NEEDED: Final = ("test", "value", "unit", "taken")
KNOWN: Final = (*NEEDED, "label", "note")
COMPARATORS: Final = ("<", ">", "≤", "≥", "~")


def read_table(path: Path) -> Reading:
    """Read a table of results.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.

    Returns
    -------
    Reading
        One fact for each row with a value; rows without one are named in `not_taken`.

    Raises
    ------
    CollectedInputError
        Every unusable row, by file, row (counted as a spreadsheet does) and column.
    """
    reading = Reading()
    with reading.part(""):
        header, rows = _cells(path)
        for number, row in enumerate(rows, start=2):
            if any(cell.strip() for cell in row):
                with reading.part(f"row {number}"):
                    _take(header, row, f"{path.name} row {number}", reading)
    return reading.sound(path.name)


def _cells(path: Path) -> tuple[list[str], list[list[str]]]:
    """Return the column names and the rows below them."""
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
        raise InputError("is empty", mend=f"begin it with the columns {', '.join(NEEDED)}")
    header = [name.strip().lower() for name in rows[0]]
    _require_columns(header)
    return header, rows[1:]


def _require_columns(header: list[str]) -> None:
    for name in header:
        if name not in KNOWN:
            near = get_close_matches(name, KNOWN, n=1)
            mend = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(KNOWN)}"
            raise InputError(
                f"has the unknown column {name!r}", where="row 1", mend=mend.rstrip("?")
            )
        if header.count(name) > 1:
            raise InputError(f"has the column {name!r} twice", where="row 1", mend="keep one")
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise InputError(
            f"has no column {' and none '.join(map(repr, missing))}",
            where="row 1",
            mend=f"begin the table with a row naming {', '.join(NEEDED)}",
        )


def _take(header: list[str], row: list[str], place: str, reading: Reading) -> None:
    """Put one row's result into the reading."""
    if len(row) > len(header) and any(cell.strip() for cell in row[len(header) :]):
        raise InputError(
            f"has {len(row)} cells for {len(header)} columns",
            mend="write decimals with a point and put text with a separator in quotes",
        )
    cells = dict.fromkeys(KNOWN, "") | {
        name: cell.strip() for name, cell in zip(header, row, strict=False)
    }
    key, code = _test(cells["test"])
    if not cells["value"]:
        reading.not_taken.append(f"{place}: {concept(key).name} has no value, not taken in.")
    elif cells["value"].startswith(COMPARATORS):
        limit = f"{cells['value']} {cells['unit']}"
        reading.not_taken.append(
            f"{place}: {concept(key).name} is a limit ({limit}), not a value; not taken in."
        )
    else:
        reading.facts.append(_fact(key, code, cells, place))


def _test(text: str) -> tuple[str, LaboratoryCode | None]:
    """Return the concept's key, and the LOINC code's row where the test is one."""
    found = concept_of_code(text)
    if found:
        return found[0].key, found[1]
    with placed("column 'test'"):
        if not text:
            raise InputError("is empty", mend="name the test")
        return concept(text).key, None


def _fact(key: str, code: LaboratoryCode | None, cells: dict[str, str], place: str) -> Fact:
    with placed("column 'unit'"):
        unit = parse_unit(cells["unit"], typed=True)
        if code and unit not in code.units:
            raise InputError(
                f"LOINC {code.code} does not report in {printed(unit)}",
                mend=f"it reports in {' or '.join(printed(known) for known in code.units)}",
            )
    with placed("column 'taken'"):
        taken = moment(cells["taken"])
    with placed("column 'value'"):
        value = exact_decimal(cells["value"])
        origin = Origin("table", f"{place}: {cells['note']}" if cells["note"] else place)
        return quantity_fact(key, value, unit, taken, origin, label=cells["label"])
