"""FHIR in: HL7 FHIR R4 (hl7.org/fhir/R4), LOINC and UCUM as their tables say.

Fixtures are hand-written after the resource definitions; that they are valid is checked with the
`fhir.resources` models in the tests of the writer.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
from tests.support.casefolder import PATIENT, bundle, result

from thalweg.errors import InputError
from thalweg.exchange.fhir import read_fhir
from thalweg.exchange.reading import CollectedInputError, Identity, Reading

if TYPE_CHECKING:
    from pathlib import Path

MORNING = datetime(2026, 3, 1, 8, 30, tzinfo=timezone(timedelta(hours=1)))
CREATININE = "14682-9"


def fhir(folder: Path, text: str | bytes) -> Reading:
    path = folder / "results.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_fhir(path)


def refused(folder: Path, text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        fhir(folder, text)
    assert str(caught.value).startswith("results.json")
    return str(caught.value)


def specimen(system: str, code: str) -> dict[str, object]:
    return {
        "resourceType": "Specimen",
        "id": "s1",
        "type": {"coding": [{"system": system, "code": code}]},
    }


SNOMED = "http://snomed.info/sct"
TABLE_0487 = "http://terminology.hl7.org/CodeSystem/v2-0487"


@pytest.mark.parametrize("kind", ["collection", "transaction", "searchset", "batch", "document"])
def test_result_with_its_digits_time_and_unit(tmp_path: Path, kind: str) -> None:
    found = fhir(tmp_path, bundle(PATIENT, result("2160-0", "1.20", "mg/dL"), kind=kind))
    (fact,) = found.facts
    assert (fact.concept, str(fact.value), fact.unit) == ("creatinine", "1.20", "mg/dL")
    assert fact.at.isoformat() == "2026-03-01T08:30:00+01:00"
    assert str(fact.origin) == "FHIR bundle: results.json entry 2 (Observation)"
    assert fact.questions == ()
    assert found.identities == [Identity("results.json", "1961-03-04", "female", ("SU-0417",))]
    assert (found.not_taken, found.questions) == ([], [])


@pytest.mark.parametrize(
    "digits", ["1.2", "1.20", "1.200", "100", "1e2", "0.00120", "88.123456789012345678"]
)
def test_decimals_keep_every_digit(tmp_path: Path, digits: str) -> None:
    unlikely = "albumin-creatinine-ratio"
    (fact,) = fhir(tmp_path, bundle(result("9318-7", digits, "mg/g"))).facts
    assert fact.concept == unlikely
    assert str(fact.value).lower().replace("+", "") == digits


def test_byte_order_mark_and_unknown_elements_do_not_stand_in_the_way(tmp_path: Path) -> None:
    extra: Any = {"referenceRange": [{"low": {"value": 45}}], "extension": [{"url": "x"}], "new": 1}
    text = bundle(PATIENT, result(CREATININE, "88", "umol/L", **extra))
    assert len(fhir(tmp_path, b"\xef\xbb\xbf" + text.encode()).facts) == 1


def test_single_resource(tmp_path: Path) -> None:
    text = json.dumps(result(CREATININE, "88", "umol/L")).replace('"<<88>>"', "88")
    found = fhir(tmp_path, text)
    assert len(found.facts) == 1
    assert found.questions == [
        "results.json names no patient: that its results are this person's rests on the folder."
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"effectiveDateTime": None}, "does not say when it was taken"),
        ({"effectiveDateTime": "2026-03"}, "'2026-03' names no day"),
        ({"effectiveDateTime": "2026-03-01T08:30:00"}, "has no time zone"),
        ({"effectiveDateTime": "2026-02-30"}, "'2026-02-30' is not a date"),
        ({"effectiveDateTime": 20260301}, "not a FHIR resource as expected"),
        ({"status": "done"}, "the status 'done' is not one of FHIR R4"),
        ({"valueQuantity": {"value": 88, "unit": "umol/L"}}, "the unit is not coded in UCUM"),
        (
            {"valueQuantity": {"value": 88, "system": "http://unitsofmeasure.org"}},
            "a number without a unit",
        ),
        (
            {
                "valueQuantity": {
                    "value": "NaN",
                    "system": "http://unitsofmeasure.org",
                    "code": "umol/L",
                }
            },
            "out of all proportion",
        ),
        (
            {
                "code": {
                    "coding": [
                        {"system": "http://loinc.org", "code": c} for c in ("14682-9", "25386-4")
                    ]
                }
            },
            "one result is coded as creatinine, blood and as creatinine, drain",
        ),
    ],
)
def test_unusable_result_refuses_the_file(
    tmp_path: Path, changes: dict[str, object], said: str
) -> None:
    message = refused(tmp_path, bundle(PATIENT, result(CREATININE, "88", "umol/L", **changes)))
    assert message.startswith("results.json, entry 2")
    assert said in message


@pytest.mark.parametrize(
    ("code", "value", "unit", "said"),
    [
        ("2160-0", "88", "umol/L", "LOINC 2160-0 does not report in µmol/L; it reports in mg/dL"),
        ("14682-9", "1.2", "mg/dL", "LOINC 14682-9 does not report in mg/dL"),
        ("14682-9", "88", "µmol/L", "'µmol/L' is not a UCUM unit that Thalweg knows; write the"),
        ("14682-9", "88", "UMOL/L", "'UMOL/L' is not a UCUM unit"),
        ("14682-9", "88", "kg", "LOINC 14682-9 does not report in kg"),
        ("14682-9", "88000", "umol/L", "is impossible"),
        ("2951-2", "1e40", "mmol/L", "out of all proportion"),
    ],
)
def test_unit_must_be_ucum_and_fit_the_code(
    tmp_path: Path, code: str, value: str, unit: str, said: str
) -> None:
    assert said in refused(tmp_path, bundle(PATIENT, result(code, value, unit)))


def test_unlikely_and_preliminary_are_questioned(tmp_path: Path) -> None:
    text = bundle(PATIENT, result("14682-9", "1500", "umol/L", status="preliminary"))
    (fact,) = fhir(tmp_path, text).facts
    assert fact.questions[0] == "The result is preliminary."
    assert "unlikely" in fact.questions[1]


@pytest.mark.parametrize("status", ["final", "amended", "corrected"])
def test_settled_statuses(tmp_path: Path, status: str) -> None:
    (fact,) = fhir(
        tmp_path, bundle(PATIENT, result(CREATININE, "88", "umol/L", status=status))
    ).facts
    assert fact.questions == ()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"status": "entered-in-error"}, "was entered in error and was not taken in"),
        ({"status": "cancelled"}, "was cancelled and was not taken in"),
        ({"status": "registered", "valueQuantity": None}, "without a result yet"),
        (
            {
                "valueQuantity": {
                    "value": 5,
                    "comparator": "<",
                    "code": "umol/L",
                    "system": "http://unitsofmeasure.org",
                }
            },
            "is a limit (< 5 umol/L), not a value",
        ),
        (
            {"valueQuantity": None, "dataAbsentReason": {"text": "haemolysed"}},
            "has no value, for a reason the sender gives",
        ),
        ({"valueQuantity": None}, "has no value"),
        ({"valueQuantity": None, "valueString": "high"}, "is not given as a number with a unit"),
        ({"modifierExtension": [{"url": "x"}]}, "modifying extension that is not understood"),
    ],
)
def test_left_out_and_said(tmp_path: Path, changes: dict[str, object], said: str) -> None:
    found = fhir(tmp_path, bundle(PATIENT, result(CREATININE, "88", "umol/L", **changes)))
    assert found.facts == []
    (sentence,) = found.not_taken
    assert sentence.startswith("results.json entry 2 (Observation): creatinine, blood ")
    assert said in sentence


def test_unknown_codes_and_resources_are_listed(tmp_path: Path) -> None:
    local = {"coding": [{"system": "urn:lab", "code": "KREA"}], "text": "Ada's own"}
    text = bundle(
        PATIENT,
        result("1742-6", "20", "U/L"),
        result("1742-6", "22", "U/L"),
        result("x", "1", "g", code=local),
        {"resourceType": "DiagnosticReport", "id": "d"},
    )
    found = fhir(tmp_path, text)
    assert found.facts == []
    assert found.not_taken == [
        "results.json: LOINC 1742-6 is not recorded here; 2 result(s) not taken in.",
        "results.json: the local code 'KREA' is not recorded here; 1 result(s) not taken in.",
        "results.json: 1 resource(s) of type DiagnosticReport not taken in.",
    ]


def test_panel_components_share_time_and_status(tmp_path: Path) -> None:
    panel = result(
        "51990-0",
        "0",
        "1",
        valueQuantity=None,
        component=[
            {
                key: given
                for key, given in result(code, value, "mmol/L").items()
                if key in {"code", "valueQuantity"}
            }
            for code, value in (("2951-2", "139"), ("2075-0", "104"), ("9999-9", "1"))
        ],
    )
    found = fhir(tmp_path, bundle(PATIENT, panel))
    assert [(f.concept, f.value, f.at) for f in found.facts] == [
        ("sodium", 139, MORNING),
        ("chloride", 104, MORNING),
    ]
    assert found.not_taken == [
        "results.json: LOINC 9999-9 is not recorded here; 1 result(s) not taken in."
    ]


def test_component_without_value_is_said(tmp_path: Path) -> None:
    sodium = {"coding": [{"system": "http://loinc.org", "code": "2951-2"}]}
    panel = result("51990-0", "0", "1", valueQuantity=None, component=[{"code": sodium}])
    found = fhir(tmp_path, bundle(PATIENT, panel))
    assert found.not_taken == ["results.json entry 2 (Observation): sodium, blood has no value."]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"effectiveInstant": "2026-03-01T08:30:00.250+01:00"},
            MORNING.replace(microsecond=250000),
        ),
        ({"effectivePeriod": {"start": "2026-02-28", "end": "2026-03-01"}}, date(2026, 3, 1)),
        ({"effectivePeriod": {"start": "2026-02-28"}}, date(2026, 2, 28)),
    ],
)
def test_instants_and_periods(tmp_path: Path, changes: dict[str, object], expected: object) -> None:
    text = bundle(PATIENT, result("9192-6", "1850", "mL/(24.h)", effectiveDateTime=None, **changes))
    assert fhir(tmp_path, text).facts[0].at == expected


# ---- specimens: a drain fluid is never read as serum --------------------------------------------

DRAIN = "25386-4"


@pytest.mark.parametrize(
    ("code", "system", "kind", "said"),
    [
        (CREATININE, SNOMED, "309051001", "reports creatinine, blood, but the specimen is body"),
        (CREATININE, SNOMED, "258455001", "the specimen is body fluid"),
        (CREATININE, TABLE_0487, "DRN", "the specimen is body fluid"),
        (CREATININE, TABLE_0487, "UR", "the specimen is urine"),
        (
            DRAIN,
            SNOMED,
            "119364003",
            "reports creatinine, drain or body fluid, but the specimen is",
        ),
        (DRAIN, TABLE_0487, "SER", "the specimen is blood"),
    ],
)
@pytest.mark.parametrize("reference", ["Specimen/s1", "http://lab.example/Specimen/s1/_history/2"])
def test_specimen_against_the_code_is_refused(
    tmp_path: Path, code: str, system: str, kind: str, said: str, reference: str
) -> None:
    observed = result(code, "88", "umol/L", specimen={"reference": reference})
    assert said in refused(tmp_path, bundle(PATIENT, specimen(system, kind), observed))


@pytest.mark.parametrize(
    ("code", "system", "kind", "questions"),
    [
        (CREATININE, SNOMED, "119364003", 0),
        (CREATININE, TABLE_0487, "PLAS", 0),
        (DRAIN, SNOMED, "258455001", 0),
        (DRAIN, TABLE_0487, "FLU", 0),
        (CREATININE, SNOMED, "123038009", 1),
        (DRAIN, "urn:lab", "SER", 1),
    ],
)
def test_fitting_specimen_passes_an_unknown_one_is_questioned(
    tmp_path: Path, code: str, system: str, kind: str, questions: int
) -> None:
    observed = result(code, "88", "umol/L", specimen={"reference": "Specimen/s1"})
    (fact,) = fhir(tmp_path, bundle(PATIENT, specimen(system, kind), observed)).facts
    assert len(fact.questions) == questions


def test_contained_specimens_are_kept_apart(tmp_path: Path) -> None:
    def observed(code: str, kind: str) -> dict[str, object]:
        return result(
            code,
            "88",
            "umol/L",
            specimen={"reference": "#s1"},
            contained=[specimen(TABLE_0487, kind)],
        )

    text = bundle(PATIENT, observed(CREATININE, "SER"), observed(DRAIN, "DRN"))
    assert [fact.questions for fact in fhir(tmp_path, text).facts] == [(), ()]
    crossed = bundle(PATIENT, observed(DRAIN, "DRN"), observed(CREATININE, "DRN"))
    assert "entry 3" in refused(tmp_path, crossed)


def test_drain_fluid_without_specimen_is_questioned(tmp_path: Path) -> None:
    (fact,) = fhir(tmp_path, bundle(PATIENT, result(DRAIN, "900", "umol/L"))).facts
    assert fact.questions == ("No specimen is named; body fluid was taken from the code alone.",)


# ---- whose results ------------------------------------------------------------------------------


def test_several_patients_are_refused(tmp_path: Path) -> None:
    other = PATIENT | {"id": "p2", "birthDate": "1970-01-01"}
    message = refused(tmp_path, bundle(PATIENT, other, result(CREATININE, "88", "umol/L")))
    assert "names 2 patients" in message
    assert "1970" not in message


@pytest.mark.parametrize("patients", [(), (PATIENT,)])
def test_results_about_somebody_else_are_refused(
    tmp_path: Path, patients: tuple[dict[str, object], ...]
) -> None:
    stranger = result(CREATININE, "88", "umol/L", subject={"reference": "Patient/p2"})
    text = bundle(*patients, result(CREATININE, "88", "umol/L"), stranger)
    assert "one person's results" in refused(tmp_path, text)


def test_same_patient_twice_is_one_person(tmp_path: Path) -> None:
    text = bundle(PATIENT, PATIENT, result(CREATININE, "88", "umol/L"), kind="searchset")
    found = fhir(tmp_path, text)
    assert len(found.identities) == len(found.facts) == 1


def test_result_without_subject_is_questioned(tmp_path: Path) -> None:
    found = fhir(tmp_path, bundle(PATIENT, result(CREATININE, "88", "umol/L", subject=None)))
    assert found.questions == ["results.json holds results that do not say whose they are."]


# ---- files that are none ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "is not readable JSON"),
        (b"{", "is not readable JSON"),
        (b"\xff\xff", "is not readable JSON"),
        (b"[" * 100_000, "is not"),
        (b"[]", "is not a FHIR resource as expected"),
        (b'{"a": 1}', "is not a FHIR resource as expected"),
        (b'{"resourceType": "Bundle"}', "is not a FHIR resource as expected"),
        (b'{"resourceType": "Bundle", "type": "history"}', "holds superseded versions"),
        (
            b'{"resourceType": "Bundle", "type": "batch", "entry": [{"resource": 3}]}',
            "entry 1: is not a FHIR resource as expected",
        ),
    ],
)
def test_not_fhir(tmp_path: Path, text: bytes, said: str) -> None:
    assert said in refused(tmp_path, text)


def test_every_bad_entry_is_found(tmp_path: Path) -> None:
    bad = [result(CREATININE, value, "umol/L") for value in ("1", "88", "99999")]
    with pytest.raises(CollectedInputError) as caught:
        fhir(tmp_path, bundle(PATIENT, *bad))
    places = [error.where for error in (caught.value, *caught.value.others)]
    assert places == [f"results.json, entry {n} (Observation)" for n in (2, 4)]
