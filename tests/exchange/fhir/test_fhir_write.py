"""FHIR out: valid by the models of `fhir.resources` (R4B), and it reads back to the digit."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fhir.resources.R4B.bundle import Bundle
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.casefolder import PATIENT, bundle, result

from thalweg.exchange.fhir import read_fhir, write_bundle
from thalweg.record.case import Person
from thalweg.record.concept import concepts
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from pathlib import Path

PERSON = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
AT = datetime(2026, 3, 1, 8, 30, tzinfo=timezone(timedelta(hours=1)))
ORIGIN = Origin("by hand")


def quantity(key: str, value: str, unit: str, **changes: object) -> Fact:
    settings = {"at": AT, "origin": ORIGIN} | changes
    return Fact(key, Decimal(value), unit, **settings)  # type: ignore[arg-type]


FACTS = (
    quantity("creatinine", "1.20", "mg/dL"),
    quantity("creatinine", "106", "umol/L", at=date(2026, 3, 2)),
    quantity("drain-creatinine", "1500", "umol/L"),
    quantity("weight", "72.0", "kg"),
    quantity("urine-volume", "1850", "mL/(24.h)"),
)


def test_valid_by_an_outside_model(tmp_path: Path) -> None:
    path = tmp_path / "bundle.json"
    assert write_bundle(path, PERSON, FACTS) == ()
    found: Any = Bundle.model_validate_json(path.read_bytes())
    kinds = [entry.resource.get_resource_type() for entry in found.entry]
    assert kinds.count("Observation") == len(FACTS)
    assert (kinds.count("Patient"), kinds.count("Specimen")) == (1, 1)
    assert found.entry[0].resource.birthDate == PERSON.born


def test_fixtures_of_the_reader_are_valid_by_the_same_model() -> None:
    text = bundle(PATIENT, result("2160-0", "1.20", "mg/dL"), kind="searchset")
    found: Any = Bundle.model_validate_json(text)
    assert len(found.entry) == 2


def test_digits_are_written_as_they_were(tmp_path: Path) -> None:
    path = tmp_path / "bundle.json"
    write_bundle(path, PERSON, FACTS)
    assert '"value": 1.20,' in path.read_text()
    assert '"value": 72.0,' in path.read_text()


def test_reads_back_as_the_same_facts(tmp_path: Path) -> None:
    path = tmp_path / "bundle.json"
    write_bundle(path, PERSON, FACTS)
    found = read_fhir(path)
    assert [fact.id for fact in found.facts] == [fact.id for fact in FACTS]
    assert [fact.questions for fact in found.facts] == [()] * len(FACTS)
    assert (found.not_taken, found.questions) == ([], [])
    assert found.identities[0].identifiers == ("SU-0417",)


def test_what_has_no_code_is_handed_back(tmp_path: Path) -> None:
    kept = quantity("weight", "72", "kg")
    uncoded = quantity("measured-gfr", "60", "mL/min/{1.73_m2}")
    words = Fact("intent", "curative", None, AT, ORIGIN)
    assert write_bundle(tmp_path / "b.json", PERSON, (kept, uncoded, words)) == (uncoded, words)


def test_preliminary_stays_preliminary(tmp_path: Path) -> None:
    path = tmp_path / "b.json"
    doubt = "The result is preliminary."
    write_bundle(path, PERSON, [quantity("sodium", "139", "mmol/L", questions=(doubt,))])
    assert read_fhir(path).facts[0].questions == (doubt,)


def test_same_facts_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_bundle(tmp_path / name, PERSON, FACTS)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


CODED = [
    (key, unit)
    for key, row in concepts().items()
    for unit in row.units
    if any(unit in code.units for code in row.codes)
]


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    coded=st.sampled_from(CODED),
    part=st.integers(1, 999),
    places=st.integers(0, 4),
    at=st.datetimes(datetime(2000, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
    | st.dates(date(2000, 1, 1), date(2030, 1, 1)),
)
def test_any_coded_quantity_goes_round(
    tmp_path: Path, coded: tuple[str, str], part: int, places: int, at: date | datetime
) -> None:
    key, unit = coded
    row = concepts()[key]
    assert row.expected is not None
    from thalweg.record.units import convert

    low, high = (
        convert(bound, row.unit or "", unit, molar_mass=row.molar_mass) for bound in row.expected
    )
    value = Decimal(low + (high - low) * part / 1000).quantize(Decimal(10) ** -places)
    fact = quantity(key, str(max(value, Decimal(repr(low)))), unit, at=at)
    path = tmp_path / "b.json"
    write_bundle(path, PERSON, [fact])
    assert [found.id for found in read_fhir(path).facts] == [fact.id]
