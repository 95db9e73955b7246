"""Read printed documents back: HTML as a parser sees it, PDF as pypdf sees it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from typing import TYPE_CHECKING

from pypdf import PdfReader

if TYPE_CHECKING:
    from pathlib import Path

VOID = frozenset({"meta", "img", "br", "hr", "link", "input"})
"""Elements without an end tag (HTML Living Standard section 13.1.2), of those we might use."""

Attributes = dict[str, str]


@dataclass
class Table:
    """One table: its head and its rows."""

    head: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class Page(HTMLParser):
    """A page's elements, text and tables; unbalanced tags are refused."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, Attributes]] = []
        self.said: list[str] = []
        self.tables: list[Table] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == [], f"never closed: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {key: value or "" for key, value in attrs}))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "table":
            self.tables.append(Table())
        elif tag == "tr":
            self.tables[-1].rows.append([])
        elif tag in {"td", "th"}:
            self.tables[-1].rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop() == tag, f"</{tag}> closes another element"
        if tag == "thead":
            self.tables[-1].head = self.tables[-1].rows.pop()

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            return
        self.said.append(data)
        if {"td", "th"} & set(self._open[-2:]):
            self.tables[-1].rows[-1][-1] += data

    def all(self, tag: str) -> list[Attributes]:
        """Return the attributes of every element of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self) -> str:
        """Everything it says."""
        return " ".join(self.said)


def words(text: str) -> str:
    """Return text with single spaces, hyphens at line ends undone."""
    return " ".join(text.replace("-\n", "-").split())


def page_of(path: Path) -> Page:
    """Return a parsed HTML file."""
    return Page(path.read_text(encoding="utf-8"))


def text_of(path: Path) -> str:
    """Return what an HTML file says."""
    return page_of(path).text


@cache
def pages(path: Path) -> tuple[str, ...]:
    """Return the text of each page of a PDF."""
    return tuple(page.extract_text() for page in PdfReader(path).pages)
