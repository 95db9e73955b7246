"""Every method of the assessment is held against something outside this project.

The list is tests/support/outside_checks.toml. A method that is not on it fails here, as does a
check whose test has gone or no longer names its source. The few checks that fit no other file stand
below.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from tests.support.kidney_case import kidney_case, known

import thalweg.assess
from thalweg.assess.chemistry import gap
from thalweg.assess.chemistry.inputs import ChemistryInputs
from thalweg.assess.chemistry.report import chemistry_findings
from thalweg.assess.decline.report import decline_findings
from thalweg.assess.fitness.rulebook import rulebook
from thalweg.record.case import age_in_years
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterator

    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

HERE = Path(__file__).parent
CHECKS = tomllib.loads((HERE.parent / "support" / "outside_checks.toml").read_text("utf-8"))
KINDS = {"published", "library", "analytic", "definition"}
BORN = date(1956, 3, 10)
FIRST = date(2020, 3, 10)


def methods() -> set[str]:
    """Return the key of every Method of the assessment, alone or in a table."""

    def walked() -> Iterator[Method]:
        for info in pkgutil.walk_packages(thalweg.assess.__path__, "thalweg.assess."):
            for value in vars(importlib.import_module(info.name)).values():
                several = value.values() if isinstance(value, dict) else (value,)
                yield from (one for one in several if isinstance(one, Method))

    return {one.key for one in walked()}


def test_no_method_is_without_its_outside_check() -> None:
    assert methods() - CHECKS.keys() == set(), "name a check in tests/support/outside_checks.toml"
    assert CHECKS.keys() - methods() == set(), "these methods are gone"


@pytest.mark.parametrize("key", CHECKS)
def test_the_check_is_there_and_names_its_source(key: str) -> None:
    check = CHECKS[key]
    assert check["by"] in KINDS
    name, _, function = check["test"].partition("::")
    text = (HERE / name).read_text(encoding="utf-8")
    module = ast.parse(text)
    found = next(
        one for one in module.body if isinstance(one, ast.FunctionDef) and one.name == function
    )
    lines = text.splitlines()
    first = min(found.lineno, *(one.lineno for one in found.decorator_list), found.lineno) - 1
    while lines[first - 1].startswith("#"):
        first -= 1
    written = "\n".join(lines[first : found.end_lineno])
    assert any(isinstance(one, ast.Assert) for one in ast.walk(found)), "asserts nothing"
    assert check["says"].lower() in (written + (ast.get_docstring(module) or "")).lower()


def chemistry(*facts: Fact, at: date) -> dict[str, Finding]:
    """Return the findings on blood chemistry by name."""
    inputs = ChemistryInputs.from_case(kidney_case(*facts), at)
    return {one.name: one for one in chemistry_findings(inputs)}


@given(st.floats(100, 180), st.floats(1, 12), st.floats(60, 150), st.floats(2, 60))
def test_potassium_adds_itself_to_the_gap(
    sodium: float, potassium: float, chloride: float, base: float
) -> None:
    # Emmett and Narins 1977, as later texts quote it: with potassium the gap is larger by it.
    plain = float(gap.anion_gap(sodium, chloride, base))
    assert float(gap.anion_gap(sodium, chloride, base, potassium)) == pytest.approx(
        plain + potassium, abs=1e-9
    )


def test_osmolal_gap_of_a_measured_sum() -> None:
    # By hand: 2 × 140 + 5 + 5 are 290 mOsm/kg, of 322 measured; 32 are something else.
    parts = {"sodium": "140", "glucose": "5", "urea": "5"}
    facts = [known(key, value, "mmol/L", FIRST) for key, value in parts.items()]
    found = chemistry(*facts, known("osmolality", "322", "mosm/kg", FIRST), at=FIRST)
    assert found["osmolal-gap"].value == pytest.approx(32)


def test_the_course_of_bicarbonate_against_scipy() -> None:
    # scipy.stats.linregress over days; a month is 30.4375 days (a twelfth of the Julian year).
    days = [0, 17, 45, 80, 121, 133]
    values = ["25.1", "24.0", "23.7", "21.9", "20.2", "20.8"]
    at = FIRST + timedelta(days=days[-1])
    facts = [
        known("bicarbonate", value, "mmol/L", FIRST + timedelta(days=day))
        for day, value in zip(days, values, strict=True)
    ]
    slope = stats.linregress(days, np.array(values, dtype=float)).slope * 365.25 / 12
    assert chemistry(*facts, at=at)["bicarbonate-trend"].value == pytest.approx(slope, rel=1e-9)


@pytest.mark.parametrize(("fall", "expected"), [(4.9, Truth.NOT_MET), (5.1, Truth.MET)])
def test_rapid_progression_on_both_sides_of_five(fall: float, expected: Truth) -> None:
    # KDIGO 2012, 2.1.3, as quoted: a sustained decline of more than 5 mL/min/1.73 m² a year. The
    # creatinine of a wished rate is CKD-EPI 2021 of a woman turned round, above its knee.
    facts = []
    for year in range(5):
        day = FIRST + timedelta(days=round(365.25 * year))
        expected_rate = 85.0 - fall * (day - FIRST).days / 365.25
        age = age_in_years(BORN, day)
        creatinine = 0.7 * (142.0 * 0.9938**age * 1.012 / expected_rate) ** (1 / 1.2)
        facts.append(known("creatinine", f"{creatinine:.8f}", "mg/dL", day))
    case = kidney_case(*facts, born=BORN)
    found = {one.name: one for one in decline_findings(case, date(2024, 6, 1))}
    assert found["gfr-slope"].value == pytest.approx(-fall, abs=0.01)
    assert found["gfr-rapid-decline"].value is expected


@given(st.dates(date(1900, 1, 1), date(2025, 12, 31)), st.integers(0, 40_000))
def test_age_against_dateutil(born: date, days: int) -> None:
    # dateutil counts completed years; whoever was born on 29 February it lets grow older on the
    # 28th, we on 1 March, so these are left to their own test.
    if (born.month, born.day) == (2, 29):
        return
    on = born + timedelta(days=days)
    whole = relativedelta(on, born).years
    assert whole <= age_in_years(born, on) < whole + 1
    # The part of the year that has passed, from one birthday to the next.
    last, following = born + relativedelta(years=whole), born + relativedelta(years=whole + 1)
    assert age_in_years(born, on) == pytest.approx(
        whole + (on - last).days / (following - last).days
    )


@pytest.mark.parametrize(
    ("item", "level", "coefficient"),
    [
        ("age", "over 80 years", 1.619),
        ("saturation", "90 % or less", 2.375),
        ("incision", "intrathoracic", 2.431),
        ("duration", "over 2 to 3 hours", 1.593),
        ("emergency", None, 0.768),
    ],
)
def test_ariscat_points_are_ten_times_the_coefficients(
    item: str, level: str | None, coefficient: float
) -> None:
    # Trials 2019, article s13063-019-3668-x, table 1: the coefficients of the regression and the
    # rule that a score is the coefficient times 10, rounded.
    (score,) = (one for one in rulebook().scores if one.key == "ariscat")
    (found,) = (one for one in score.items if one.key == item)
    (points,) = (
        one.points for one in found.levels if (one.name == level or (level is None and one.points))
    )
    assert points == round(10 * coefficient)
