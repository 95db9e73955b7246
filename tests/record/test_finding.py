"""Findings carry their reasons; facts keep what was written."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from thalweg.record.case import Case, Person, age_in_years
from thalweg.record.explain import as_text, as_tree
from thalweg.record.fact import Fact, Mark, Origin
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

DAY = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
METHOD = Method("ratio-of-two", "Ratio", "a / b", "anybody", ("thalweg-engineering",), ("Rough.",))
WHERE = Origin("table", "labs.csv row 2")


def creatinine(text: str, at: datetime = DAY, unit: str = "mg/dL", **more: str) -> Fact:
    return Fact("creatinine", Decimal(text), unit, at, WHERE, **more)  # type: ignore[arg-type]


def case(*facts: Fact) -> Case:
    return Case("k", Person("r", "n", date(1960, 2, 29), "female"), facts)


def test_a_fact_needs_unit_and_time_zone() -> None:
    with pytest.raises(ValueError, match="no unit"):
        Fact("creatinine", Decimal(1), None, DAY, WHERE)
    with pytest.raises(ValueError, match="no time zone"):
        Fact("creatinine", Decimal(1), "mg/dL", datetime(2026, 1, 1, 8), WHERE)  # noqa: DTZ001


def test_identity_is_the_statement_not_where_it_was_found() -> None:
    same = Fact("creatinine", Decimal("1.20"), "mg/dL", DAY, Origin("FHIR bundle", "x"))
    assert creatinine("1.20").id == same.id
    assert creatinine("1.2").id != same.id  # the digits written are part of what was said


def test_a_finding_needs_unit_or_reason() -> None:
    with pytest.raises(ValueError, match="without a unit"):
        Finding("x", "X", 1.0, None, DAY, METHOD)
    with pytest.raises(ValueError, match="does not say why"):
        Finding("x", "X", None, None, DAY, METHOD)
    with pytest.raises(ValueError, match="no source"):
        Method("m", "M", "a", "b", ())


def test_explanation_walks_down_to_fact_and_publication() -> None:
    fact = Fact("creatinine", Decimal("9.1"), "mg/dL", DAY, WHERE, questions=("Unlikely.",))
    low = Finding("low", "Low", 2.0, "1", DAY, METHOD, facts=(fact,))
    high = Finding("high", "High", Truth.NOT_KNOWN, None, DAY, METHOD, findings=(low,))
    text = as_text(high)
    for part in ("High: not known", "Low: 2.0", "9.1 mg/dL", "labs.csv row 2", "a / b"):
        assert part in text
    assert as_tree(high).below[0].below[0].headline.startswith("creatinine, blood")
    assert high.all_facts == (fact,)
    assert high.all_cautions == ("Rough.", "Unlikely.")
    assert high.to_json()["source"] == "thalweg-engineering"


def test_conflict_is_said_and_neither_is_used() -> None:
    chosen = case(creatinine("1.2"), creatinine("1.9")).latest("creatinine")
    assert chosen.fact is None
    assert len(chosen.conflict) == 2
    assert "neither used" in chosen.caution


def test_the_same_result_in_two_units_is_no_conflict() -> None:
    chosen = case(creatinine("1.2"), creatinine("106", unit="umol/L")).latest("creatinine")
    assert chosen.fact is not None


def test_an_old_conflict_does_not_block_a_newer_result() -> None:
    later = creatinine("1.0", datetime(2026, 3, 2, tzinfo=UTC))
    assert case(creatinine("1.2"), later, creatinine("1.9")).latest("creatinine").fact == later


def test_quantity_in_another_unit() -> None:
    value, _ = case(creatinine("1.0")).quantity("creatinine", "mg/dL")
    assert value == pytest.approx(1.0)
    assert case().quantity("creatinine")[0] is None


def test_person_is_not_in_the_repr() -> None:
    person = Person("ref-1", "Someone", date(1960, 1, 1), "female")
    assert "Someone" not in repr(person)
    assert "1960" not in repr(person)


@pytest.mark.parametrize(
    ("on", "years"),
    [(date(2026, 2, 28), 65.997), (date(2026, 3, 1), 66.0), (date(2028, 2, 29), 68.0)],
)
def test_age_of_one_born_on_29_february(on: date, years: float) -> None:
    assert age_in_years(date(1960, 2, 29), on) == pytest.approx(years, abs=0.002)


def test_marks() -> None:
    fact = Fact("umbilicus", Mark(((0.0, -100.0, 5.0),)), "mm", DAY, WHERE)
    mark, _ = case(fact).mark("umbilicus")
    assert mark == Mark(((0.0, -100.0, 5.0),))
    assert case(fact).truth("bowel-disease")[0] is Truth.NOT_KNOWN
