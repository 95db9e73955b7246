"""A unit's own outcomes: each row a series with its time in months, or a sentence why not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.support.commands import thalweg

from thalweg.errors import InputError
from thalweg.evidence.pool_groups import pool_groups
from thalweg.evidence.series import published
from thalweg.exchange.reading import CollectedInputError
from thalweg.exchange.series_table import read_series_table
from thalweg.service.protocol import read_protocol

if TYPE_CHECKING:
    from pathlib import Path

HEADER = "outcome,definition,diversion,population,from,to,year,n,events,follow_up,follow_up_kind,at"
ROW = "stone,stone-anywhere,ileal-conduit,adult,2015,2024,2026,42,9,31 months,median,"


def table(folder: Path, *rows: str, header: str = HEADER, name: str = "series.csv") -> Path:
    path = folder / name
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return path


def refusal(folder: Path, *rows: str, header: str = HEADER) -> str:
    with pytest.raises(CollectedInputError) as caught:
        read_series_table(
            table(folder, *rows, header=header), diversions={"ileal-conduit"}, this_year=2026
        )
    return str(caught.value)


def test_a_row_becomes_a_series(tmp_path: Path) -> None:
    (one,) = read_series_table(table(tmp_path, ROW), diversions={"ileal-conduit"})
    assert (one.n, one.events, one.enrolled, one.year) == (42, 9, (2015, 2024), 2026)
    assert one.follow_up_months == 31
    assert (one.unit, one.diversions, one.own) == ("patient", ("ileal-conduit",), True)
    assert one.definition == "a stone anywhere in the urinary tract or reservoir"


@pytest.mark.parametrize(
    ("written", "months"),
    # A Julian year of 365.25 days has twelve equal months (UCUM's mo and a).
    [("31 months", 31.0), ("2.5 years", 30.0), ("90 days", 90 * 12 / 365.25), ("3mo", 3.0)],
)
def test_times_carry_their_unit(tmp_path: Path, written: str, months: float) -> None:
    row = ROW.replace("31 months", written)
    (one,) = read_series_table(table(tmp_path, row))
    assert one.follow_up_months == pytest.approx(months)


def test_semicolons_marks_and_several_diversions(tmp_path: Path) -> None:
    text = f"{HEADER};arm;printed\n{ROW};women;21.4 %\n".replace(",", ";")
    text = text.replace("ileal-conduit", "ileal-conduit colon-conduit")
    path = tmp_path / "series.csv"
    path.write_text(text, encoding="utf-8-sig")
    (one,) = read_series_table(path)
    assert one.diversions == ("ileal-conduit", "colon-conduit")
    assert (one.arm, one.printed) == ("women", "21.4")


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (ROW.replace("stone,", "stones,"), "column 'outcome': 'stones' is not known; did you mean"),
        (ROW.replace("stone-anywhere", "stenosis-treated"), "column 'definition'"),
        (ROW.replace("adult", "grown"), "column 'population'"),
        (ROW.replace("42", "4.2"), "column 'n': '4.2' is not a whole number"),
        (ROW.replace("42", ""), "column 'n': is empty"),
        (ROW.replace("31 months", "31"), "column 'follow_up'"),
        (ROW.replace("31 months", "31 mmol/L"), "column 'follow_up'"),
        (ROW.replace("median", "usual"), "column 'follow_up_kind'"),
        (ROW.replace(",9,", ",43,"), "43 events of 42 cannot be"),
        (ROW.replace("31 months,median", ","), "stone is given without a follow-up"),
        (ROW.replace("31 months", "31 years"), "does not fit between 2015 and 2026"),
        (ROW.replace("2024", "2027"), "operations until 2027 cannot stand"),
        (ROW.replace("2026", "2027"), "the year 2027 is yet to come"),
        (ROW.replace("ileal-conduit", "ileum"), "'ileum' is not a diversion"),
        (f"{ROW},,,x", "has 15 cells for 12 columns"),
    ],
)
def test_each_fault_names_its_place(tmp_path: Path, row: str, sentence: str) -> None:
    said = refusal(tmp_path, row)
    assert said.startswith("series.csv")
    assert sentence in said


def test_every_problem_is_told_at_once_and_nothing_is_taken(tmp_path: Path) -> None:
    said = refusal(tmp_path, ROW.replace("adult", "grown"), ROW.replace(",9,", ",43,"))
    assert "row 2" in said
    assert "own-row-3" in said


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        (HEADER.replace("events", "event"), "unknown column 'event'; did you mean 'events'"),
        (HEADER.replace(",n,", ","), "has no column 'n'"),
        (f"{HEADER},n", "has the column 'n' twice"),
    ],
)
def test_the_header_is_checked(tmp_path: Path, header: str, sentence: str) -> None:
    assert sentence in refusal(tmp_path, ROW, header=header)


def test_an_empty_table_and_one_count_entered_twice(tmp_path: Path) -> None:
    assert "holds no row" in refusal(tmp_path)
    assert "counts the same as own-row-2" in refusal(tmp_path, ROW, ROW)
    empty = tmp_path / "empty.csv"
    empty.write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="is empty"):
        read_series_table(empty)


def test_a_protocol_folder_carries_the_unit_s_outcomes_into_the_pools(tmp_path: Path) -> None:
    table(tmp_path, ROW)
    own = read_protocol(tmp_path).series
    rows = published(outcome="stone", diversion="ileal-conduit", population="adult", own=own)
    assert rows[-1] == own[0]
    (group,) = (
        one
        for one in pool_groups(rows, diversion="ileal-conduit")
        if one.definition_group == "stone-anywhere"
    )
    assert own[0] in group.series
    assert any("unit's own outcomes" in one for one in group.cautions)


def test_a_protocol_s_outcomes_must_use_its_catalogue(tmp_path: Path) -> None:
    table(tmp_path, ROW.replace("ileal-conduit", "ileum"))
    with pytest.raises(InputError, match="'ileum' is not a diversion"):
        read_protocol(tmp_path)


def test_a_command_refuses_bad_outcomes_in_one_line(tmp_path: Path) -> None:
    table(tmp_path, ROW.replace(",9,", ",43,"))
    ran = thalweg(
        "kidney", "--age", "50", "--sex", "female", "--creatinine", "1.0mg/dL", "--height",
        "160cm", "--weight", "60kg", "--protocol", tmp_path, "--json",
    )  # fmt: skip
    assert "43 events of 42 cannot be" in ran.refusal()
