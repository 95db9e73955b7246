"""A whole study: symmetry, scaling, refusals, doubts that are said, findings."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.renograms import HEALTHY, QUICK, SPECS, exact

from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.study import analysed, renogram_findings
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.phantom.renogram import RenogramSpec, renogram
from thalweg.phantom.tracer import KidneySpec
from thalweg.record.fact import Fact, Origin
from thalweg.record.renogram import Renogram
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.renogram.result import Side

DAY = date(2026, 3, 4)


def swapped(study: Renogram) -> Renogram:
    names = {"left": "right", "right": "left"}
    names |= {f"{a}-background": f"{b}-background" for a, b in names.items()}
    counts = {names.get(role, role): study.counts[role] for role in study.counts}
    pixels = {names.get(role, role): study.pixels[role] for role in study.pixels}
    return replace(study, counts=counts, pixels=pixels)


@settings(max_examples=8, deadline=None)
@given(
    st.floats(1e-4, 2e-3),
    st.floats(5.0, 60.0),
    st.sampled_from([None, 0.0, 1200.0]),
    st.integers(0, 10_000),
)
def test_swapping_the_sides_mirrors_every_result(
    uptake: float, pelvis: float, furosemide: float | None, seed: int
) -> None:
    spec = RenogramSpec(
        left=KidneySpec(uptake_per_s=uptake, pelvis_ml=pelvis),
        phases=QUICK[:2],
        furosemide_s=furosemide,
    )
    study, _ = renogram(spec, seed)
    one, other = analysed(study, at=DAY), analysed(swapped(study), at=DAY)
    assert one.share_left is not None
    assert other.share_left is not None
    assert one.share_left.value == pytest.approx(100 - other.share_left.value, abs=1e-9)
    low, high = other.share_left.interval
    assert one.share_left.interval == pytest.approx((100 - high, 100 - low), abs=1e-9)
    a, b = one.kidneys["left"], other.kidneys["right"]
    assert a.half_time == b.half_time
    assert a.peak == b.peak
    assert a.residuals == b.residuals
    assert (a.verdict, a.pattern, a.reasons) == (b.verdict, b.pattern, b.reasons)


@pytest.mark.parametrize("dose", [0.3, 4.0])
def test_the_dose_cancels_from_shares_and_ratios(dose: float) -> None:
    study, _ = renogram(SPECS["dilated"], 4)
    scaled = replace(study, counts={role: dose * c for role, c in study.counts.items()})
    one, other = analysed(study, at=DAY), analysed(scaled, at=DAY)
    sides: tuple[Side, ...] = ("left", "right")
    for side in sides:
        a, b = one.kidneys[side], other.kidneys[side]
        for first, second in (
            (a.share_integral, b.share_integral),
            (a.share_patlak, b.share_patlak),
            *((r.ratio, s.ratio) for r, s in zip(a.residuals, b.residuals, strict=True)),
            *((r.percent, s.percent) for r, s in zip(a.efficiencies, b.efficiencies, strict=True)),
        ):
            assert first is not None
            assert second is not None
            assert second.value == pytest.approx(first.value, rel=1e-6)


def test_same_study_same_result_to_the_last_digit() -> None:
    study, _ = renogram(SPECS["obstructed"], 2)
    one, other = (analysed(study, at=DAY) for _ in range(2))
    assert [f.to_json() for f in one.findings] == [f.to_json() for f in other.findings]


def test_verdicts_of_the_artificial_kidneys() -> None:
    clear = Circumstances(
        age_years=50, drained=Truth.MET, hydrated=Truth.MET, reflux=Truth.NOT_MET, emptied_s=2700.0
    )
    words = {}
    for name in ("normal", "dilated", "obstructed"):
        study, _ = renogram(SPECS[name], 9)
        kidney = analysed(study, clear, at=DAY).kidneys["left"]
        words[name] = (kidney.verdict, kidney.firm)
    assert words == {
        "normal": ("drains", Truth.MET),
        "dilated": ("drains", Truth.MET),
        "obstructed": ("impaired drainage", Truth.MET),
    }


def kidney(t: np.ndarray) -> np.ndarray:
    return np.asarray(2000 * np.where(t < 240, t / 240, 2.0 ** (-(t - 240) / 400)))


@pytest.mark.parametrize(
    ("study", "given", "says"),
    [
        (exact({"left": kidney}), Circumstances(), "no curve of the right kidney"),
        (
            exact({"left": kidney, "right": kidney}),
            Circumstances(single_kidney="left"),
            "only the left kidney is there",
        ),
        (
            exact({"left": kidney, "right": kidney}, frame_s=90.0),
            Circumstances(),
            "longer than 60 s",
        ),
    ],
)
def test_a_share_is_refused_and_why_is_said(
    study: Renogram, given: Circumstances, says: str
) -> None:
    found = analysed(study, given)
    assert found.share_left is None
    assert found.share_method == ""
    assert any(says in sentence for sentence in found.said)
    share = next(f for f in found.findings if f.name == "renogram-share-left")
    assert share.value is None
    assert any(says in caution for caution in share.cautions)


def test_a_dead_pair_of_kidneys_has_no_share() -> None:
    def background(t: np.ndarray) -> np.ndarray:
        return np.full(t.shape, 5.0)

    roles = ("left", "right", "left-background", "right-background")
    study = exact(dict.fromkeys(roles, background), pixels=dict.fromkeys(roles, 50.0))
    found = analysed(study)
    assert found.share_left is None
    assert any("took up nothing" in s or "told from nothing" in s for s in found.said)
    left = found.kidneys["left"]
    assert left.verdict == "cannot be judged"
    assert left.pattern == "no uptake that stands out of the noise"
    assert left.peak.time_s is None
    assert left.residuals == ()
    assert any("cannot be told from background" in s for s in found.said)


def test_input_that_cannot_be_used_is_refused() -> None:
    study = exact({"left": kidney, "right": kidney}, acquired="")
    with pytest.raises(InputError, match="no date"):
        analysed(study)
    with pytest.raises(InputError, match="no kidney's curve"):
        analysed(exact({"blood": kidney}))
    with pytest.raises(InputError, match="when the tracer was given"):
        analysed(exact({"left": kidney}, given_s=2390.0))
    with pytest.raises(InputError, match="date is not one"):
        analysed(replace(study, acquired="yesterday"))
    with pytest.raises(InputError, match="not a side"):
        Circumstances(single_kidney="both")
    with pytest.raises(InputError, match="emptying"):
        Circumstances(emptied_s=-1.0)
    with pytest.raises(InputError, match="years"):
        Circumstances(age_years=-1.0)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"view": "anterior"}, "Anterior view"),
        ({"view": "posterior"}, "Posterior view only"),
        ({"view": ""}, "from which side"),
        ({"tracer": ""}, "tracer is not stated"),
        ({"tracer": "DTPA"}, "this study used DTPA"),
        ({"furosemide_s": None}, "No furosemide is stated"),
        ({"decay_corrected": None}, ""),
    ],
)
def test_what_is_not_stated_is_said(changes: dict[str, Any], says: str) -> None:
    study = replace(exact({"left": kidney, "right": kidney}, furosemide_s=0.0), **changes)
    found = analysed(study)
    assert any(says in sentence for sentence in found.said) if says else "Nobody" in found.decay
    quiet = replace(study, view="geometric mean", tracer="MAG3", furosemide_s=0.0)
    if says:
        assert not any(says in sentence for sentence in analysed(quiet).said)


def test_person_and_weak_kidneys_are_said() -> None:
    study, _ = renogram(SPECS["poor"], 3)
    about = Circumstances(age_years=0.1, both_diseased=Truth.MET)
    said = " ".join(analysed(study, about, at=DAY).said)
    for sentence in ("Both kidneys are diseased", "immature", "under 20 %", "at most 2"):
        assert sentence in said


def test_timing_has_its_usual_name() -> None:
    study = exact({"left": kidney, "right": kidney})
    for after, name in ((1200.0, "F+20"), (0.0, "F0"), (-900.0, "F−15"), (None, "no furosemide")):
        found = analysed(replace(study, furosemide_s=after))
        assert found.timing.startswith(name)


def share_fact(percent: str, day: date) -> Fact:
    return Fact("split-function-left", Decimal(percent), "%", day, Origin("by hand"))


@pytest.mark.parametrize(
    ("earlier", "expected", "side"),
    [
        ("54.9", Truth.NOT_MET, ""),
        ("55.1", Truth.NOT_KNOWN, "left"),
        ("59.9", Truth.NOT_KNOWN, "left"),
        ("60.1", Truth.MET, "left"),
        ("39.9", Truth.MET, "right"),
    ],
)
def test_a_fall_between_studies(earlier: str, expected: Truth, side: str) -> None:
    study = exact({"left": kidney, "right": kidney})
    about = Circumstances(
        earlier_shares=(share_fact("10", date(2024, 1, 1)), share_fact(earlier, date(2025, 1, 1)))
    )
    found = next(f for f in renogram_findings(study, about) if f.name == "renogram-share-change")
    assert found.value is expected
    assert [f.at for f in found.facts] == [date(2025, 1, 1)]
    assert side in found.cautions[0]
    later = Circumstances(earlier_shares=(share_fact("10", date(2027, 1, 1)),))
    assert all(f.name != "renogram-share-change" for f in renogram_findings(study, later))


def test_findings_carry_unit_date_method_and_source() -> None:
    study, _ = renogram(replace(SPECS["dilated"], acquired="2026-03-04T10:30:00+01:00"), 5)
    fact = share_fact("50", DAY)
    result = analysed(study, Circumstances(emptied_s=2700.0, facts=(fact,)))
    names = [f.name for f in result.findings]
    assert len(names) == len(set(names))
    for ending in (
        "share-left",
        "share-right",
        "share-left-integral",
        "share-left-patlak",
        "methods-agree",
        "left-time-to-peak",
        "left-half-time",
        "left-residual-20-min",
        "left-residual-end-of-furosemide",
        "left-residual-after-emptying",
        "left-output-efficiency-20-min",
        "left-output-efficiency-30-min",
        "left-curve",
        "left-drainage",
        "right-drainage",
    ):
        assert f"renogram-{ending}" in names
    for finding in result.findings:
        assert finding.at == datetime.fromisoformat("2026-03-04T10:30:00+01:00")
        assert all(key in bibliography() for key in finding.method.sources)
        if isinstance(finding.value, float):
            assert finding.unit in {"%", "min", "1"}
            assert finding.interval is not None
            assert finding.interval[0] <= finding.value <= finding.interval[1]
    drainage = next(f for f in result.findings if f.name == "renogram-left-drainage")
    assert fact in drainage.all_facts
    assert any("not obstruction" in c for c in drainage.all_cautions)
    half = next(f for f in result.findings if f.name == "renogram-left-half-time")
    found = result.kidneys["left"].half_time.time_s
    assert found is not None
    assert half.value == pytest.approx(found.value / 60)
    shares = [f.value for f in result.findings[:2]]
    assert shares[0] + shares[1] == pytest.approx(100.0)  # type: ignore[operator]


def test_a_moment_without_zone_counts_as_its_day() -> None:
    study = exact({"left": kidney, "right": kidney}, acquired="2026-03-04T10:30:00")
    assert renogram_findings(study)[0].at == date(2026, 3, 4)
    other = exact({"left": kidney, "right": kidney}, acquired="")
    at = datetime(2026, 3, 5, 9, tzinfo=UTC)
    assert renogram_findings(other, at=at)[0].at == at


def test_frames_before_the_tracer_change_nothing() -> None:
    spec = replace(SPECS["normal"], phases=QUICK[:2])
    early, _ = renogram(replace(spec, before_s=30.0), 6)
    assert early.given_s == 30.0
    cut = Renogram(
        starts_s=early.starts_s[3:] - 30.0,
        durations_s=early.durations_s[3:],
        counts={role: c[3:] for role, c in early.counts.items()},
        pixels=early.pixels,
        decay_corrected=False,
    )
    one, other = analysed(early, at=DAY), analysed(cut, at=DAY)
    for first, second in zip(one.findings, other.findings, strict=True):
        if isinstance(first.value, float):
            assert first.value == pytest.approx(second.value, rel=1e-3)


def test_methods_that_differ_are_said() -> None:
    # A kidney that is mostly blood: the integral counts it, the line does not.
    spec = RenogramSpec(left=replace(HEALTHY, uptake_per_s=1.5e-4, blood=0.03), phases=QUICK[:2])
    found = analysed(renogram(spec, 1)[0], at=DAY)
    left = found.kidneys["left"]
    assert left.share_integral is not None
    assert left.share_patlak is not None
    assert left.share_integral.value > left.share_patlak.value + 5
    assert found.methods_agree is Truth.NOT_MET
    assert any("points apart" in s for s in found.said)


def test_drainage_names_what_would_make_it_firm_and_shares_what_is_usual() -> None:
    study, _ = renogram(SPECS["obstructed"], 12)
    about = Circumstances(age_years=50, hydrated=Truth.MET, emptied_s=2700.0)
    findings = {f.name: f for f in renogram_findings(study, about, at=DAY)}
    drainage = findings["renogram-left-drainage"]
    assert drainage.value == "impaired drainage"
    assert drainage.missing == ("renogram-drained", "renogram-reflux")
    assert any(c.startswith("Not firm") for c in drainage.cautions)
    assert findings["renogram-share-left"].cautions[0] == "Usual: 45 to 55 %."
