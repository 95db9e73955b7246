"""Regions from a table or TOML: what is read, what is refused and where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thalweg.errors import InputError
from thalweg.exchange.regions import read_regions, regions_toml
from thalweg.record.renogram import ROLES

if TYPE_CHECKING:
    from pathlib import Path

TOML = "[regions_px]\nleft = [[1, 2], [5, 2.5], [4, 9]]\nbladder = [[7, 7], [9, 7], [8, 9]]\n"
CSV = (
    "region,column_px,row_px\nleft,1,2\nleft,5,2.5\nbladder,7,7\nleft,4,9\n\nbladder,9,7\n"
    "bladder,8,9\n"
)
WANTED = {
    "left": ((1.0, 2.0), (5.0, 2.5), (4.0, 9.0)),
    "bladder": ((7.0, 7.0), (9.0, 7.0), (8.0, 9.0)),
}


def put_regions(tmp_path: Path, name: str, text: str) -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("r.toml", TOML),
        ("r.csv", CSV),
        ("R.CSV", "\ufeff" + CSV.replace(",", ";")),
        ("r.csv", CSV.replace("column_px,row_px", "Column_PX , row_px").replace("\n", "\r\n")),
    ],
)
def test_both_forms_say_the_same(tmp_path: Path, name: str, text: str) -> None:
    assert read_regions(put_regions(tmp_path, name, text)) == WANTED


def test_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    text = "row_px,region,column_px\n2,left,1\n2.5,left,5\n9,left,4\n"
    assert read_regions(put_regions(tmp_path, "r.csv", text)) == {"left": WANTED["left"]}


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("r.txt", TOML, "neither a table nor TOML"),
        ("r.toml", "left = [[1, 2]", "is not TOML"),
        ("r.toml", "left = [[1, 2], [5, 2], [4, 9]]", "[regions_px] alone"),
        ("r.toml", TOML + "[more]\n", "[regions_px] alone"),
        ("r.toml", TOML.replace("left", "lft"), "did you mean 'left'"),
        ("r.toml", TOML.replace("[1, 2], ", ""), "fewer than 3 corners"),
        ("r.toml", TOML.replace("[1, 2]", "[5, 2.5]"), "fewer than 3 corners"),
        ("r.toml", TOML.replace("[1, 2]", "[1]"), "is no place"),
        ("r.toml", TOML.replace("[1, 2]", "[true, 2]"), "is no place"),
        ("r.toml", TOML.replace("[1, 2]", "[nan, 2]"), "is no place"),
        ("r.toml", "[regions_px]\nleft = 3\n", "is no place"),
        ("r.toml", "[regions_px]\n", "no region"),
        ("r.csv", "", "line 1: does not name the columns"),
        ("r.csv", CSV.replace("region", "role"), "does not name the columns"),
        ("r.csv", CSV.replace("left,5,2.5", "left,5"), "line 3: is not two numbers"),
        ("r.csv", CSV.replace("left,5,2.5", "left,5,inf"), "line 3: is not two numbers"),
        ("r.csv", CSV.replace("bladder,7", "blader,7"), "line 4: unknown region"),
        ("r.csv", CSV + '"', "not a readable table"),
    ],
)
def test_refusals_name_the_place(tmp_path: Path, name: str, text: str, word: str) -> None:
    with pytest.raises(InputError) as caught:
        read_regions(put_regions(tmp_path, name, text))
    assert word in str(caught.value)
    assert str(caught.value).startswith(name)


PLACE = st.tuples(st.floats(-0.5, 511.5), st.floats(-0.5, 511.5))
CORNERS = st.lists(PLACE, min_size=3, max_size=8, unique=True).map(tuple)


@given(st.dictionaries(st.sampled_from(ROLES), CORNERS, min_size=1))
def test_toml_there_and_back(
    tmp_path_factory: pytest.TempPathFactory, regions: dict[str, tuple[tuple[float, float], ...]]
) -> None:
    path = put_regions(tmp_path_factory.mktemp("r"), "r.toml", regions_toml(regions))
    assert read_regions(path) == regions
