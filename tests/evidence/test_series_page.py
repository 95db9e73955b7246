"""docs/published-series.md is as the data say, and its example of an own table can be read."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from typing import Any

from thalweg.evidence.series import packaged
from thalweg.exchange.series_table import read_series_table

ROOT = Path(__file__).parents[2]
PAGE = ROOT.joinpath("docs", "published-series.md").read_text(encoding="utf-8")


def tool() -> Any:
    """Return the tool that writes the page."""
    spec = importlib.util.spec_from_file_location(
        "write_series", ROOT / "tools" / "write_series.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_as_the_tool_writes_it() -> None:
    assert tool().page() == PAGE


def test_every_series_stands_on_the_page_once_with_its_doubts() -> None:
    rows = [line for line in PAGE.splitlines() if line.startswith("| `")]
    assert len(rows) == len(packaged())
    for one in packaged():
        own = [line for line in rows if line.startswith(f"| `{one.source}` ({one.year}) |")]
        if one.discrepancy:
            assert any(one.discrepancy in line for line in own)
        if one.excluded:
            assert any(f"In no pool. It is kept out: {one.excluded}." in line for line in own)
    head = re.search(r"\*\*(\d+) counts and shares from (\d+) publications", PAGE)
    assert head is not None
    assert head.groups() == (str(len(rows)), str(len({one.source for one in packaged()})))


def test_the_example_of_a_unit_s_own_table_can_be_read(tmp_path: Path) -> None:
    (text,) = re.findall(r"```csv\n(.*?)```", PAGE, re.DOTALL)
    file = tmp_path / "series.csv"
    file.write_text(text, encoding="utf-8")
    found = read_series_table(file)
    assert [one.definition_group for one in found] == ["stenosis-treated", "acidosis-year-1"]
