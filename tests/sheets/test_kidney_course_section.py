"""The kidneys over time on paper: every answer in words, picture with words, cautions once."""

from __future__ import annotations

from datetime import date, timedelta

from tests.support.kidney_case import kidney_case, known

from thalweg.assess.decline.report import decline_findings, decline_of
from thalweg.sheets.document import Cautions, Cell, Picture, Table
from thalweg.sheets.pictures.decline import decline_picture
from thalweg.sheets.plan.kidneys import kidney_course_section

AT = date(2026, 6, 1)
CASE = kidney_case(
    *(
        known("creatinine", value, "mg/dL", date(2020, 3, 10) + timedelta(days=365 * n))
        for n, value in enumerate(("0.8", "0.85", "0.9", "1.0", "1.1", "1.2"))
    )
)


def test_every_finding_stands_in_the_table_and_no_caution_twice() -> None:
    findings = decline_findings(CASE, AT)
    (section,) = kidney_course_section(findings, decline_of(CASE, AT))
    picture, table, cautions = section.blocks
    assert isinstance(picture, Picture)
    assert isinstance(table, Table)
    assert isinstance(cautions, Cautions)
    assert [row[0] for row in table.rows] == [finding.title for finding in findings]
    answers = [cell.text if isinstance(cell, Cell) else cell for _, cell, *_ in table.rows]
    # A truth is printed as a word, so that its colour carries nothing alone.
    assert {"yes", "no"} & set(answers)
    printed = " ".join(str(row[2]) for row in table.rows)
    assert not [one for one in cautions.items if one in printed]


def test_nothing_to_tell_makes_no_section() -> None:
    assert kidney_course_section((), None) == ()


def test_the_picture_says_in_words_what_it_shows_and_is_the_same_every_time() -> None:
    found = decline_of(CASE, AT)
    assert found is not None
    assert found.course is not None
    picture = decline_picture(found)
    assert picture.alternative.startswith("6 filtration rates from ")
    assert f"{found.course.slope:+.1f}" in picture.alternative
    assert "not a forecast" in picture.caption
    assert picture.data == decline_picture(found).data
