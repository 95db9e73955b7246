"""The checklist on paper: every item once, boxes, signs beside colours, nothing left unsaid."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from tests.support.workup_case import TODAY, stated, told, whole_case

from thalweg.plan.workup.rulebook import workup_rules
from thalweg.sheets.document import Cautions, Cell, Document, Items, Table, Text, Tone
from thalweg.sheets.html import to_html
from thalweg.sheets.plan.workup import workup_sections

if TYPE_CHECKING:
    from thalweg.sheets.document import Section

OLD = TODAY - timedelta(days=200)
GONE = {"accepts-catheterisation": None, "chloride": None, "haemoglobin": None, "wishes": None}
# Irradiated ileum closes neobladder and ileal conduit, so that nobody asks about the urethra.
CHANGED = {
    "diabetes": "none",
    "hba1c": "60",
    "bowel-irradiated": True,
    "planned-diversion": "colon-conduit",
}
WHOLE = told(
    whole_case({**GONE, **CHANGED}, stated("haemoglobin", 120, OLD)),
    operation=date(2026, 3, 28),
)


def section() -> Section:
    """Return the one section."""
    (one,) = workup_sections(WHOLE)
    return one


def text(cell: Cell | str) -> str:
    """Return what a cell says."""
    return cell.text if isinstance(cell, Cell) else cell


def test_every_item_stands_exactly_once() -> None:
    to_do, done = [block for block in section().blocks if isinstance(block, Table)]
    (apart,) = [block for block in section().blocks if isinstance(block, Items)]
    words = [text(row[1]) for row in to_do.rows]
    words += [text(cell) for row in done.rows for cell in row[::2] if text(cell)]
    for item in workup_rules().items:
        told_apart = [one for one in apart.items if one.startswith(f"{item.words}: ")]
        assert words.count(item.words) + len(told_apart) == 1, item.key
    assert len(words) + len(apart.items) == len(workup_rules().items)


def test_what_remains_has_a_box_a_sign_and_room_to_write() -> None:
    to_do = next(block for block in section().blocks if isinstance(block, Table))
    assert to_do.roomy
    for number, row in enumerate(to_do.rows, 1):
        assert row[0] == f"☐ {number}"
        assert row[-1] == ""
        assert isinstance(row[2], Cell)
        assert row[2].tone is not Tone.PLAIN
    states = {text(row[1]): text(row[2]) for row in to_do.rows}
    assert states["haemoglobin"].startswith("too old. 120 g/L (2025-08-13). 200 days old")
    assert states["sodium, potassium, chloride"].startswith("partly. Still missing: chloride")
    assert states["diabetes, and its treatment"].startswith("contradicting. See the sentence")
    could = {text(row[1]): text(row[3]) for row in to_do.rows}
    assert (
        "Continent cutaneous pouch: open with cautions or closed"
        in could["accepts catheterising for life?"]
    )


def test_the_lead_counts_and_contradictions_and_cautions_are_set_apart() -> None:
    lead, clash, *_, cautions = section().blocks
    assert isinstance(lead, Text)
    assert lead.text.startswith("For the operation on 2026-03-28: ")
    assert isinstance(clash, Cautions)
    assert "60 mmol/mol" in clash.items[0]
    assert isinstance(cautions, Cautions)
    assert any("own protocol takes precedence" in item for item in cautions.items)


def test_on_screen_the_rows_are_roomy_too() -> None:
    page = to_html(Document("t", "s", "r", "w", "2026-03-01", (section(),))).decode()
    assert page.count('class="roomy"') == 1
    assert "☐ 1" in page


def test_nothing_asked_makes_no_section() -> None:
    assert workup_sections(None) == ()
