"""Laboratory results and outputs from a table: one result in each row of a ``*.csv``.

The header row names the columns ``test``, ``value``, ``unit`` and ``taken``, and may add
``label`` and ``note``. `test` is a concept's key or a LOINC code; `taken` an ISO 8601 date, or a
date and time with its offset. Commas or semicolons part the cells; decimals have a point.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.cells import table_cells
from thalweg.exchange.reading import Reading, exact_decimal, moment, placed, quantity_fact
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
        header, rows = table_cells(path, NEEDED, KNOWN)
        for number, row in enumerate(rows, start=2):
            if any(cell.strip() for cell in row):
                with reading.part(f"row {number}"):
                    _take(header, row, f"{path.name} row {number}", reading)
    return reading.sound(path.name)


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
