"""The page on what matters: one page's blocks, closed apart, the picture's numbers in words."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from tests.support.appraisal_people import FAVOURABLE, TODAY, appraised, case_of, fact_of
from tests.support.preference_people import LATER, answered

from thalweg.evidence.bibliography import bibliography
from thalweg.plan.preferences.attributes import matters
from thalweg.plan.preferences.report import preferences_of
from thalweg.sheets.document import Cautions, Document, Picture, Text
from thalweg.sheets.html import to_html
from thalweg.sheets.pictures.places import PlaceBar, places_picture
from thalweg.sheets.plan.preferences import preference_sources, preferences_section

APPRAISAL = appraised({"bladder-kept": False, "urethral-margin-tumour": None})
FACTS = (
    answered("no-bag/kidneys", "second"),
    answered("no-tube/small-operation", "first"),
    fact_of("wishes", "to swim again"),
)
FOUND = preferences_of(case_of(FAVOURABLE, *FACTS), APPRAISAL, matters(), TODAY)
SILENT = preferences_of(case_of(FAVOURABLE), APPRAISAL, matters(), TODAY)


def words(found: object = FOUND) -> str:
    """Return the page as text without markup."""
    sections = preferences_section(found)  # type: ignore[arg-type]
    document = Document("t", "s", "r", "w", "2026-03-01", sections)
    return " ".join(re.sub(r"<[^>]+>", " ", to_html(document).decode()).split())


def test_the_page_holds_wish_answers_order_turns_and_cautions() -> None:
    (section,) = preferences_section(FOUND)
    lead = section.blocks[0]
    assert isinstance(lead, Text)
    assert lead.text == FOUND.steadiness
    text = words()
    assert "to swim again" in text
    assert "Asked which of two matters more (2026-02-10, the person):" in text
    assert "“kidneys kept as long as possible” matters more than “no bag”" in text
    later = answered("no-bag/unseen", "first", LATER)
    mixed = preferences_of(case_of(FAVOURABLE, *FACTS, later), APPRAISAL, matters(), TODAY)
    assert f"“a belly that looks as before” ({LATER.isoformat()}, the person)" in words(mixed)
    assert "What would turn it" in text
    assert "Orthotopic neobladder waits for: tumour at the urethral margin" in text
    closed = text.partition("Closed, whatever is answered: ")[2].partition(".")[0]
    assert "Suprapubic cystostomy" in closed
    (cautions,) = [block for block in section.blocks if isinstance(block, Cautions)]
    assert any("some overlap" in one for one in cautions.items)
    assert any("recommendation" in one for one in cautions.items)


def test_without_answers_there_is_a_question_and_no_picture() -> None:
    (section,) = preferences_section(SILENT)
    assert not [block for block in section.blocks if isinstance(block, Picture)]
    assert "To ask next" in words(SILENT)
    assert preferences_section(None) == ()


def test_the_picture_tells_every_share_in_words_and_closed_options_are_not_in_it() -> None:
    (section,) = preferences_section(FOUND)
    (picture,) = [block for block in section.blocks if isinstance(block, Picture)]
    for one in FOUND.order:
        assert f"{one.row.diversion.name}: mean place {one.place:.1f}" in picture.alternative
        assert f"1st in {100 * one.first:.0f}" in picture.alternative or one.first < 0.005
    for row in (*FOUND.closed, *FOUND.undecided):
        assert row.diversion.name not in picture.alternative


def test_each_bar_has_its_places_in_the_drawing_and_no_colour_but_grey() -> None:
    bars = [
        PlaceBar("one", (0.6, 0.3, 0.1), 1.5, (1, 3)),
        PlaceBar("two", (0.3, 0.4, 0.3), 2.0, (1, 3)),
        PlaceBar("three", (0.1, 0.3, 0.6), 2.5, (1, 3)),
    ]
    made = places_picture(bars)
    assert made == places_picture(bars)
    root = ElementTree.fromstring(made.data)
    fills = re.findall(r"fill: #([0-9a-f]{6})", ElementTree.tostring(root, encoding="unicode"))
    greys = {fill for fill in fills if fill[:2] == fill[2:4] == fill[4:]}
    assert len(greys - {"ffffff", "000000"}) >= 3


def test_sources_of_the_page_stand_in_the_bibliography() -> None:
    assert set(preference_sources(FOUND)) <= set(bibliography())
    assert "lahdelma-2001-smaa-2" in preference_sources(FOUND)
    assert preference_sources(None) == ()


@pytest.mark.parametrize("word", ["best", "recommend you", "should choose", "score"])
def test_nothing_sounds_like_advice(word: str) -> None:
    text = words().replace("from its worst to its best", "")
    assert word not in text
