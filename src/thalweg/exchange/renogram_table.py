"""Time–activity curves of a renogram as a table: one frame in each row of a ``*.csv``.

Lines that begin with ``#`` come first and say what the study was, ``# key: value``; then a row
that names the columns, each with its unit in brackets; then a row for every frame::

    # tracer: MAG3
    # furosemide: 20 min
    # area left: 412 {pixels}
    start [s],duration [s],left [{counts}],right [{counts}]
    0,10,1204,1176

Two of ``start``, ``middle``, ``end`` and ``duration`` place the frames; ``# duration: 10 s`` stands
for a column of equal durations. Commas or semicolons part the cells; decimals have a point.
`docs/renogram-files.md` lists every key.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

import numpy as np

from thalweg.errors import InputError
from thalweg.exchange.reading import Reading, content_of, exact_decimal, placed, text_of
from thalweg.exchange.renogram_preamble import Preamble
from thalweg.record.renogram import KIDNEYS, ROLES, Renogram
from thalweg.record.units import parse_unit, printed

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["read_renogram_table"]

TIMES: Final = ("start", "middle", "end", "duration")
SECONDS: Final = {"s": 1, "min": 60}
PER_SECOND: Final = {"{counts}/s": 1, "{counts}/min": 60}
HEADING: Final = re.compile(r"([^\[\]]*)(?:\[([^\[\]]*)\])?", re.ASCII)
COLUMNS: Final = (*TIMES, *ROLES)


@dataclass(frozen=True, slots=True)
class _Column:
    """What a column holds: a time or a region, and its unit as a UCUM code."""

    name: str
    unit: str

    @property
    def is_rate(self) -> bool:
        return self.unit in PER_SECOND


@dataclass(frozen=True, slots=True)
class _Row:
    """One frame; counts as the column gives them."""

    start_s: float
    duration_s: float
    values: Mapping[str, float]


def read_renogram_table(path: Path) -> Renogram:
    """Read the curves of a renogram from a table.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.

    Returns
    -------
    Renogram
        Counts of each frame; counts per time are multiplied by the frame's duration. The frames
        keep the table's clock, on which the tracer was given at 0 unless the table says otherwise;
        a clock that begins below 0 is moved so that the first frame begins at 0.

    Raises
    ------
    CollectedInputError
        Every unusable line, by file, line and column.
    """
    reading = Reading()
    columns: list[_Column] = []
    rows: list[_Row] = []
    preamble = Preamble()
    with reading.part(""):
        text = text_of(path)
        said, header_at, header, body = _parts(text)
        preamble = Preamble.of(said, reading)
        with placed(f"line {header_at}"):
            columns = _columns(header, has_duration=preamble.duration_s is not None)
        for number, row in body:
            with reading.part(f"line {number}"):
                rows.append(_row(columns, row, preamble))
    reading.sound(path.name)
    with placed(path.name):
        return _renogram(columns, rows, preamble, hashlib.sha256(content_of(path)).hexdigest())


def _parts(
    text: str,
) -> tuple[list[tuple[int, str]], int, list[str], list[tuple[int, list[str]]]]:
    """Part a table into what is said before it, its heading with its line, and its rows."""
    lines = text.splitlines()
    said = []
    at = 0
    for at, line in enumerate(lines, start=1):
        bare = _bare(line)
        if bare.startswith("#"):
            said.append((at, bare[1:].strip()))
        elif bare:
            break
    else:
        raise InputError(
            "holds no table",
            mend="name the columns, such as start [s],duration [s],left [{counts}]",
        )
    heading = lines[at - 1]
    delimiter = ";" if heading.count(";") > heading.count(",") else ","
    table = csv.reader(io.StringIO("\n".join(lines[at - 1 :])), delimiter=delimiter, strict=True)
    try:
        header = next(table)
        body = [(at - 1 + table.line_num, row) for row in table if any(map(str.strip, row))]
    except csv.Error as error:
        raise InputError(
            f"is not a readable table ({error})", mend="save it as CSV again"
        ) from None
    return said, at, header, body


def _bare(line: str) -> str:
    """Return a line of words without what a spreadsheet adds: quotes, and separators behind it."""
    line = line.strip()
    if line.startswith('"'):
        line = next(csv.reader([line]), [""])[0]
    return line.rstrip(",;").strip()


def _columns(header: list[str], *, has_duration: bool) -> list[_Column]:
    """Return what each column holds, refusing what is unknown, doubled or without its unit."""
    while header and not header[-1].strip():
        header = header[:-1]
    columns = [_column(cell) for cell in header]
    names = [column.name for column in columns]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"has the column {name!r} twice", mend="keep one")
    times = [name for name in TIMES if name in names]
    given = len(times) + has_duration
    if given != 2 or (has_duration and "duration" in times):
        raise InputError(
            f"{'says more than' if given > 2 else 'does not say'} when each frame began and how "
            "long it lasted",
            mend="give the columns 'start [s]' and 'duration [s]'",
        )
    if not any(name in KIDNEYS for name in names):
        raise InputError(
            "has a column for neither kidney",
            mend="name one 'left [{counts}]' or 'right [{counts}]'",
        )
    if len({column.is_rate for column in columns if column.name in ROLES}) > 1:
        raise InputError(
            "gives some regions in counts and others in counts per time", mend="use one of the two"
        )
    return columns


def _column(cell: str) -> _Column:
    match = HEADING.fullmatch(cell.strip())
    name, unit = (match.group(1).strip().lower(), match.group(2)) if match else (cell, None)
    if name not in COLUMNS:
        near = get_close_matches(name, COLUMNS, n=1)
        mend = f"did you mean {near[0]!r}" if near else f"known are {', '.join(COLUMNS)}"
        raise InputError(f"has the unknown column {name!r}", mend=mend)
    allowed = list(SECONDS) if name in TIMES else ["{counts}", *PER_SECOND]
    with placed(f"column {name!r}"):
        code = parse_unit(unit or "", typed=True) if (unit or "").strip() else ""
        if code not in allowed:
            raise InputError(
                f"is in {printed(code)}" if code else "has no unit",
                mend=f"write it as '{name} [{allowed[0]}]', or in {' or '.join(allowed[1:])}",
            )
    return _Column(name, code)


def _row(columns: list[_Column], row: list[str], preamble: Preamble) -> _Row:
    """Return one frame's times in seconds and its counts, or counts per second."""
    if len(row) > len(columns) and any(map(str.strip, row[len(columns) :])):
        raise InputError(
            f"has {len(row)} cells for {len(columns)} columns",
            mend="write decimals with a point",
        )
    times: dict[str, Decimal] = {}
    values: dict[str, Decimal] = {}
    cells = [*map(str.strip, row), *[""] * len(columns)]
    for column, cell in zip(columns, cells, strict=False):
        with placed(f"column {column.name!r}"):
            if not cell:
                raise InputError("is empty", mend="give every frame its times and counts")
            value = exact_decimal(cell)
            if column.name in TIMES:
                times[column.name] = value * SECONDS[column.unit]
            elif value < 0:
                raise InputError(
                    f"is below 0 ({cell})", mend="give raw counts, before a background is taken off"
                )
            else:
                values[column.name] = value
    start, duration = _frame(times, preamble.duration_s)
    if duration <= 0:
        raise InputError("is a frame that lasts no time", mend="correct its times")
    return _Row(float(start), float(duration), {name: float(v) for name, v in values.items()})


def _frame(times: Mapping[str, Decimal], duration: Decimal | None) -> tuple[Decimal, Decimal]:
    """Return a frame's start and duration from the two times that are given."""
    duration = times.get("duration", duration)
    match times:
        case {"start": start, "end": end}:
            return start, end - start
        case {"start": start, "middle": middle}:
            return start, 2 * (middle - start)
        case {"middle": middle, "end": end}:
            return 2 * middle - end, 2 * (end - middle)
    if duration is None:  # never: the columns were checked to give two
        raise InputError("has no duration", mend="add the column 'duration [s]'")
    match times:
        case {"start": start}:
            return start, duration
        case {"middle": middle}:
            return middle - duration / 2, duration
    return times["end"] - duration, duration


def _renogram(
    columns: list[_Column], rows: list[_Row], preamble: Preamble, digest: str
) -> Renogram:
    starts = np.array([row.start_s for row in rows])
    durations = np.array([row.duration_s for row in rows])
    given_s = preamble.given_s
    cautions = list(preamble.cautions)
    if starts.size and starts[0] < 0:
        given_s -= float(starts[0])
        starts = starts - starts[0]
    if starts.size and not 0 <= given_s <= starts[-1]:
        raise InputError(
            f"says the tracer was given at {given_s:g} s, where there is no frame",
            mend="correct '# given', on the clock of the table",
        )
    if starts.size and starts[0] > given_s:
        cautions.append(
            f"The first frame begins {starts[0] - given_s:g} s after the tracer was given: what "
            "the blood held before is not on the curves."
        )
    counts = {
        column.name: _counts(column, rows, durations) for column in columns if column.name in ROLES
    }
    return Renogram(
        starts_s=starts,
        durations_s=durations,
        counts=counts,
        pixels=preamble.areas_of(counts),
        tracer=preamble.tracer,
        given_s=given_s,
        furosemide_s=preamble.furosemide_s,
        decay_corrected=preamble.decay_corrected,
        view=preamble.view,
        acquired=preamble.acquired,
        source_id=f"sha256:{digest}",
        phantom=preamble.phantom,
        cautions=tuple(cautions),
        **preamble.half_life,
    )


def _counts(
    column: _Column, rows: list[_Row], durations: NDArray[np.float64]
) -> NDArray[np.float64]:
    values = np.array([row.values[column.name] for row in rows])
    return values * durations / PER_SECOND[column.unit] if column.is_rate else values
