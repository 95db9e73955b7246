"""The demonstration's printed plan, read back by parsers that share nothing with its makers."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader
from tests.support.printed import Page, page_of, pages, words

if TYPE_CHECKING:
    from tests.conftest import OnRecord

WARNING = "Supports and does not replace licensed judgement."
NUMBER = re.compile(r"\d+(\.\d+)? ?(mm|mL/min|years|m²)")


@pytest.fixture(scope="module")
def page(demonstration: OnRecord) -> Page:
    """Return the plan's page."""
    return page_of(demonstration.document("html"))


@pytest.fixture(scope="module")
def paper(demonstration: OnRecord) -> list[str]:
    """Return the text of the plan's pages of paper."""
    return [words(text) for text in pages(demonstration.document("pdf"))]


def test_page_is_a_whole_document(demonstration: OnRecord, page: Page) -> None:
    source = demonstration.document("html").read_text(encoding="utf-8")
    assert source.startswith("<!doctype html>")
    (html,) = page.all("html")
    assert html["lang"] == "en"
    assert len(page.all("title")) == len(page.all("h1")) == len(page.all("main")) == 1
    assert any(one.get("charset") == "utf-8" for one in page.all("meta"))
    keys = [one["id"] for _, one in page.elements if "id" in one]
    assert len(set(keys)) == len(keys)
    # Every link of the contents leads somewhere.
    assert {one["href"].lstrip("#") for one in page.all("a")} <= set(keys)
    heads = [tag for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert heads[0] == "h1"
    assert "h2" in heads


def test_pictures_have_words(page: Page) -> None:
    pictures = page.all("img")
    assert len(pictures) >= 3
    for picture in pictures:
        assert len(picture["alt"].split()) >= 5
        assert picture["src"].startswith("data:image/")


def test_page_asks_nothing_of_any_network(demonstration: OnRecord, page: Page) -> None:
    policies = [
        one["content"]
        for one in page.all("meta")
        if one.get("http-equiv") == "Content-Security-Policy"
    ]
    assert len(policies) == 1
    assert "default-src 'none'" in policies[0]
    assert page.all("script") == page.all("link") == page.all("iframe") == []
    for tag, attributes in page.elements:
        for name, value in attributes.items():
            assert not value.startswith(("http:", "https:", "//")), (tag, name)
            assert not name.startswith("on"), (tag, name)
    source = demonstration.document("html").read_text(encoding="utf-8")
    assert not re.search(r"url\(|@import", source)


def test_warning_stands_first_and_last(page: Page) -> None:
    text = words(page.text)
    places = [found.start() for found in re.finditer(re.escape(WARNING), text)]
    assert len(places) >= 2
    assert places[0] < 0.02 * len(text)
    assert places[-1] > 0.98 * len(text)


def test_an_artificial_image_is_called_so(page: Page, paper: list[str]) -> None:
    for text in (words(page.text), paper[0]):
        assert "artificial image (phantom)" in text


def test_every_verdict_is_printed(demonstration: OnRecord, page: Page, paper: list[str]) -> None:
    first = page.tables[0] if page.tables[0].head[0] == "Diversion" else None
    table = first or next(one for one in page.tables if one.head[:2] == ["Diversion", "Verdict"])
    printed = {row[0].strip(): " ".join(row[1].split()[1:]) for row in table.rows}
    whole = " ".join(paper)
    for row in demonstration.payload["appraisal"]["diversions"]:
        standing = "" if row["standing"] == "usual" else f" ({row['standing']})"
        assert printed[f"{row['name']}{standing}"] == row["verdict"]
        assert row["name"] in whole
        for criterion in row["criteria"]:
            assert words(criterion["sentence"]) in words(page.text)


def figures_of(finding: dict[str, Any]) -> set[str]:
    """Return the ways in which a renogram's section may print a finding's value."""
    if finding["interval"] is not None:
        low, high = finding["interval"]
        return {f"({low:.{digits}f} to {high:.{digits}f})" for digits in range(3)}
    by_name = {
        "renogram-methods-agree": {"methods agree", "METHODS DISAGREE", "no second method"},
        "renogram-share-change": set(map(words, finding["cautions"][:1])),
    }
    said = {"none", "not reached", "not looked for"}
    value = finding["value"]
    return by_name.get(finding["name"], said if value is None else {words(str(value))})


def test_every_finding_is_printed_with_its_day(demonstration: OnRecord, page: Page) -> None:
    shown = [row for one in page.tables if "As of" in one.head for row in one.rows]
    days = {
        words(row[0]): row[one.head.index("As of")]
        for one in page.tables
        if one.head[:2] == ["What", "Value"] or one.head[0] in ("Score", "Contrast")
        if "As of" in one.head
        for row in one.rows
    }
    assert len(shown) >= 15
    text = words(page.text)
    for finding in demonstration.payload["findings"]:
        if finding["name"].startswith(("margin-", "appraisal-")):
            continue
        # The band and the published rates of a score stand beside it and are of its day.
        if "-rate-" in finding["name"]:
            assert finding["title"].partition("rate: ")[2][1:] in text
            continue
        if finding["name"].endswith("-band"):
            continue
        if finding["name"].startswith("renogram-"):
            # A study's figures stand side by side under its own day.
            assert f"Renogram of {finding['date'][:10]}" in text
            assert any(figure in text for figure in figures_of(finding)), finding["name"]
            continue
        if finding["name"] == "workup-complete":
            # Its page is the checklist: nothing to do stands there only where it is complete.
            to_do = [one for one in page.tables if "What it could change" in one.head]
            assert bool(to_do) == (finding["value"] == "not met")
            continue
        assert days[words(finding["title"])].startswith(finding["date"][:10])


def test_no_table_of_findings_lacks_a_date(page: Page) -> None:
    dated = {"As of", "Next due", "Due"}
    for table in page.tables:
        if table.head[:2] == ["What", "Value"]:
            assert dated & set(table.head)
            for row in table.rows:
                assert re.match(r"\d{4}-\d{2}-\d{2}", row[table.head.index("As of")].strip())


def test_paper_is_whole(demonstration: OnRecord, paper: list[str]) -> None:
    reader = PdfReader(demonstration.document("pdf"))
    assert len(paper) > 5
    assert "Plan for urinary diversion" in paper[0]
    assert reader.metadata is not None
    assert reader.metadata.title == "Plan for urinary diversion"
    for number, text in enumerate(paper, start=1):
        assert WARNING in text, number
        assert f"{number} of {len(paper)}" in text, number
        assert demonstration.case_id in text, number
    # ISO 32000-1 section 14.8: a tagged file says so in its catalogue, and names its language.
    catalogue: Any = reader.root_object
    assert catalogue["/MarkInfo"]["/Marked"]
    assert str(catalogue["/Lang"]).startswith("en")


def test_page_and_paper_say_the_same_numbers(page: Page, paper: list[str]) -> None:
    whole = " ".join(paper)
    values = {
        words(row[1])
        for one in page.tables
        if one.head[:2] == ["What", "Value"]
        for row in one.rows
        if NUMBER.search(row[1])
    }
    assert len(values) > 10
    missing = [value for value in values if value not in whole]
    assert missing == []


def test_nothing_is_printed_that_is_no_number(page: Page, paper: list[str]) -> None:
    for text in (page.text, " ".join(paper)):
        assert not re.search(r"\b(nan|inf|None|NaN)\b", text)
