"""`thalweg chemistry` as typed, and on a case: units, refusals, protocol, what joins a case."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.support.commands import checked_findings, thalweg
from tests.support.smallcase import SECRETS

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import OnRecord

LINE = ("--sodium", "138mmol/L", "--chloride", "112mmol/L", "--bicarbonate", "14mmol/L")
ALBUMIN = ("--albumin", "4.0g/dL")
GAS = ("--ph", "7.31", "--pco2", "29mmHg", "--sample", "arterial")


def chemistry(*arguments: object) -> dict[str, dict[str, Any]]:
    """Return the findings by name."""
    return checked_findings(thalweg("chemistry", *arguments, "--json").json["findings"])


def test_one_line_names_the_disturbance() -> None:
    # By hand: gap 138 − 112 − 14 = 12; Winters 1.5 × 14 + 8 = 29 ± 2 mmHg; deficit 0.5 × 70 × 10.
    found = chemistry(*LINE, *ALBUMIN, *GAS, "--segment", "ileum", "--weight", "70kg")
    first = found["acid-base-disturbance"]
    assert first["value"] == "metabolic acidosis, normal gap (hyperchloraemic)"
    assert (found["anion-gap"]["value"], found["anion-gap"]["unit"]) == (12.0, "mmol/L")
    assert found["anion-gap-corrected"]["value"] == 12.0
    assert found["delta-ratio"]["value"] == 0.0
    assert found["expected-pco2"]["interval"] == [27.0, 31.0]
    assert found["bicarbonate-deficit"]["value"] == 350.0
    assert found["respiratory-acidosis"]["value"] == "not met"
    assert found["segment-pattern"]["value"].startswith("fits, does not prove")


@pytest.mark.parametrize(
    "other",
    [
        ("--ph", "7.31pH", "--pco2", "3.8663kPa", "--sample", "arterial"),
        ("--pco2", "29 mmHg", "--sample", "arterial", "--ph", "7.310"),
    ],
)
def test_units_and_order_do_not_matter(other: tuple[str, ...]) -> None:
    one, two = chemistry(*LINE, *ALBUMIN, *GAS), chemistry(*LINE, "--albumin", "40g/L", *other)
    for name, finding in one.items():
        value = finding["value"]
        near = pytest.approx(value, rel=1e-4) if isinstance(value, float) else value
        assert two[name]["value"] == near, name


def test_a_gas_whose_sample_is_not_said_does_not_judge_breathing() -> None:
    found = chemistry(*LINE, *ALBUMIN, *GAS[:4])
    assert found["respiratory-acidosis"]["value"] == "not known"
    assert any("not said whether" in said for said in found["acid-base-disturbance"]["cautions"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--sodium", "138"), ("--sodium", "without a unit")),
        (("--bicarbonate", "14mg/dL"), ("--bicarbonate", "mg/dL")),
        (("--bicarbonate", "140mmol/L"), ("--bicarbonate", "impossible", "14 mmol/L")),
        (("--ph", "74.1"), ("--ph", "impossible")),
        (("--ph", "acid"), ("--ph", "acid")),
        (("--pco2", "29"), ("--pco2", "without a unit")),
        ((*LINE, "--sample", "urine"), ("--sample", "arterial, capillary or venous")),
        ((*LINE, "--segment", "appendix"), ("--segment", "jejunum")),
        (("--segment", "ileum"), ("no result", "--bicarbonate")),
        ((), ("no result",)),
        ((*LINE, "--on", "soon"), ("--on",)),
        ((*LINE, "--protocol", "nowhere"), ("nowhere",)),
    ],
)
def test_what_is_refused_is_said(arguments: tuple[str, ...], said: tuple[str, ...]) -> None:
    for mode in ((), ("--json",)):
        line = thalweg("chemistry", *arguments, *mode).refusal()
        assert all(part in line for part in said), line


def test_people_read_the_disturbance_first_and_the_caution_last() -> None:
    ran = thalweg("chemistry", *LINE, *ALBUMIN, "--explain")
    assert ran.code == 0
    assert "metabolic acidosis, normal gap (hyperchloraemic); presumed" in ran.out.splitlines()[0]
    assert "from sodium 138 mmol/L (command line)" in ran.out
    assert "Figge" in ran.out
    assert "does not replace licensed judgement" in ran.out.splitlines()[-1]


def test_a_unit_s_own_range(tmp_path: Path) -> None:
    tmp_path.joinpath("chemistry.toml").write_text(
        '[reference.bicarbonate]\nunit = "mmol/L"\nlow = 10\nhigh = 29\nusual = 24\n'
        'source = "Handbook"\n',
        encoding="utf-8",
    )
    found = chemistry(*LINE, *ALBUMIN, "--protocol", tmp_path)
    assert found["acid-base-disturbance"]["value"].startswith("no metabolic disturbance")
    assert any("own protocol" in said for said in found["acid-base-disturbance"]["cautions"])


def test_a_unit_s_bad_range_is_said(tmp_path: Path) -> None:
    file = tmp_path / "chemistry.toml"
    file.write_text('[reference.sodium]\nlow = 1\nsource = "x"\n', encoding="utf-8")
    line = thalweg("chemistry", *LINE, "--protocol", tmp_path).refusal()
    assert "[reference.sodium]" in line


def test_a_case_s_own_results_and_what_is_added(small_once: OnRecord) -> None:
    # The small case has potassium 4.5 mmol/L and no bicarbonate.
    bare = chemistry(small_once.case_id, *small_once.where)
    assert bare["acid-base-disturbance"]["value"] is None
    assert "bicarbonate" in bare["acid-base-disturbance"]["missing"]
    assert "flag" not in str(bare["chemistry-level"]["value"])
    joined = chemistry(small_once.case_id, *small_once.where, *LINE, *ALBUMIN)
    assert joined["anion-gap"]["value"] == 12.0
    # Kidney function of the case itself is weighed among the causes.
    assert "gfr-to-rely-on" in joined["segment-mimics"]["from"]
    again = chemistry(small_once.case_id, *small_once.where)
    assert again["acid-base-disturbance"]["value"] is None


def test_a_strange_case_is_refused(small_once: OnRecord) -> None:
    thalweg("chemistry", "nobody", *small_once.where).refusal(*SECRETS)
