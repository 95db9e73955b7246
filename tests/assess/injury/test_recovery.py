"""After an acute injury: how long it lasts, acute kidney disease, recovery, and slow rises.

Stages by hand: KDIGO 2012 table 2 for the injury; ADQI 16 (2017) for days 7 to 90, the same ratios,
with 0C below 1.5 times; "back" below 1.2 times (Sawhney) and less than 26.5 µmol/L above (ours).
"""

from __future__ import annotations

import itertools
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.kidney_case import NOON, hours_on, kidney_case, known

from thalweg.assess.injury.creatinine import creatinine_stages
from thalweg.assess.injury.recovery import Episode, disease_stage, episodes
from thalweg.assess.injury.report import injury_findings
from thalweg.errors import InputError
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

BORN = date(1956, 3, 10)


def series(*results: tuple[float, str], unit: str = "umol/L") -> tuple[Fact, ...]:
    """Return creatinines by day from the first noon."""
    return tuple(known("creatinine", value, unit, hours_on(24 * day)) for day, value in results)


def after(*facts: Fact, at_day: float, born: date = BORN) -> dict[str, Finding]:
    day = (NOON + timedelta(days=at_day)).date()
    return {one.name: one for one in injury_findings(kidney_case(*facts, born=born), day)}


def said(finding: Finding) -> str:
    return " ".join(finding.cautions)


def found_in(*results: tuple[float, int]) -> tuple[Episode, ...]:
    """Return the injuries of results in µmol/L by hour."""
    minutes = [round(60 * hour) for hour, _ in results]
    values = [1000 * value for _, value in results]
    shown = creatinine_stages(minutes, values)
    return episodes(minutes, values, shown.least, shown.reference)


# Reference 80 µmol/L: 1.2 times is 96, 1.5 times 120, 2 times 160, 3 times 240.
@pytest.mark.parametrize(
    ("umol_l", "reference", "stage"),
    [
        (70, 80, "0"),
        (95, 80, "0"),
        (96, 80, "0C"),
        (119, 80, "0C"),
        (120, 80, "1"),
        (159, 80, "1"),
        (160, 80, "2"),
        (239, 80, "2"),
        (240, 80, "3"),
        # 26.5 µmol/L above 200 is only 1.13 times, and not back.
        (226, 200, "0"),
        (227, 200, "0C"),
        # From 353.6 µmol/L stage 3, where it is 1.5 times the reference at all.
        (354, 200, "3"),
        (353, 200, "1"),
        (360, 330, "0C"),
    ],
)
def test_stages_of_acute_kidney_disease(umol_l: int, reference: int, stage: str) -> None:
    assert disease_stage(1000 * umol_l, 1000 * reference) == stage


@given(st.integers(20_000, 900_000), st.integers(1, 200_000), st.integers(20_000, 400_000))
def test_a_higher_result_never_has_a_lower_stage(value: int, more: int, reference: int) -> None:
    order = ["0", "0C", "1", "2", "3"]
    first, second = disease_stage(value, reference), disease_stage(value + more, reference)
    assert order.index(first) <= order.index(second)


def test_a_creatinine_of_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="not above 0"):
        disease_stage(0, 80_000)
    with pytest.raises(InputError, match="not of one length"):
        episodes([0, 1], [1, 2], [0], [0, 0])


@pytest.mark.parametrize(
    ("results", "longer"),
    [
        # Seen at 24 h; at exactly 48 h later still there, then gone: not longer for certain.
        ([(0, 80), (24, 160), (72, 130), (73, 90)], Truth.NOT_KNOWN),
        ([(0, 80), (24, 160), (73, 130), (74, 90)], Truth.MET),
        ([(0, 80), (24, 160), (72, 90)], Truth.NOT_MET),
        # Nobody looked between 24 h and 80 h.
        ([(0, 80), (24, 160), (80, 90)], Truth.NOT_KNOWN),
        ([(0, 80), (24, 160)], Truth.NOT_KNOWN),
        # Gone at 40 h, back at 60 h: less than 48 h apart, one injury, longer than 48 h.
        ([(0, 80), (24, 160), (40, 90), (60, 160), (90, 150)], Truth.MET),
    ],
)
def test_how_long_an_injury_lasts(results: list[tuple[float, int]], longer: Truth) -> None:
    (only,) = found_in(*results)
    minutes = np.array([round(60 * hour) for hour, _ in results])
    assert only.reference == 80_000
    assert only.longer_than(minutes, 48 * 60) is longer


def test_a_second_injury_days_later_keeps_the_first_reference() -> None:
    # On day 20 the lowest of the week before is 100, but 80 stood before the first injury.
    first, second = found_in(
        (0, 80), (24, 170), (96, 100), (18 * 24, 100), (20 * 24, 170), (22 * 24, 168)
    )
    assert (first.onset, first.resolved, first.peak) == (1, 2, 2)
    assert (second.onset, second.reference, second.resolved) == (4, 80_000, None)


def test_a_rise_of_26_5_alone_is_an_injury_until_the_rise_is_gone() -> None:
    (only,) = found_in((0, 200), (24, 230), (48, 227), (72, 226))
    assert (only.onset, only.last, only.resolved) == (1, 2, 3)


@given(st.lists(st.integers(60, 400), min_size=1, max_size=12), st.integers(1, 60))
def test_injuries_lie_in_order_and_their_ends_are_what_the_series_says(
    values: list[int], step_hours: int
) -> None:
    results = [(float(step_hours * n), value) for n, value in enumerate(values)]
    found = found_in(*results)
    shown = creatinine_stages([round(60 * h) for h, _ in results], [1000 * v for v in values])
    assert bool(found) == bool((shown.least > 0).any())
    for one in found:
        assert shown.least[one.onset] > 0
        assert one.onset <= one.last
        assert one.peak >= shown.least[one.onset]
        if one.resolved is not None:
            assert one.resolved > one.last
            healed = values[one.resolved] * 1000
            assert healed < 1.5 * one.reference
            assert healed - one.reference < 26_500
    for one, other in itertools.pairwise(found):
        assert one.last < other.onset


HURT = ((0, "80"), (1, "130"), (3, "250"), (5, "200"))


@pytest.mark.parametrize(
    ("results", "at_day", "value", "stage_3"),
    [
        ((), 6, None, ""),
        (((8, "165"),), 9, "acute kidney disease stage 2", ""),
        (((8, "165"), (20, "125")), 21, "acute kidney disease stage 1", "Day 7"),
        (
            ((8, "165"), (20, "125"), (40, "100")),
            41,
            "recovered in part (acute kidney disease stage 0C)",
            "Day 19",
        ),
        (((8, "165"), (60, "84")), 61, "complete recovery (stage 0)", "Day 7"),
        (
            ((8, "165"), (100, "125")),
            101,
            "not back after 90 days: judge as chronic kidney disease",
            "Day 7",
        ),
        (((8, "165"), (100, "82")), 101, "complete recovery (stage 0)", "Day 7"),
    ],
)
def test_recovery_as_adqi_stages_it(
    results: tuple[tuple[float, str], ...], at_day: float, value: str | None, stage_3: str
) -> None:
    found = after(*series(*HURT, *results), at_day=at_day)["kidney-recovery"]
    assert found.value == value
    assert "80 µmol/L before the injury (stage 3)" in said(found)
    assert stage_3 in said(found)
    assert found.at == series(*HURT, *results)[-1].at
    assert bool(found.missing) == (value is None)


def test_mass_and_amount_recover_alike() -> None:
    # 88.4 µmol/L is 1 mg/dL as KDIGO pairs them.
    amounts = series((0, "88.4"), (1, "176.8"), (3, "265.2"), (10, "132.6"))
    masses = series((0, "1.00"), (1, "2.00"), (3, "3.00"), (10, "1.50"), unit="mg/dL")
    found = [after(*one, at_day=11)["kidney-recovery"].value for one in (amounts, masses)]
    assert found == ["acute kidney disease stage 1"] * 2


def test_renal_replacement_since_the_injury_is_stage_3() -> None:
    started = known("renal-replacement-started", True, None, hours_on(24 * 4))
    found = after(*series(*HURT, (9, "100")), started, at_day=10)["kidney-recovery"]
    assert found.value == "acute kidney disease stage 3"
    assert started in found.facts


def test_an_injury_of_more_than_a_year_ago_is_history() -> None:
    facts = series(*HURT, (400, "82"))
    assert "kidney-recovery" not in after(*facts, at_day=400)


def test_when_nobody_looked_any_more_it_is_said() -> None:
    found = after(*series(*HURT, (9, "100")), at_day=39)["kidney-recovery"]
    assert "No result for 30 days since." in said(found)


# 80 to 121 µmol/L is 1.51 times. For a woman of 70 by CKD-EPI 2021 a rise of the creatinine to
# 1.44 times, both above 0.7 mg/dL, is 1 - 1.44^-1.2 = 35.4 % of the rate: worked by hand.
@pytest.mark.parametrize(
    ("newest", "days", "slow"),
    [
        ("121", 60, True),
        ("116", 60, True),
        ("114", 60, False),
        ("121", 90, True),
        ("121", 91, False),
    ],
)
def test_a_rise_too_slow_for_an_injury_is_acute_kidney_disease(
    newest: str, days: int, slow: bool
) -> None:
    found = after(*series((0, "80"), (days, newest)), at_day=days)
    assert ("kidney-disease-slow" in found) is slow
    if slow:
        finding = found["kidney-disease-slow"]
        assert finding.value is Truth.MET
        assert any("narrowing ureter" in one for one in finding.all_cautions)


def test_a_child_s_slow_rise_is_judged_by_creatinine_alone() -> None:
    child = date(2018, 3, 10)
    assert "kidney-disease-slow" not in after(*series((0, "40"), (60, "58")), at_day=60, born=child)
    rose = after(*series((0, "40"), (60, "61")), at_day=60, born=child)["kidney-disease-slow"]
    assert "rate" not in said(rose)


def test_a_slow_rise_after_an_injury_is_not_called_a_disease_without_one() -> None:
    assert "kidney-disease-slow" not in after(*series(*HURT, (30, "150")), at_day=30)
