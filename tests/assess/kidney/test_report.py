"""The report: which findings appear for whom, what they rest on, and what they warn of."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from tests.support import precise_kidney as precise

from thalweg.assess.kidney.report import KidneyInputs, kidney_findings
from thalweg.errors import InputError, UnitError
from thalweg.evidence.bibliography import cite
from thalweg.record.case import Case, Chosen, Person, Sex
from thalweg.record.fact import Fact, Moment, Origin

if TYPE_CHECKING:
    from thalweg.record.finding import Finding

DAY = date(2026, 3, 2)
HERE = Origin("command line")


def fact(concept: str, value: str, unit: str, at: Moment = DAY) -> Fact:
    return Fact(concept, Decimal(value), unit, at, HERE)


def flag(concept: str, value: bool = True) -> Chosen:
    return Chosen(Fact(concept, value, None, DAY, HERE))


def ask(
    age: str = "50",
    sex: Sex = "female",
    creatinine: str | None = None,
    cystatin: str | None = None,
    height: str | None = None,
    weight: str | None = None,
    **others: Chosen,
) -> dict[str, Finding]:
    rows = {
        "creatinine": (creatinine, "mg/dL"),
        "cystatin-c": (cystatin, "mg/L"),
        "height": (height, "cm"),
        "weight": (weight, "kg"),
    }
    given: dict[str, Any] = {
        key.replace("-", "_"): Chosen(fact(key, value, unit))
        for key, (value, unit) in rows.items()
        if value is not None
    }
    inputs = KidneyInputs(age=fact("age", age, "a"), sex=sex, at=DAY, **(given | others))
    return {finding.name: finding for finding in kidney_findings(inputs)}


def number(finding: Finding) -> float:
    assert isinstance(finding.value, float)
    return finding.value


def text(finding: Finding) -> str:
    return " ".join(finding.all_cautions)


def test_the_contract_of_the_command_line() -> None:
    # Inker 2021, recomputed from the publication: 68.633 and 80.361; Mosteller √(160 × 60/3600).
    found = ask(creatinine="1.0", cystatin="0.9", height="160", weight="60")
    assert list(found) == [
        "egfr-ckd-epi-2021-creatinine",
        "egfr-ckd-epi-2021-creatinine-cystatin",
        "egfr-ckd-epi-2012-cystatin",
        "clearance-cockcroft-gault",
        "body-surface",
        "gfr-to-rely-on",
        "gfr-absolute",
        "gfr-category",
    ]
    assert number(found["egfr-ckd-epi-2021-creatinine"]) == pytest.approx(68.633, abs=5e-4)
    combined = found["egfr-ckd-epi-2021-creatinine-cystatin"]
    assert number(combined) == pytest.approx(80.361, abs=5e-4)
    relied = found["gfr-to-rely-on"]
    assert relied.value == combined.value
    assert relied.findings == (combined,)
    surface = (160 * 60 / 3600) ** 0.5
    assert number(found["gfr-absolute"]) == pytest.approx(80.3607 * surface / 1.73, abs=1e-3)
    assert number(found["clearance-cockcroft-gault"]) == pytest.approx(90 * 60 / 72 * 0.85)
    assert found["gfr-category"].value == "G2"


def test_every_finding_says_unit_date_source_and_facts_as_json() -> None:
    found = ask(creatinine="1.0", cystatin="0.9", height="160", weight="60")
    for finding in found.values():
        row = json.loads(json.dumps(finding.to_json(cite)))
        assert row["date"] == "2026-03-02"
        assert row["source"]
        assert row["facts"]
        assert row["interval"] is None
        assert (row["unit"] is None) == (finding.name == "gfr-category")
    indexed = [f for f in found.values() if f.name.startswith("egfr")]
    assert {f.unit for f in indexed} == {"mL/min/{1.73_m2}"}
    assert found["gfr-absolute"].unit == found["clearance-cockcroft-gault"].unit == "mL/min"
    age = next(f for f in indexed[0].facts if f.concept == "age")
    assert (age.value, age.unit) == (Decimal(50), "a")


def test_creatinine_in_micromoles_is_converted_and_milligrams_are_not() -> None:
    molar = Chosen(fact("creatinine", "88.4032603122403", "umol/L"))
    inputs = KidneyInputs(age=fact("age", "50", "a"), sex="female", at=DAY, creatinine=molar)
    first = kidney_findings(inputs)[0]
    assert number(first) == pytest.approx(68.6334966588, abs=1e-9)
    exact = precise.ckd_epi_2021_creatinine(1.0, 50.0, "female")
    milligrams = ask(creatinine="1.0")["egfr-ckd-epi-2021-creatinine"]
    assert number(milligrams) == pytest.approx(exact, rel=1e-15)


def test_nothing_is_guessed_when_nothing_is_known() -> None:
    found = ask()
    assert set(found) == {"egfr-ckd-epi-2021-creatinine", "gfr-to-rely-on"}
    for finding in found.values():
        assert finding.value is None
        assert finding.missing == ("creatinine",)
        assert finding.at == DAY


def test_a_child_gets_the_equations_for_children_only() -> None:
    # Pierce 2021, recomputed; Schwartz 2009.
    found = ask("5", "male", creatinine="0.5", cystatin="0.9", height="110", weight="18")
    assert not any("ckd-epi" in name or "cockcroft" in name for name in found)
    assert number(found["egfr-ckid-u25-creatinine"]) == pytest.approx(81.15, abs=5.1e-3)
    assert number(found["egfr-ckid-u25-cystatin"]) == pytest.approx(86.85, abs=5.1e-3)
    assert number(found["egfr-ckid-u25-mean"]) == pytest.approx(84.00, abs=5.1e-3)
    assert number(found["egfr-schwartz-2009"]) == pytest.approx(0.413 * 110 / 0.5)
    assert found["gfr-to-rely-on"].value == found["egfr-ckid-u25-mean"].value
    assert found["gfr-to-rely-on"].findings == (found["egfr-ckid-u25-mean"],)


def test_a_child_without_height_is_told_so() -> None:
    found = ask("9", "female", creatinine="0.5")
    assert found["egfr-ckid-u25-creatinine"].value is None
    assert found["egfr-ckid-u25-creatinine"].missing == ("height",)
    assert found["gfr-to-rely-on"].value is None
    assert found["gfr-to-rely-on"].missing == ("height",)


def test_schwartz_ends_with_the_seventeenth_birthday_and_adults_begin_at_eighteen() -> None:
    at = {age: ask(age, "male", creatinine="0.9", height="170") for age in ("16.99", "17", "18")}
    assert "egfr-schwartz-2009" in at["16.99"]
    assert "egfr-schwartz-2009" not in at["17"]
    assert "egfr-ckd-epi-2021-creatinine" not in at["17"]
    assert "egfr-ckd-epi-2021-creatinine" in at["18"]


def test_an_infant_has_no_equation_here() -> None:
    found = ask("0.5", "male", creatinine="0.3", height="65")
    assert set(found) == {"body-surface", "gfr-to-rely-on"}
    assert found["gfr-to-rely-on"].missing == ("measured-gfr",)
    assert "first year of life" in text(found["gfr-to-rely-on"])


def test_a_toddler_has_a_rate_but_no_category() -> None:
    found = ask("1.5", "male", creatinine="0.3", height="80")
    assert found["gfr-category"].value is None
    assert "Under 2 years" in text(found["gfr-category"])


def test_from_18_to_25_both_equations_stand_and_it_is_said() -> None:
    found = ask("20", "male", creatinine="1.2", height="175")
    # Pierce 2021, recomputed: 74.08.
    assert number(found["egfr-ckid-u25-creatinine"]) == pytest.approx(74.08, abs=5e-3)
    relied = found["gfr-to-rely-on"]
    assert relied.findings == (found["egfr-ckd-epi-2021-creatinine"],)
    assert "CKiD U25 gives 74" in text(relied)
    assert "CKiD U25" not in text(ask("26", "male", creatinine="1.2")["gfr-to-rely-on"])
    without = ask("20", "male", creatinine="1.2")["gfr-to-rely-on"]
    assert "needs the height" in text(without)


@pytest.mark.parametrize("key", ["muscle_loss", "bowel_in_urinary_tract"])
@pytest.mark.parametrize("age", ["50", "10"])
def test_where_creatinine_misleads_cystatin_goes_first(key: str, age: str) -> None:
    concept = key.replace("_", "-")
    both = {"creatinine": "0.8", "cystatin": "1.3", "height": "140"}
    plain = ask(age, **both)["gfr-to-rely-on"]  # type: ignore[arg-type]
    doubted = ask(age, **both, **{key: flag(concept)})  # type: ignore[arg-type]
    assert plain.findings[0].name in {
        "egfr-ckd-epi-2021-creatinine-cystatin",
        "egfr-ckid-u25-mean",
    }
    assert doubted["gfr-to-rely-on"].findings[0].name in {
        "egfr-ckd-epi-2012-cystatin",
        "egfr-ckid-u25-cystatin",
    }
    by_creatinine = next(f for n, f in doubted.items() if n.endswith("creatinine"))
    assert concept in {f.concept for f in by_creatinine.facts}
    assert "from creatinine" in " ".join(by_creatinine.cautions)
    alone = ask(age, creatinine="0.8", height="140", **{key: flag(concept)})  # type: ignore[arg-type]
    assert "Creatinine misleads here" in text(alone["gfr-to-rely-on"])
    cystatin = next(f for n, f in alone.items() if n.endswith("-cystatin"))
    assert (cystatin.value, cystatin.missing) == (None, ("cystatin-c",))


def test_a_flag_that_is_denied_or_unrecorded_is_told_apart() -> None:
    denied = ask(
        creatinine="1.0",
        muscle_loss=flag("muscle-loss", False),
        bowel_in_urinary_tract=flag("bowel-in-urinary-tract", False),
    )["gfr-to-rely-on"]
    assert "Not recorded" not in text(denied)
    assert "Not recorded whether" in text(ask(creatinine="1.0")["gfr-to-rely-on"])


def test_a_measured_rate_goes_first_unless_it_has_aged() -> None:
    def relied(days: int, rate: str = "70") -> Finding:
        measured = fact("measured-gfr", rate, "mL/min/{1.73_m2}", DAY - timedelta(days=days))
        return ask(creatinine="1.0", measured_gfr=Chosen(measured))["gfr-to-rely-on"]

    fresh = relied(180)
    assert fresh.value == 70.0
    assert fresh.at == DAY - timedelta(days=180)
    assert [f.concept for f in fresh.facts] == ["measured-gfr"]
    assert "more than 30 %" in text(relied(10, "40"))
    aged = relied(181)
    assert aged.findings[0].name == "egfr-ckd-epi-2021-creatinine"
    assert "181 days older" in text(aged)
    alone = ask(measured_gfr=Chosen(fact("measured-gfr", "59.6", "mL/min/{1.73_m2}")))
    assert alone["gfr-category"].value == "G2"
    assert "unrounded it would be G3a" in text(alone["gfr-category"])


def test_results_of_different_days_are_said() -> None:
    def both(days: int) -> dict[str, Finding]:
        older = fact("cystatin-c", "0.9", "mg/L", DAY - timedelta(days=days))
        return ask(creatinine="1.0", cystatin_c=Chosen(older))

    name = "egfr-ckd-epi-2021-creatinine-cystatin"
    assert "days apart" not in text(both(7)[name])
    assert "lie 8 days apart" in text(both(8)[name])
    assert both(8)[name].at == DAY
    assert both(90)["gfr-to-rely-on"].findings[0].name == name
    far = both(91)["gfr-to-rely-on"]
    assert far.findings[0].name == "egfr-ckd-epi-2021-creatinine"
    assert "cystatin C is 91 days older" in text(far)


def test_a_height_of_today_does_not_make_an_old_creatinine_new() -> None:
    older = fact("creatinine", "0.5", "mg/dL", DAY - timedelta(days=200))
    inputs = KidneyInputs(
        age=fact("age", "8", "a"),
        sex="male",
        at=DAY,
        creatinine=Chosen(older),
        height=Chosen(fact("height", "120", "cm")),
    )
    estimate = next(f for f in kidney_findings(inputs) if f.name == "egfr-ckid-u25-creatinine")
    assert estimate.at == older.at
    assert "200 days from the blood result" in text(estimate)


def test_contradicting_results_give_no_value() -> None:
    rivals = (fact("creatinine", "1.0", "mg/dL"), fact("creatinine", "1.6", "mg/dL"))
    inputs = KidneyInputs(
        age=fact("age", "50", "a"),
        sex="female",
        at=DAY,
        creatinine=Chosen(None, rivals),
        cystatin_c=Chosen(fact("cystatin-c", "0.9", "mg/L")),
    )
    by_name = {f.name: f for f in kidney_findings(inputs)}
    for name in ("egfr-ckd-epi-2021-creatinine", "egfr-ckd-epi-2021-creatinine-cystatin"):
        assert by_name[name].value is None
        assert by_name[name].facts == rivals
        assert "neither used" in text(by_name[name])
    relied = by_name["gfr-to-rely-on"]
    assert relied.findings[0].name == "egfr-ckd-epi-2012-cystatin"
    assert "neither used" in text(relied)
    measured = tuple(fact("measured-gfr", v, "mL/min/{1.73_m2}") for v in ("40", "80"))
    contested = ask(creatinine="1.0", measured_gfr=Chosen(None, measured))["gfr-to-rely-on"]
    assert contested.value is None
    assert contested.facts == measured


def test_body_surface_says_which_half_is_missing() -> None:
    assert ask(weight="60")["body-surface"].missing == ("height",)
    assert ask(height="160")["body-surface"].missing == ("weight",)
    assert "body-surface" not in ask(creatinine="1.0")


def test_markers_that_disagree_are_said() -> None:
    relied = ask(creatinine="0.6", cystatin="1.6")["gfr-to-rely-on"]
    assert "more than 30 % apart" in text(relied)
    assert "30 % apart" not in text(ask(creatinine="1.0", cystatin="0.9")["gfr-to-rely-on"])


def test_albuminuria_has_no_category_once_bowel_lies_in_the_urinary_tract() -> None:
    ratio = Chosen(fact("albumin-creatinine-ratio", "3.2", "mg/mmol"))
    assert ask(albumin_creatinine_ratio=ratio)["albuminuria-category"].value == "A2"
    spoilt = ask(
        albumin_creatinine_ratio=ratio,
        bowel_in_urinary_tract=flag("bowel-in-urinary-tract"),
    )["albuminuria-category"]
    assert spoilt.value is None
    assert "mucus" in text(spoilt)
    assert {f.concept for f in spoilt.facts} == {
        "albumin-creatinine-ratio",
        "bowel-in-urinary-tract",
    }


def test_steadiness_is_warned_of_with_every_estimate() -> None:
    for age in ("50", "10"):
        found = ask(age, creatinine="0.8", cystatin="1.0", height="140")
        for name, finding in found.items():
            if name.startswith("egfr"):
                assert "acute kidney injury" in text(finding)


def test_questions_about_a_fact_reach_the_report() -> None:
    doubted = Fact("creatinine", Decimal(14), "mg/dL", DAY, HERE, questions=("Is it so?",))
    inputs = KidneyInputs(
        age=fact("age", "50", "a"), sex="male", at=DAY, creatinine=Chosen(doubted)
    )
    assert all("Is it so?" in finding.all_cautions for finding in kidney_findings(inputs))


def test_wrong_units_and_ages_are_refused() -> None:
    inputs = KidneyInputs(
        age=fact("age", "50", "a"),
        sex="male",
        at=DAY,
        creatinine=Chosen(fact("creatinine", "1.0", "mg/L")),
    )
    with pytest.raises(UnitError, match="cannot be in mg/L"):
        kidney_findings(inputs)
    with pytest.raises(InputError, match="not a number"):
        kidney_findings(KidneyInputs(age=Fact("age", "fifty", None, DAY, HERE), sex="male", at=DAY))


def test_months_of_age_count_as_years() -> None:
    months = KidneyInputs(
        age=fact("age", "60", "mo"),
        sex="male",
        at=DAY,
        creatinine=Chosen(fact("creatinine", "0.5", "mg/dL")),
        height=Chosen(fact("height", "1.10", "m")),
    )
    by_name = {f.name: f for f in kidney_findings(months)}
    assert number(by_name["egfr-ckid-u25-creatinine"]) == pytest.approx(81.15, abs=5.1e-3)


def _case(*facts: Fact) -> Case:
    person = Person(reference="1", name="Invented Person", born=date(1976, 3, 1), sex="female")
    return Case(id="a", person=person, facts=facts)


def test_a_case_is_read_as_it_was_known_on_the_day() -> None:
    before = fact("creatinine", "1.0", "mg/dL", datetime(2026, 3, 1, 8, tzinfo=UTC))
    later = fact("creatinine", "3.0", "mg/dL", date(2026, 5, 1))
    bowel = Fact("bowel-in-urinary-tract", True, None, date(2026, 4, 1), HERE)
    case = _case(before, later, bowel)
    march = KidneyInputs.from_case(case, date(2026, 3, 20))
    assert march.creatinine.fact == before
    assert march.bowel_in_urinary_tract.fact is None
    # Fifty on 1 March 2026, the day of the creatinine, whatever day the question is asked.
    assert march.age_years == 50.0
    found = {f.name: f for f in kidney_findings(march)}
    assert number(found["egfr-ckd-epi-2021-creatinine"]) == pytest.approx(68.633, abs=5e-4)
    assert found["egfr-ckd-epi-2021-creatinine"].findings == (found["age"],)
    assert found["age"].unit == "a"
    june = KidneyInputs.from_case(case, date(2026, 6, 1))
    assert june.creatinine.fact == later
    assert june.bowel_in_urinary_tract.fact == bowel


def test_the_same_inputs_give_the_same_findings() -> None:
    assert ask(creatinine="1.0", cystatin="0.9") == ask(creatinine="1.0", cystatin="0.9")
