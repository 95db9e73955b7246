"""The sheet for the talk and the leaflets: whole, plain, about groups, in every script."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from datetime import date
from io import BytesIO
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader
from tests.support.appraisal_people import FAVOURABLE, TODAY, case_of
from tests.support.handouts import sheet_of, strings, without
from tests.support.printed import Page, words
from tests.support.translations import translated

from thalweg.plan.catalogue import catalogue
from thalweg.record.case import Person
from thalweg.sheets.document import Document, Heading, Lines, Picture, Table, Text
from thalweg.sheets.handout import Option, consent_document, leaflet_document
from thalweg.sheets.handout.content import cannot_happen
from thalweg.sheets.html import to_html
from thalweg.sheets.messages import wording
from thalweg.sheets.messages.catalogue import english, glossary
from thalweg.sheets.messages.grade import HIGHEST_GRADE
from thalweg.sheets.messages.pseudo import ACCENTED, MIRRORED
from thalweg.sheets.pdf import to_pdf

if TYPE_CHECKING:
    from thalweg.sheets.document import Section

ISOLATED = re.compile("\u2068[^\u2068\u2069]*\u2069")


@pytest.fixture(scope="module")
def sheet() -> Document:
    return consent_document(sheet_of(), wording())


def section(document: Document, key: str) -> Section:
    (found,) = [one for one in document.sections if one.key == key]
    return found


def headings(part: Section) -> list[str]:
    return [block.text for block in part.blocks if isinstance(block, Heading)]


def tables(part: Section) -> list[Table]:
    return [block for block in part.blocks if isinstance(block, Table)]


def test_every_option_that_is_not_closed_has_every_part(sheet: Document) -> None:
    content = sheet_of()
    assert len(content.options) >= 5
    closed = {row.diversion.key for row in content.appraisal.diversions if row.verdict == "closed"}
    assert closed
    shown = {one.key.removeprefix("option-") for one in sheet.sections if "option-" in one.key}
    assert shown == {option.key for option in content.options}
    glance = tables(section(sheet, "glance"))[0]
    assert len(glance.rows) == len(content.options)
    for option in content.options:
        part = section(sheet, f"option-{option.key}")
        for name in ("what", "operation", "daily", "checks", "fit"):
            assert english()[f"label.part.{name}"].one in headings(part)
        assert any(isinstance(block, Picture) for block in part.blocks)
        (fit,) = tables(part)
        assert len(fit.rows) == len(option.row.weighed)


def test_alternatives_questions_and_signatures_are_there(sheet: Document) -> None:
    said = words(" ".join(strings(sheet)))
    for part in ("Do nothing yet.", "Hear what another team says.", "Have no operation at all."):
        assert part in said
    own = [block for block in section(sheet, "questions").blocks if isinstance(block, Lines)]
    assert own[0].count >= 5
    signed = tables(section(sheet, "sign"))[0]
    assert signed.head[1:] == ("Name", "Signature", "Date")
    assert len(signed.rows) == 3
    assert "not the form on which you agree" in said


def test_what_is_not_known_of_the_person_is_asked_for() -> None:
    document = consent_document(sheet_of(case_of(without("fit-for-bowel-surgery"))), wording())
    said = " ".join(strings(document))
    assert "Whether you are fit enough for a long operation. This would help with" in said
    rows = {row[0]: row[1] for row in tables(section(document, "option-ileal-conduit"))[0].rows}
    fit = rows["You are fit enough for a long operation on the bowel."]
    assert not isinstance(fit, str)
    assert fit.text == "not known yet"


def test_closed_options_say_what_stands_in_the_way() -> None:
    case = case_of({**FAVOURABLE, "fit-for-bowel-surgery": False})
    said = " ".join(strings(consent_document(sheet_of(case), wording())))
    assert (
        "Urine runs through a piece of small bowel to the skin. This does not hold now: "
        "“You are fit enough for a long operation on the bowel.”"
    ) in said


def test_every_number_has_its_range_people_years_and_doubt(sheet: Document) -> None:
    found = tables(section(sheet, "numbers"))
    assert len(found) >= 10
    for table in found:
        for option, many, whom, sure in table.rows:
            assert option
            assert re.search(
                r"\bbetween \d+ and \d+|from \d+ to \d+ of 100|found the same", str(many)
            )
            assert re.search(r"\d.*from (one group|\d+ groups) \(\d{4}", str(whom))
            assert re.match(r"(Very unsure|Unsure|Fairly sure):", str(sure))


def test_an_option_without_a_figure_is_not_known_never_none(sheet: Document) -> None:
    content = sheet_of()
    said = " ".join(
        block.text for block in section(sheet, "numbers").blocks if isinstance(block, Text)
    )
    for option in content.options:
        short = english()[f"label.diversion.{option.key}.short"].one
        lacking = [
            outcome
            for outcome in {one.outcome for each in content.options for one in each.figures}
            if option.figure(outcome) is None and outcome not in cannot_happen(option.key)
        ]
        assert len(re.findall(rf"Not known[^.]*: [^.]*\b{re.escape(short)}", said)) == len(lacking)


def test_every_figure_has_its_publication_and_how_it_was_read(sheet: Document) -> None:
    figures, papers = tables(section(sheet, "sources"))
    keys = {row[0] for row in papers.rows}
    wanted = {
        f"[{one.source}]"
        for option in sheet_of().options
        for figure in option.figures
        for one in figure.series
    }
    assert keys == wanted
    assert all(row[2] for row in papers.rows)
    assert len(figures.rows) == sum(len(option.figures) for option in sheet_of().options)


def test_words_are_explained_before_they_are_used(sheet: Document) -> None:
    order = [one.key for one in sheet.sections]
    assert order.index("words") == 1
    explained = {str(row[0]).casefold() for row in tables(section(sheet, "words"))[0].rows}
    said = " ".join(strings(sheet)).casefold()
    for key in glossary():
        word = english()[f"label.glossary.{key}"].one.casefold()
        assert (word in explained) == bool(re.search(rf"\b{word}s?\b", said)) or word in explained
    for word in ("stoma", "ureter", "catheter", "bowel"):
        assert word in explained


def test_nothing_advises(sheet: Document) -> None:
    said = " ".join(strings(sheet)).casefold()
    assert not re.search(r"\bbest\b|\brecommend|\bsafest\b|\bshould choose\b", said)
    assert "it is not advice" in said
    for caution in ("supports", "averages", "local", "order", "unknown"):
        assert english()[f"notice.{caution}"].one.casefold() in said


def test_the_last_line_tells_the_measured_grade(sheet: Document) -> None:
    found = re.search(r"US school grade (\d+(?:\.\d)?) \(Flesch-Kincaid\)", sheet.last)
    assert found
    assert 0 < float(found[1]) <= HIGHEST_GRADE
    other = consent_document(sheet_of(), wording(ACCENTED))
    assert not re.search(r"\d", other.last)


def test_a_leaflet_names_nobody() -> None:
    content = sheet_of()
    for option in content.options:
        document = leaflet_document(Option(option.row, option.figures), wording(), at=content.at)
        said = " ".join(strings(document))
        for secret in (content.case.person.name, content.case.person.reference, content.case.id):
            assert not re.search(rf"\b{re.escape(secret)}\b", said)
        assert document.text_pt >= 16
        titles = [one.title for one in document.sections]
        for part in ("what", "life", "numbers", "ring", "notes"):
            assert english()[f"label.part.{part}"].one in titles
        assert sum(isinstance(block, Lines) for block in section(document, "ring").blocks) == 3


def test_of_a_child_the_sheets_say_that_they_are_about_grown_ups() -> None:
    content = sheet_of()
    child = replace(content, adult=False)
    assert english()["notice.child"].one in " ".join(strings(consent_document(child, wording())))
    said = strings(leaflet_document(content.options[0], wording(), at=TODAY, adult=False))
    assert english()["notice.child"].one in " ".join(said)


def test_where_nothing_fits_the_sheet_says_so() -> None:
    document = consent_document(replace(sheet_of(), options=()), wording())
    said = " ".join(strings(document))
    assert english()["glance.none"].one in said
    assert english()["sources.none"].one in said


def test_a_unit_s_own_diversion_keeps_its_own_words() -> None:
    theirs = {
        "diversion": {
            "our-way": {
                "name": "our own way",
                "description": "Done as this unit does it.",
                "metabolic": "None expected.",
                "burdens": ["a bag"],
                "follow_up": ["a visit"],
                "criteria": ["a-kidney-to-drain"],
                "source": "Invented Hospital, guideline 9",
            }
        }
    }
    document = consent_document(sheet_of(rules=catalogue(theirs)), wording())
    part = section(document, "option-our-way")
    assert part.title == "Our own way"
    said = " ".join(strings(document))
    assert "Done as this unit does it." in said
    assert english()["notice.own-words"].one in said


@pytest.mark.parametrize("language", [ACCENTED, MIRRORED])
def test_no_english_is_left_in_a_pseudo_language(language: str) -> None:
    content = sheet_of()
    made = [consent_document(content, wording(language))]
    made += [leaflet_document(one, wording(language), at=content.at) for one in content.options]
    months = {date(2026, month, 1).strftime("%B") for month in range(1, 13)}
    own = {content.case.person.name, content.case.id, "Flesch-Kincaid", *months}
    cites = {row[1] for one in tables(section(made[0], "sources")) for row in one.rows}
    for document in made:
        for said in strings(document):
            bare = ISOLATED.sub("", said) if language == MIRRORED else said
            if language == ACCENTED:
                if said in cites or re.fullmatch(r"[\[\]\d/; a-z0-9-]*", said):
                    continue
                for name in own:
                    bare = bare.replace(name, "")
                bare = re.sub(r"⟦[^⟦⟧]*(⟦[^⟦⟧]*⟧[^⟦⟧]*)*⟧", "", bare)
            assert not re.search(r"[A-Za-z]{3}", bare), said


def test_in_a_script_from_right_to_left_the_document_turns() -> None:
    document = consent_document(sheet_of(), wording(MIRRORED))
    assert (document.direction, document.language) == ("rtl", MIRRORED)
    page = Page(to_html(document).decode())
    (root,) = page.all("html")
    assert (root["dir"], root["lang"]) == ("rtl", MIRRORED)
    style = to_html(document).decode().partition("<style>")[2].partition("</style>")[0]
    assert not re.search(r"(padding|margin|border)-(left|right)|text-align: (left|right)", style)
    # Name, case and day keep their own direction.
    assert "\u2068Invented Person\u2069" in document.subtitle
    for picture in (block for one in document.sections for block in one.blocks):
        if isinstance(picture, Picture):
            lines = ElementTree.fromstring(picture.data).iter("{http://www.w3.org/2000/svg}text")
            assert {line.get("direction") for line in lines} == {"rtl"}


def test_headings_come_in_order_and_tables_have_heads(sheet: Document) -> None:
    page = Page(to_html(sheet).decode())
    levels = [int(name[1]) for name, _ in page.elements if re.fullmatch(r"h[1-6]", name)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in itertools.pairwise(levels))
    assert {one.get("scope") for one in page.all("th")} == {"col", "row"}
    assert all(one["alt"] for one in page.all("img"))
    assert page.all("html")[0]["lang"] == "en"


def test_the_paper_is_tagged_titled_and_bookmarked(sheet: Document) -> None:
    reader = PdfReader(BytesIO(to_pdf(sheet)))
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == sheet.title
    # ISO 14289: a reader shows the title, not the file's name.
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    flat = [one for one in reader.outline if not isinstance(one, list)]
    assert flat
    first = reader.pages[0].extract_text()
    assert f"Page 1 of {len(reader.pages)}" in words(first)


def test_large_print_has_no_small_letter() -> None:
    content = sheet_of()
    document = leaflet_document(content.options[0], wording(), at=content.at)
    small: set[str] = set()
    seen: list[float] = []

    def look(text: str, matrix: list[float], at: list[float], font: object, size: float) -> None:
        if text.strip():
            # The size on paper is the font's, by the scale of text and of page.
            seen.append(size * abs(at[3]) * abs(matrix[3]))
            if seen[-1] < 15.9:
                small.update("".join(text.split()))

    for page in PdfReader(BytesIO(to_pdf(document))).pages:
        page.extract_text(visitor_text=look)
    assert len(seen) > 100
    assert min(seen) > 13
    # In the diagram the two sides and the numbers in rings have to fit: they alone are smaller.
    sides = "".join(english()[f"diagram.{side}"].one for side in ("right", "left"))
    assert {one for one in small if not one.isdigit()} <= set(sides)


def test_a_translation_in_part_says_how_many_sentences_are_english() -> None:
    content = translated("fi", "_", leave=("sign.lead", "sheet.lead"))
    said = strings(consent_document(sheet_of(), wording("fi", {"fi": content})))
    assert any("2 sentences of this sheet are not translated" in one for one in said)


def test_a_person_s_words_are_no_markup() -> None:
    person = Person("T-1", "<b>*Bold*</b> #x", date(1960, 5, 4), "male")
    document = consent_document(sheet_of(case_of(FAVOURABLE, person=person)), wording())
    page = Page(to_html(document).decode())
    assert page.all("b") == []
    assert "<b>*Bold*</b> #x" in page.text
