"""What a plan says of what was published: every share with its series, and none where they differ.

Counts are those of the packaged series, each read from its publication.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from thalweg.evidence.pooling import pooled_rows
from thalweg.evidence.pooling.rows import PoolRow
from thalweg.sheets.document import Cautions, Cell, Items, Table, Text
from thalweg.sheets.plan.published import (
    PlannedPublished,
    published_section,
    published_sources,
)

if TYPE_CHECKING:
    from tests.conftest import OnRecord

HERNIA = pooled_rows(
    "Hernia",
    [
        PoolRow("Kouba 2007", 2007, 137, 19, "at least 12 months", 12, "kouba-2007"),
        PoolRow("Blanc 2024", 2024, 577, 115, "at most 60 months", 60, "blanc-2024"),
        PoolRow("Che 2024", 2024, 219, 43, source="che-2024"),
    ],
    own=[PoolRow("this unit", 2026, 60, 40, source="unit-outcomes", own=True)],
    says="a hernia",
    unit="patient",
)
STENOSIS = pooled_rows(
    "Stenosis",
    [
        PoolRow("A", 2013, 83, 63, source="tombul-2019"),
        PoolRow("B", 2018, 36, 3, source="kizilay-ureterostomy-2018"),
        PoolRow("C", 2019, 27, 1, source="ureterocutaneostomy-2013-stents"),
    ],
    says="a narrow stoma",
    unit="renal unit",
)
LEAK = pooled_rows(
    "Leak", [PoolRow("D", 2021, 143, 0, read="memory")], says="a leak", unit="ureter"
)


def texts(row: tuple[Cell | str, ...]) -> list[str]:
    return [cell.text if isinstance(cell, Cell) else cell for cell in row]


def test_a_share_stands_with_its_interval_people_time_and_source() -> None:
    found = (PlannedPublished(("Ileal conduit",), (HERNIA, STENOSIS, LEAK)),)
    (section,) = published_section(found)
    (table,) = (block for block in section.blocks if isinstance(block, Table))
    hernia, stenosis, leak = map(texts, table.rows)
    assert hernia[1] == "19.1 % (13.4 to 26.4)"
    assert "177 of 933 (patient), 3 series, 2007 to 2024" in hernia[3]
    assert "12 to 60 months, not known in 1" in hernia[3]
    assert "[kouba-2007], [blanc-2024], [che-2024]" in hernia[3]
    # Series that differ from 3.7 to 75.9 % give no one figure.
    assert stenosis[1] == "not pooled: the series say 3.7 to 75.9 %"
    assert stenosis[2] == "not told"
    assert "differ too much" in stenosis[4]
    assert "two kidneys" in stenosis[4]
    # The exact upper limit of none in 143 is 1 - 0.025^(1/143).
    assert leak[1] == f"0.0 % (0.0 to {100 * (1 - 0.025 ** (1 / 143)):.1f})"
    assert leak[2] == "not known"
    assert "one series" in leak[4]
    assert "from memory" in leak[4]
    (own,) = (block for block in section.blocks if isinstance(block, Items))
    assert "40 of 60 (66.7 %)" in own.items[0]
    assert "kouba-2007" in published_sources(found)
    assert isinstance(section.blocks[0], Cautions)
    assert any("not this person" in one for one in section.blocks[0].items)


def test_nothing_published_is_no_sign_of_safety() -> None:
    (section,) = published_section((PlannedPublished(("Rare one",), ()),))
    assert any(isinstance(one, Text) and "no sign of safety" in one.text for one in section.blocks)
    assert published_section(()) == ()


def test_the_plan_tells_what_was_published(demonstration: OnRecord) -> None:
    page = demonstration.document("html").read_text(encoding="utf-8")
    assert 'id="published"' in page
    part = page.partition('id="published"')[2].partition("<section")[0]
    assert "must not be set against each other" in part
    named = set(re.findall(r"\[([a-z0-9-]+)\]", part))
    assert len(named) > 5
    # Every source that it names stands in the list of sources.
    sources = page.partition('id="sources"')[2]
    assert not {key for key in named if f"[{key}]" not in sources}
