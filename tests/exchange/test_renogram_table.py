"""A renogram's curves as a table: what is read, what is refused, and there and back again.

The expected numbers are worked out by hand beside each case. The units' codes are UCUM's
(section 12 of the Unified Code for Units of Measure: annotations in braces, from memory).
"""

from __future__ import annotations

import csv
import hashlib
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.errors import InputError
from thalweg.exchange.renogram_table import read_renogram_table
from thalweg.exchange.write_renogram_table import renogram_table, write_renogram_table
from thalweg.record.renogram import ROLES, Renogram

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

PLAIN = "start [s],duration [s],left [{counts}],right [{counts}]\n"
ROWS = "0,10,120,100\n10,10,130,110\n20,20,300,240\n"


def read_text(tmp_path: Path, text: str, *, encoding: str = "utf-8") -> Renogram:
    path = tmp_path / "curves.csv"
    path.write_bytes(text.encode(encoding))
    return read_renogram_table(path)


def refused_table(tmp_path: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read_text(tmp_path, text)
    sentence = str(caught.value)
    assert sentence.startswith("curves.csv"), sentence
    assert caught.value.mend
    return sentence


def test_a_plain_table(tmp_path: Path) -> None:
    read = read_text(tmp_path, PLAIN + ROWS)
    assert read.starts_s.tolist() == [0.0, 10.0, 20.0]
    assert read.durations_s.tolist() == [10.0, 10.0, 20.0]
    assert {role: curve.tolist() for role, curve in read.counts.items()} == {
        "left": [120.0, 130.0, 300.0],
        "right": [100.0, 110.0, 240.0],
    }
    # What the table does not say stays unsaid.
    assert (read.tracer, read.view, read.acquired, read.cautions) == ("", "", "", ())
    assert (read.furosemide_s, read.decay_corrected, dict(read.pixels)) == (None, None, {})
    assert not read.phantom
    digest = hashlib.sha256((PLAIN + ROWS).encode()).hexdigest()
    assert read.source_id == f"sha256:{digest}"


def test_everything_a_table_can_say(tmp_path: Path) -> None:
    said = (
        "# Tracer: MAG3\n"
        "# given: 10 s\n"
        "# furosemide: -15 min\n"
        "# half-life: 6.0067 h\n"
        "# decay-corrected: no\n"
        "# view: posterior\n"
        "# acquired: 2026-03-01T08:30+01:00\n"
        "# phantom: yes\n"
        "# area left: 412 {pixels}\n"
        "# area right: 398.5 px\n"
        "# caution: moved at 12 min\n"
        "# caution: bladder full\n"
        "\n"
    )
    read = read_text(tmp_path, said + PLAIN + ROWS)
    assert read.tracer == "MAG3"
    assert read.given_s == 10.0
    assert read.furosemide_s == -900.0
    assert read.half_life_s == pytest.approx(21624.12, abs=1e-9)  # 6.0067 × 3600
    assert read.decay_corrected is False
    assert read.view == "posterior"
    assert read.acquired == "2026-03-01T08:30:00+01:00"
    assert read.phantom
    assert dict(read.pixels) == {"left": 412.0, "right": 398.5}
    assert read.cautions == ("moved at 12 min", "bladder full")


@pytest.mark.parametrize(
    ("heading", "rows"),
    [
        ("start [s],duration [s]", ["0,10", "10,10", "20,20"]),
        ("start [s],end [s]", ["0,10", "10,20", "20,40"]),
        ("middle [s],duration [s]", ["5,10", "15,10", "30,20"]),
        ("end [s],duration [s]", ["10,10", "20,10", "40,20"]),
        ("start [s],middle [s]", ["0,5", "10,15", "20,30"]),
        ("middle [s],end [s]", ["5,10", "15,20", "30,40"]),
        ("start [min],duration [s]", ["0,10", "0.16666666666666667,10", "0.33333333333333333,20"]),
        ("duration [s],start [s]", ["10,0", "10,10", "20,20"]),
    ],
)
def test_any_two_times_place_a_frame(tmp_path: Path, heading: str, rows: list[str]) -> None:
    text = f"{heading},left [{{counts}}]\n" + "".join(f"{row},1\n" for row in rows)
    read = read_text(tmp_path, text)
    np.testing.assert_allclose(read.starts_s, [0, 10, 20], rtol=0, atol=1e-12)
    np.testing.assert_allclose(read.durations_s, [10, 10, 20], rtol=0, atol=1e-12)


def test_one_duration_for_all_frames_may_stand_before_the_table(tmp_path: Path) -> None:
    read = read_text(tmp_path, "# duration: 0.5 min\nstart [s],left [{counts}]\n0,5\n30,6\n")
    assert read.durations_s.tolist() == [30.0, 30.0]


def test_counts_per_time_become_counts_of_the_frame(tmp_path: Path) -> None:
    """12.5/s over 10 s is 125; 60/min over 30 s is 30."""
    rate = read_text(tmp_path, "start [s],duration [s],left [{counts}/s]\n0,10,12.5\n10,30,2\n")
    assert rate.counts["left"].tolist() == [125.0, 60.0]
    minute = read_text(tmp_path, "start [s],duration [s],left [cpm]\n0,30,60\n30,30,12\n")
    assert minute.counts["left"].tolist() == [30.0, 6.0]


def test_as_a_spreadsheet_saves_it(tmp_path: Path) -> None:
    """Byte order mark, semicolons, CR LF, short rows padded, cells quoted, an empty row."""
    text = (
        "\ufeff# tracer: EC;;;\r\n"
        '"# caution: moved; then lay still";;;\r\n'
        'start [s];duration [s];"left [{counts}]";right [{counts}]\r\n'
        "0;10;1;2\r\n;;;\r\n10;10;3;4\r\n"
    )
    read = read_text(tmp_path, text)
    assert read.tracer == "EC"
    assert read.cautions == ("moved; then lay still",)
    assert read.counts["right"].tolist() == [2.0, 4.0]


def test_gaps_are_kept_and_a_clock_before_nought_is_moved(tmp_path: Path) -> None:
    text = "start [s],duration [s],left [{counts}]\n-20,10,0\n-10,10,1\n0,10,9\n40,10,7\n"
    read = read_text(tmp_path, text)
    assert read.starts_s.tolist() == [0.0, 10.0, 20.0, 60.0]
    assert read.given_s == 20.0
    np.testing.assert_allclose(read.middles_s, [-15.0, -5.0, 5.0, 45.0])
    assert read.cautions == ()


def test_a_late_beginning_is_said(tmp_path: Path) -> None:
    read = read_text(tmp_path, "start [s],duration [s],left [{counts}]\n30,10,1\n40,10,2\n")
    assert read.middles_s.tolist() == [35.0, 45.0]
    assert "30 s after the tracer" in read.cautions[0]


@pytest.mark.parametrize(
    ("text", "place", "word"),
    [
        (PLAIN.replace(" [s]", "") + ROWS, "line 1", "no unit"),
        (PLAIN.replace("[{counts}]", "", 1) + ROWS, "line 1", "no unit"),
        (PLAIN.replace("[{counts}]", "[kg]", 1) + ROWS, "line 1", "is in kg"),
        (PLAIN.replace("[{counts}]", "[furlong]", 1) + ROWS, "line 1", "not a UCUM unit"),
        (PLAIN.replace("[{counts}]", "[{counts}/s]", 1) + ROWS, "line 1", "others in counts per"),
        (PLAIN.replace("right", "left") + ROWS, "line 1", "'left' twice"),
        (PLAIN.replace("right", "rihgt") + ROWS, "line 1", "did you mean 'right'"),
        (PLAIN.replace("left", "blood").replace("right", "bladder") + ROWS, "line 1", "neither"),
        ("start [s],left [{counts}]\n0,1\n10,2\n", "line 1", "how long it lasted"),
        ("start [s],end [s],duration [s],left [{counts}]\n", "line 1", "more than"),
        ("# duration: 10 s\n" + PLAIN + ROWS, "line 2", "more than"),
        (PLAIN + "0,10,120,100\n10,10,130,\n20,20,1,1\n", "line 3, column 'right'", "empty"),
        (PLAIN + "0,10,120,100\n10,10,x,1\n", "line 3, column 'left'", "not a number"),
        (PLAIN + "0,10,120,100\n10,10,-1,1\n", "line 3, column 'left'", "below 0"),
        (PLAIN + "0,10,120,100\n10,0,1,1\n", "line 3", "lasts no time"),
        (PLAIN + '0,10,"120,5",100\n10,10,1,1\n', "line 2, column 'left'", "not a number"),
        (PLAIN + "0,10,120,5,100\n10,10,1,1\n", "line 2", "5 cells for 4 columns"),
        (PLAIN + "0,10,120,100\n5,10,130,110\n", "", "frame 2 begins before"),
        (PLAIN + "10,10,120,100\n0,10,130,110\n", "", "frame 2 begins before"),
        (PLAIN + "0,10,120,100\n", "", "two frames"),
        (PLAIN, "", "two frames"),
        ("", "", "no table"),
        ("# tracer: MAG3\n", "", "no table"),
        (PLAIN + '0,10,"120,100\n', "", "not a readable table"),
        ("# tracer MAG3\n" + PLAIN + ROWS, "line 1", "not known"),
        ("# furosmide: 20 min\n" + PLAIN + ROWS, "line 1", "furosemide"),
        ("# furosemide: 20\n" + PLAIN + ROWS, "line 1", "without a unit"),
        ("# furosemide: 20 kg\n" + PLAIN + ROWS, "line 1", "not a time"),
        ("# view: below\n" + PLAIN + ROWS, "line 1", "posterior, anterior"),
        ("# decay-corrected: perhaps\n" + PLAIN + ROWS, "line 1", "yes or no"),
        ("# acquired: 1 March\n" + PLAIN + ROWS, "line 1", "not a date"),
        ("# tracer: A\n# tracer: B\n" + PLAIN + ROWS, "line 2", "second time"),
        ("# area left: 40 cm\n" + PLAIN + ROWS, "line 1", "pixels"),
        ("# area left: 0 {pixels}\n" + PLAIN + ROWS, "line 1", "above 0"),
        ("# area blood: 9 {pixels}\n" + PLAIN + ROWS, "", "no such column"),
        ("# half-life: 0 h\n" + PLAIN + ROWS, "line 1", "above 0"),
        ("# given: 100 s\n" + PLAIN + ROWS, "", "no frame"),
    ],
)
def test_what_is_refused_and_where(tmp_path: Path, text: str, place: str, word: str) -> None:
    sentence = refused_table(tmp_path, text)
    assert word in sentence
    assert place in sentence


def test_every_bad_line_is_named_at_once(tmp_path: Path) -> None:
    sentence = refused_table(tmp_path, "# view: up\n" + PLAIN + "0,10,a,1\n10,10,1,b\n")
    assert all(f"line {number}" in sentence for number in (1, 3, 4))


def test_other_encodings_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "curves.csv"
    path.write_bytes(("# tracer: Médiagamma\n" + PLAIN + ROWS).encode("latin-1"))
    with pytest.raises(InputError, match="UTF-8"):
        read_renogram_table(path)


def test_a_file_is_not_written_over(tmp_path: Path) -> None:
    read = read_text(tmp_path, PLAIN + ROWS)
    with pytest.raises(InputError, match="is there already"):
        write_renogram_table(read, tmp_path / "curves.csv")
    with pytest.raises(InputError, match="cannot be written"):
        write_renogram_table(read, tmp_path / "none" / "curves.csv")


WORDS = st.text(st.characters(categories=("L", "N"), include_characters=" -/+,"), max_size=30).map(
    lambda text: " ".join(text.split()).strip(",").strip()
)
COUNTS = st.floats(0, 1e9, allow_subnormal=False).filter(lambda n: n == 0 or n > 1e-6)


@st.composite
def renograms(draw: st.DrawFn) -> Renogram:
    """Return any renogram that can be written: odd times, gaps, every role."""
    frames = draw(st.integers(2, 6))
    times = st.floats(1e-3, 600)
    durations = np.array(draw(st.lists(times, min_size=frames, max_size=frames)))
    gaps = np.array(draw(st.lists(st.floats(1e-6, 60), min_size=frames, max_size=frames)))
    starts = np.concatenate([[0.0], np.cumsum(durations + gaps)[:-1]])
    roles = {draw(st.sampled_from(("left", "right"))), *draw(st.sets(st.sampled_from(ROLES)))}
    curve = st.lists(COUNTS, min_size=frames, max_size=frames).map(np.array)
    counts: dict[str, NDArray[np.float64]] = {role: draw(curve) for role in ROLES if role in roles}
    return Renogram(
        starts_s=starts,
        durations_s=durations,
        counts=counts,
        pixels={role: draw(st.floats(0.1, 1e5)) for role in counts if draw(st.booleans())},
        tracer=draw(WORDS),
        given_s=draw(st.floats(0.001, float(starts[-1]))) if draw(st.booleans()) else 0.0,
        furosemide_s=draw(st.none() | st.integers(-3600, 3600).map(float)),
        half_life_s=draw(st.floats(60, 1e6)),
        decay_corrected=draw(st.none() | st.booleans()),
        view=draw(st.sampled_from(["", "posterior", "anterior", "geometric mean"])),
        acquired=draw(
            st.just("")
            | st.dates().map(lambda day: day.isoformat())
            | st.datetimes().map(lambda at: at.replace(microsecond=0).isoformat())
        ),
        phantom=draw(st.booleans()),
        cautions=tuple(draw(st.lists(WORDS.filter(bool), max_size=2))),
    )


@given(renograms())
def test_there_and_back_to_the_last_digit(
    tmp_path_factory: pytest.TempPathFactory, renogram: Renogram
) -> None:
    path = tmp_path_factory.mktemp("t") / "curves.csv"
    write_renogram_table(renogram, path)
    read = read_renogram_table(path)

    def same(ours: Any, theirs: Any) -> bool:
        if isinstance(ours, np.ndarray):
            return np.array_equal(ours, theirs)
        return bool(ours == theirs)

    for each in fields(Renogram):
        if each.name == "counts":
            assert list(read.counts) == list(renogram.counts)
            assert all(same(renogram.counts[role], read.counts[role]) for role in read.counts)
        elif each.name != "source_id":
            assert same(getattr(renogram, each.name), getattr(read, each.name)), each.name
    assert renogram_table(read) == path.read_text(encoding="utf-8")


def test_the_table_is_plain_csv_to_others(tmp_path: Path) -> None:
    """Below the lines of words, the standard library's reader finds what we wrote."""
    read = read_text(tmp_path, PLAIN + ROWS)
    lines = [line for line in renogram_table(read).splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert [float(row["left [{counts}]"]) for row in rows] == [120.0, 130.0, 300.0]
