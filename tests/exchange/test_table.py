"""Tables of results: each row a fact with its digits, or a sentence naming row and column."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from thalweg.errors import InputError
from thalweg.exchange.reading import CollectedInputError, Reading
from thalweg.exchange.table import read_table

if TYPE_CHECKING:
    from pathlib import Path

HEADER = "test,value,unit,taken\n"
MORNING = datetime(2026, 3, 1, 8, 30, tzinfo=timezone(timedelta(hours=1)))


def table(folder: Path, text: str, encoding: str = "utf-8") -> Reading:
    path = folder / "labs.csv"
    path.write_bytes(text.encode(encoding))
    return read_table(path)


def test_key_or_loinc_date_or_time(tmp_path: Path) -> None:
    found = table(
        tmp_path,
        HEADER
        + "creatinine,1.20,mg/dl,2026-03-01T08:30+01:00\n"
        + "14682-9,106,umol/L,2026-03-02\n"
        + "\n"
        + "urine-volume,1850,mL/24h,2026-03-02T00:00:00Z\n",
    )
    assert [(f.concept, str(f.value), f.unit, f.at) for f in found.facts[:2]] == [
        ("creatinine", "1.20", "mg/dL", MORNING),
        ("creatinine", "106", "umol/L", date(2026, 3, 2)),
    ]
    assert found.facts[0].at.utcoffset() == timedelta(hours=1)  # type: ignore[union-attr]
    assert found.facts[2].unit == "mL/(24.h)"
    assert [f.origin.place for f in found.facts] == [
        "labs.csv row 2",
        "labs.csv row 3",
        "labs.csv row 5",
    ]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_semicolons_marks_and_line_ends(tmp_path: Path, encoding: str, newline: str) -> None:
    text = 'Test;Value;Unit;Taken;Label;Note\nurine-volume;40,;mL/24h;2026-03-01;left;""'
    text = text.replace("40,", "40.5").replace('""', '"said, by ""the ward"""')
    fact = table(tmp_path, text.replace("\n", newline), encoding).facts[0]
    assert (fact.value, fact.label) == (Decimal("40.5"), "left")
    assert fact.origin.place == 'labs.csv row 2: said, by "the ward"'


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("creatinin,88,umol/L,2026-03-01", "row 2, column 'test': 'creatinin' is not something"),
        (",88,umol/L,2026-03-01", "row 2, column 'test': is empty"),
        ("bladder-kept,1,kg,2026-03-01", "is not a number with a unit"),
        ('creatinine,"88,5",umol/L,2026-03-01', "column 'value': '88,5' is not a number"),
        ("creatinine,88,5,umol/L,2026-03-01", "has 5 cells for 4 columns"),
        ("creatinine,1_000,umol/L,2026-03-01", "'1_000' is not a number"),
        ("creatinine,NaN,umol/L,2026-03-01", "'NaN' is not a number"),
        ("creatinine,1e99,umol/L,2026-03-01", "out of all proportion"),
        ("creatinine,88,,2026-03-01", "column 'unit': a number without a unit"),
        ("creatinine,88,umol,2026-03-01", "column 'unit': 'umol' is not a UCUM unit"),
        ("creatinine,88,kg,2026-03-01", "column 'value': creatinine, blood cannot be in kg"),
        ("2160-0,88,umol/L,2026-03-01", "LOINC 2160-0 does not report in µmol/L"),
        ("creatinine,88,mg/dL,2026-03-01", "would be ordinary in µmol/L"),
        ("creatinine,88,umol/L,", "column 'taken': '' is not a date"),
        ("creatinine,88,umol/L,01.03.2026", "'01.03.2026' is not a date"),
        ("creatinine,88,umol/L,2026-02-30", "'2026-02-30' is not a date"),
        ("creatinine,88,umol/L,2026-03-01T08:30", "has no time zone"),
    ],
)
def test_bad_row_names_file_row_and_column(tmp_path: Path, row: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        table(tmp_path, HEADER + row + "\n")
    assert str(caught.value).startswith("labs.csv, row 2")
    assert said in str(caught.value)


def test_all_bad_rows_at_once(tmp_path: Path) -> None:
    with pytest.raises(CollectedInputError) as caught:
        table(
            tmp_path, HEADER + "a,1,kg,2026-03-01\nweight,70,kg,2026-03-01\nweight,,x\nb,1,kg,x\n"
        )
    assert [error.where for error in (caught.value, *caught.value.others)] == [
        "labs.csv, row 2, column 'test'",
        "labs.csv, row 5, column 'test'",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("88,creatinine\n", "unknown column '88'"),
        ("test,value,taken\n", "has no column 'unit'"),
        ("test,value,unit,date\n", "unknown column 'date'"),
        ("test,value,units,taken\n", "did you mean 'unit'"),
        ("test,test,value,unit,taken\n", "'test' twice"),
        (HEADER + 'creatinine,"88\n', "is not a readable table"),
    ],
)
def test_bad_table(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=r"^labs\.csv") as caught:
        table(tmp_path, text)
    assert said in str(caught.value)


def test_not_utf8(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"labs\.csv: is not UTF-8 text"):
        table(tmp_path, HEADER + "creatinine,88,µmol/L,2026-03-01\n", "latin-1")


def test_limits_and_empty_values_are_said_not_taken(tmp_path: Path) -> None:
    rows = "c-reactive-protein,<5,mg/L,2026-03-01\nweight,,kg,2026-03-01\n"
    found = table(tmp_path, HEADER + rows)
    assert found.facts == []
    assert found.not_taken == [
        "labs.csv row 2: C-reactive protein is a limit (<5 mg/L), not a value; not taken in.",
        "labs.csv row 3: body weight has no value, not taken in.",
    ]
