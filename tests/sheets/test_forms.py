"""One content as HTML and as PDF: nothing a person is called or writes becomes markup."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader
from tests.support.printed import Page, pages, words

from thalweg.sheets.document import (
    Beside,
    Cautions,
    Cell,
    Document,
    Items,
    Section,
    Table,
    Text,
    Tone,
)
from thalweg.sheets.html import to_html
from thalweg.sheets.pdf import to_pdf
from thalweg.sheets.pictures.diversions import diversion_picture

if TYPE_CHECKING:
    from pathlib import Path

NASTY = '<script>alert(1)</script> #import "x" $x$ *bold* _soft_ @ref \\ "quoted" & \'so\' [a](b)'
WARNING = "Supports and does not replace licensed judgement."


def document(text: str) -> Document:
    """Return a document that says a text in every place where one can stand."""
    return Document(
        title=text,
        subtitle=text,
        running=text,
        warning=WARNING,
        made_on="2026-04-01",
        sections=(
            Section(
                "one",
                text,
                (
                    Text(text, lead=True),
                    Items((text,)),
                    Cautions((text,)),
                    Table((text, "b"), ((Cell(text, Tone.CARE), text),), caption=text),
                ),
            ),
            Section("two", "Second", (Text("On a page of its own."),), new_page=True),
        ),
    )


def test_markup_is_shown_literally_on_the_page() -> None:
    page = Page(to_html(document(NASTY)).decode())
    assert page.all("script") == []
    # Title of the window and of the page, subtitle, running line twice, contents, heading, label
    # is an attribute; text, item, caution, caption, column, two cells.
    assert page.text.count(NASTY) == 14
    (region,) = [one for one in page.all("div") if one.get("role") == "region"]
    assert region["aria-label"] == NASTY


def test_markup_is_shown_literally_on_paper(tmp_path: Path) -> None:
    path = tmp_path / "nasty.pdf"
    path.write_bytes(to_pdf(document(NASTY)))
    shown = words(" ".join(pages(path)))
    for part in ("<script>alert(1)</script>", '#import "x"', "$x$", "*bold*", "_soft_", "@ref"):
        assert part in shown, part
    assert 'x"' in shown
    assert "[a](b)" in shown


def test_every_page_of_paper_carries_warning_and_number(tmp_path: Path) -> None:
    path = tmp_path / "two.pdf"
    path.write_bytes(to_pdf(document("Plain")))
    found = pages(path)
    assert len(found) == 2
    for number, text in enumerate(found, start=1):
        assert WARNING in words(text)
        assert f"{number} of {len(found)}" in words(text)


def test_the_same_document_is_the_same_file() -> None:
    for form in (to_html, to_pdf):
        first, second = form(document("Plain")), form(document("Plain"))
        assert hashlib.sha256(first).digest() == hashlib.sha256(second).digest()


def test_tone_is_never_colour_alone() -> None:
    tones = tuple(tone for tone in Tone if tone.value)
    table = Table(("a",), tuple((Cell("word", tone),) for tone in tones))
    made = Document("t", "s", "r", "w", "2026-04-01", (Section("k", "h", (table,)),))
    (found,) = Page(to_html(made).decode()).tables
    assert [row[0].split() for row in found.rows] == [[tone.value, "word"] for tone in tones]


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="row of another length"):
        Table(("a", "b"), (("only one",),))


def test_a_picture_stands_beside_its_words(tmp_path: Path) -> None:
    picture = diversion_picture("ileal-conduit", size="small", share=0.28)
    words_beside = (Text(NASTY), Table(("a", "b"), (("left cell", "right cell"),)))
    shown = Document(
        title="t",
        subtitle="s",
        running="r",
        warning=WARNING,
        made_on="2026-04-01",
        sections=(Section("one", "One", (Beside(picture, words_beside),)),),
    )
    page = Page(to_html(shown).decode())
    (image,) = page.all("img")
    assert image["alt"] == picture.alternative
    assert NASTY in page.text
    assert page.tables[0].rows == [["left cell", "right cell"]]
    path = tmp_path / "beside.pdf"
    path.write_bytes(to_pdf(shown))
    places: dict[str, float] = {}

    def note(text: str, cm: list[float], tm: list[float], *_: object) -> None:
        places.setdefault(text.strip(), tm[4] * cm[0] + tm[5] * cm[2] + cm[4])

    PdfReader(path).pages[0].extract_text(visitor_text=note)
    told = [where for text, where in places.items() if "left cell" in text]
    caption = [where for text, where in places.items() if text.startswith("1 Right kidney")]
    # A4 is 595 points wide: the words begin to the right of a picture 28 % of it, its caption not.
    assert told[0] > 0.28 * 595
    assert caption[0] < 0.28 * 595
