"""`thalweg kidney` on values given on the line.

The rates are those of CKD-EPI 2021, creatinine alone and with cystatin C (Inker LA et al. N Engl J
Med 2021;385:1737), and CKD-EPI 2012 cystatin C (Inker LA et al. N Engl J Med 2012;367:20), worked
out by hand to three decimals and once more by the independent arithmetic of
`tests.support.precise_kidney`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.precise_kidney import (
    ckd_epi_2012_cystatin,
    ckd_epi_2021_both,
    ckd_epi_2021_creatinine,
)
from tests.support.smallcase import SECRETS

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

WOMAN = ("--age", "50", "--sex", "female")
LINE = (
    *WOMAN,
    *("--creatinine", "1.0mg/dL", "--cystatin", "0.9mg/L"),
    *("--height", "160cm", "--weight", "60kg"),
)


def kidney(*arguments: str) -> dict[str, dict[str, Any]]:
    """Return the findings by name."""
    return checked_findings(thalweg("kidney", *arguments, "--json").json["findings"])


def test_published_rates_for_one_woman() -> None:
    found = kidney(*LINE)
    creatinine = found["egfr-ckd-epi-2021-creatinine"]["value"]
    cystatin = found["egfr-ckd-epi-2012-cystatin"]["value"]
    both = found["egfr-ckd-epi-2021-creatinine-cystatin"]["value"]
    assert creatinine == pytest.approx(68.633, abs=5e-4)
    assert both == pytest.approx(80.361, abs=5e-4)
    assert creatinine == pytest.approx(ckd_epi_2021_creatinine(1.0, 50, "female"), rel=1e-12)
    assert cystatin == pytest.approx(ckd_epi_2012_cystatin(0.9, 50, "female"), rel=1e-12)
    assert both == pytest.approx(ckd_epi_2021_both(1.0, 0.9, 50, "female"), rel=1e-12)
    assert found["gfr-to-rely-on"]["value"] == both
    # Mosteller: the root of cm × kg / 3600 (N Engl J Med 1987;317:1098).
    assert found["body-surface"]["value"] == pytest.approx((160 * 60 / 3600) ** 0.5, rel=1e-12)


def test_mass_and_amount_give_the_same() -> None:
    # The customary factor is 88.4 µmol/L to 1 mg/dL (common practice); the molar mass of C4H7N3O,
    # 113.12 g/mol, gives 88.402, so that the two differ in the fifth digit.
    mass, amount = (kidney(*WOMAN, "--creatinine", text) for text in ("1.2mg/dL", "106.08umol/L"))
    assert mass.keys() == amount.keys()
    for name, finding in mass.items():
        expected = amount[name]["value"]
        near = isinstance(expected, float)
        assert finding["value"] == (pytest.approx(expected, rel=1e-4) if near else expected)
        assert finding["unit"] == amount[name]["unit"]
        assert finding["cautions"] == amount[name]["cautions"]


def test_the_micro_sign_may_be_typed() -> None:
    assert kidney(*WOMAN, "--creatinine", "106.08µmol/L") == kidney(
        *WOMAN, "--creatinine", "106.08 umol/L"
    )


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((*WOMAN, "--creatinine", "1.0"), ("--creatinine", "without a unit", "1.2mg/dL")),
        ((*WOMAN, "--cystatin", "0.9"), ("--cystatin,", "without a unit")),
        ((*WOMAN, "--albumin-ratio", "30"), ("--albumin-ratio,", "without a unit")),
        ((*WOMAN, "--creatinine", "106mg/dL"), ("--creatinine", "impossible", "µmol/L")),
        ((*WOMAN, "--creatinine", "1.2mmHg"), ("--creatinine", "mmHg")),
        ((*WOMAN, "--creatinine", "much"), ("--creatinine", "much")),
        (("--sex", "female", "--creatinine", "1.0mg/dL"), ("the age is missing", "--age")),
        (("--age", "50", "--creatinine", "1.0mg/dL"), ("the sex is missing", "--sex")),
        (("--age", "50", "--sex", "f", "--creatinine", "1mg/dL"), ("'f'", "--sex female")),
        (("--age", "420", "--sex", "male", "--creatinine", "1mg/dL"), ("--age", "420")),
        ((*WOMAN, "--creatinine", "1mg/dL", "--on", "soon"), ("--on", "2026-03-31")),
    ],
)
def test_what_is_refused_is_said(arguments: tuple[str, ...], said: tuple[str, ...]) -> None:
    for mode in ((), ("--json",)):
        line = thalweg("kidney", *arguments, *mode).refusal()
        assert all(part in line for part in said), line


def test_nothing_measured_is_not_known() -> None:
    found = kidney(*WOMAN)
    rely = found["gfr-to-rely-on"]
    assert rely["value"] is None
    assert "creatinine" in str(rely["missing"])


def test_explain_walks_to_fact_and_publication() -> None:
    ran = thalweg("kidney", *LINE, "--explain")
    assert ran.code == 0
    assert "from creatinine 1.0 mg/dL (command line)" in ran.out
    assert "Inker LA" in ran.out
    assert "does not replace licensed judgement" in ran.out


def test_a_case_s_own_results(small_once: OnRecord) -> None:
    found = kidney(small_once.case_id, *small_once.where)
    # 106.08 µmol/L, a man, 76 years and 2 months on the day of the sample.
    age = found["age"]["value"]
    assert age == pytest.approx(76 + 58 / 365.25, abs=0.01)
    expected = ckd_epi_2021_creatinine(1.2, age, "male")
    assert found["egfr-ckd-epi-2021-creatinine"]["value"] == pytest.approx(expected, rel=1e-4)
    planned = {one["name"]: one for one in small_once.payload["findings"]}
    assert found["gfr-to-rely-on"]["value"] == planned["gfr-to-rely-on"]["value"]


def test_values_on_the_line_join_a_case_s_without_being_recorded(small: OnRecord) -> None:
    before = thalweg("verify", "--home", small.home, "--json").json
    found = kidney(small.case_id, *small.where, "--weight", "80kg", "--height", "180cm")
    assert found["body-surface"]["value"] == pytest.approx(2.0, rel=1e-12)
    assert thalweg("verify", "--home", small.home, "--json").json == before


def test_a_case_and_a_flag(small_once: OnRecord) -> None:
    plain = kidney(small_once.case_id, *small_once.where)
    flagged = kidney(small_once.case_id, *small_once.where, "--muscle-loss")
    # Creatinine comes from muscle: with little of it, cystatin C alone is to be relied on.
    assert plain["gfr-to-rely-on"]["value"] != flagged["gfr-to-rely-on"]["value"]
    cystatin = flagged["egfr-ckd-epi-2012-cystatin"]["value"]
    assert flagged["gfr-to-rely-on"]["value"] == cystatin


@pytest.mark.parametrize("option", [("--sex", "female"), ("--age", "50")])
def test_a_case_has_its_own_birth_date_and_sex(
    small_once: OnRecord, option: tuple[str, str]
) -> None:
    line = thalweg("kidney", small_once.case_id, *small_once.where, *option).refusal(*SECRETS)
    assert option[0] in line
    assert "leave" in line


def test_urea_risk_and_region_on_the_line() -> None:
    blood = ("--creatinine", "1.8mg/dL", "--urea", "10mmol/L", "--albumin-ratio", "300mg/g")
    found = kidney(*WOMAN, *blood, "--region", "elsewhere")
    # 10 mmol/L of urea is 28.01 mg/dL of its nitrogen.
    assert found["urea-creatinine-ratio"]["value"] == pytest.approx(28.0134 / 1.8, rel=1e-6)
    risks = {name for name in found if name.startswith("kidney-failure-risk")}
    assert risks == {f"kidney-failure-risk-{years}-years-elsewhere" for years in (2, 5)}
    assert all(found[name]["unit"] == "%" for name in risks)
    void = kidney(*WOMAN, *blood, "--bowel-in-urinary-tract")
    assert void["kidney-failure-risk-5-years"]["value"] is None


def test_a_region_that_is_none_and_a_faulty_protocol_are_refused(tmp_path: Path) -> None:
    line = (*WOMAN, "--creatinine", "1.8mg/dL")
    assert "'mars'" in thalweg("kidney", *line, "--region", "mars").refusal()
    tmp_path.joinpath("kidney.toml").write_text("[injury-rise]\numol_l = 44\n", encoding="utf-8")
    said = thalweg("kidney", *line, "--protocol", tmp_path).refusal()
    assert "names no source" in said
