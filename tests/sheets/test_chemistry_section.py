"""The plan's page on acid-base: results with their side in words, limits, causes, warnings."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from thalweg.assess.chemistry.report import ChemistryInputs, chemistry_findings, chemistry_rules
from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, FactValue, Origin
from thalweg.sheets.document import Cautions, Cell, Items, Section, Table, Text, Tone
from thalweg.sheets.plan.chemistry import PlannedChemistry, chemistry_section

DAY = date(2026, 3, 2)
WELL = {"sodium": "140", "potassium": "4.2", "chloride": "104", "bicarbonate": "25"}
SICK = {"sodium": "138", "potassium": "3.2", "chloride": "112", "bicarbonate": "17"}


def section(values: dict[str, str], **others: FactValue) -> Section:
    """Return the page for results in mmol/L and facts of other kinds."""
    facts = [
        *(Fact(k, Decimal(v), "mmol/L", DAY, Origin("by hand")) for k, v in values.items()),
        *(
            Fact(k.replace("_", "-"), value, None, DAY, Origin("by hand"))
            for k, value in others.items()
        ),
    ]
    case = Case("c", Person("r", "n", date(1960, 1, 1), "male"), tuple(facts))
    findings = chemistry_findings(ChemistryInputs.from_case(case, DAY))
    return chemistry_section(case, PlannedChemistry(findings, chemistry_rules().references))


def rows(page: Section, number: int) -> dict[str, Cell]:
    """Return the second cell of each row of the page's table of that number, by the first."""
    table = [block for block in page.blocks if isinstance(block, Table)][number]
    found = {}
    for row in table.rows:
        second = row[1]
        found[str(row[0])] = second if isinstance(second, Cell) else Cell(second)
    return found


def test_each_result_says_its_side_in_words_and_by_a_sign() -> None:
    measured = rows(section(SICK), 0)
    assert measured["chloride"] == Cell("112 mmol/L: high", Tone.CARE)
    assert measured["bicarbonate"] == Cell("17 mmol/L: low", Tone.CARE)
    assert measured["sodium"] == Cell("138 mmol/L: normal", Tone.GOOD)
    without = {key: value for key, value in SICK.items() if key != "chloride"}
    assert rows(section(without), 0)["chloride"] == Cell("not measured", Tone.UNKNOWN)


def test_the_disturbance_leads_and_the_level_follows() -> None:
    page = section(SICK, bowel_segment="colon", lithium_taken=True)
    lead = page.blocks[0]
    assert isinstance(lead, Text)
    assert lead.lead
    assert lead.text.startswith("Metabolic acidosis, ")
    assert rows(page, 1)["How soon somebody should look"] == Cell("urgent", Tone.BAD)
    lists = [item for block in page.blocks if isinstance(block, Items) for item in block.items]
    assert any(item.startswith("potassium low: 3.2 mmol/L is low, agrees") for item in lists)
    assert any("Diarrhoea" in item for item in lists)
    (box,) = [block for block in page.blocks if isinstance(block, Cautions)]
    assert any("Lithium is taken back" in said for said in box.items)
    assert any("never a dose" in said for said in box.items)
    assert len(set(box.items)) == len(box.items)


def test_health_is_short() -> None:
    page = section(WELL)
    assert rows(page, 1) == {"How soon somebody should look": Cell("no limit crossed", Tone.GOOD)}
    assert not any("pCO2 expected" in title for title in rows(page, 2))
    assert not [block for block in page.blocks if isinstance(block, Items)]


def test_nothing_measured_is_said() -> None:
    page = section({})
    lead = page.blocks[0]
    assert isinstance(lead, Text)
    assert lead.text == "Not known."
    assert rows(page, 1)["How soon somebody should look"].tone is Tone.UNKNOWN
