"""The page of what was verified says what the data say, no more and no less."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from typing import Any

import pytest

from thalweg.evidence.bibliography import bibliography
from thalweg.record.concept import concepts

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "verification.md").read_text(encoding="utf-8")
KEY = re.compile(r"`([a-z0-9]+(?:-[a-z0-9]+)+)`")
VERDICTS = ("agrees", "not found")


def writer() -> Any:
    """Return the tool that writes the page's tables."""
    path = ROOT / "tools" / "write_verification.py"
    spec = importlib.util.spec_from_file_location("write_verification", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def part(heading: str) -> str:
    """Return what stands under a heading of the page."""
    return PAGE.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]


def rows(heading: str) -> list[list[str]]:
    """Return the cells of the table under a heading, without its head."""
    found = [line for line in part(heading).splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in found[2:]]


def test_the_page_is_as_the_tool_writes_it() -> None:
    assert writer().written(PAGE) == PAGE, "run python tools/write_verification.py"


@pytest.mark.parametrize(
    ("heading", "read"),
    [("Sources from memory", "memory"), ("Sources seen quoted only", "secondary")],
)
def test_every_source_that_was_not_read_stands_on_the_page(heading: str, read: str) -> None:
    listed = {KEY.findall(row[0])[0] if KEY.findall(row[0]) else row[0] for row in rows(heading)}
    single = {key for key in bibliography() if "-" not in key}
    there = listed | {key for key in single if f"`{key}`:" in part(heading)}
    expected = {key for key, one in bibliography().items() if one.read == read}
    assert expected <= there
    assert not {key for key in listed if key in bibliography()} - expected


def test_every_code_not_seen_twice_stands_on_the_page() -> None:
    unsure = {c.code for one in concepts().values() for c in one.codes if c.checked != "two"}
    assert {row[0].strip("`") for row in rows("Codes of the laboratory")} == unsure


@pytest.mark.parametrize("row", rows("Values"), ids=lambda row: row[0][:40])
def test_a_value_s_first_source_exists_and_was_read_as_said(row: list[str]) -> None:
    value, first, second, read, verdict = row
    assert value
    (key,) = KEY.findall(first)
    assert bibliography()[key].read == read
    for other in KEY.findall(second):
        assert other in bibliography()
    assert verdict.startswith(VERDICTS)
    if verdict.startswith("agrees"):
        assert second
        assert read != "memory"
