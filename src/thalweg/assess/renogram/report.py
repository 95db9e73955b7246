"""A renogram's results as findings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.assess.renogram.amounts import OUTPUT_EFFICIENCY, RESIDUAL
from thalweg.assess.renogram.judge import DRAINAGE
from thalweg.assess.renogram.pattern import CURVE_SHAPE
from thalweg.assess.renogram.peak import TIME_TO_PEAK
from thalweg.assess.renogram.share import SHARE_INTEGRAL, SHARE_PATLAK
from thalweg.assess.renogram.shares import other
from thalweg.assess.renogram.washout import HALF_TIME
from thalweg.assess.rules import number
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.renogram.circumstances import Circumstances
    from thalweg.assess.renogram.result import Estimate, KidneyResult, RenogramResult
    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Moment

__all__ = ["METHODS_AGREE", "SHARE_CHANGE", "findings_of"]

MIN = 60.0
METHODS_AGREE = Method(
    key="renogram-methods-agree",
    title="do both methods give one share?",
    formula="|share by Rutland–Patlak − share by integral| ≤ 5 points",
    valid_for="a study with a blood region",
    sources=("thalweg-engineering", "prigent-1999"),
)
SHARE_CHANGE = Method(
    key="renogram-share-change",
    title="has a kidney's share fallen?",
    formula="share now − share before: met where a side fell by more than 10 points, not known "
    "from 5 to 10",
    valid_for="two renograms done alike",
    sources=("eau-paediatric-hydronephrosis", "thalweg-engineering"),
    cautions=("Repeats differ by some 5 points without any change in the kidney.",),
)


def _of(side: str, kidney: KidneyResult, moment: Moment, given: Circumstances) -> list[Finding]:
    rows: list[Finding] = []

    def add(
        name: str,
        title: str,
        found: Estimate | None,
        unit: str,
        method: Method,
        said: str,
        *,
        scale: float = 1.0,
        digits: int = 1,
    ) -> None:
        rows.append(
            Finding(
                name=f"renogram-{side}-{name}",
                title=f"{title}, {side} kidney",
                value=None if found is None else found.value / scale,
                unit=unit,
                at=moment,
                method=method,
                facts=given.facts,
                interval=None
                if found is None
                else (found.interval[0] / scale, found.interval[1] / scale),
                cautions=(said,) if said else (),
                digits=digits,
            )
        )

    add("time-to-peak", "Time to peak", kidney.peak.time_s, "min", TIME_TO_PEAK,
        kidney.peak.said, scale=MIN)  # fmt: skip
    half = kidney.half_time
    title = f"Half-time after {'furosemide' if half.after == 'furosemide' else 'its peak'}"
    add("half-time", title, half.time_s, "min", HALF_TIME, half.said, scale=MIN)
    for residual in kidney.residuals:
        name = f"residual-{residual.moment.replace(' ', '-')}"
        said = (
            f"90th percentile of normal kidneys {residual.normal:g}, of dilated unobstructed ones "
            f"{residual.dilated:g}."
        )
        add(name, f"Residual activity, {residual.moment}", residual.ratio, "1", RESIDUAL, said,
            digits=2)  # fmt: skip
    for efficiency in kidney.efficiencies:
        minutes = round(efficiency.at_s / MIN)
        add(f"output-efficiency-{minutes}-min", f"Output efficiency at {minutes} min",
            efficiency.percent, "%", OUTPUT_EFFICIENCY, "", digits=0)  # fmt: skip
    rows.append(
        Finding(
            name=f"renogram-{side}-curve",
            title=f"Shape of the curve, {side} kidney",
            value=kidney.pattern,
            unit=None,
            at=moment,
            method=CURVE_SHAPE,
            facts=given.facts,
        )
    )
    return rows


def _drainage(side: str, kidney: KidneyResult, below: list[Finding], moment: Moment) -> Finding:
    firm = {
        Truth.MET: "",
        Truth.NOT_KNOWN: "Not firm: a circumstance that could mislead was not stated.",
        Truth.NOT_MET: "Not firm: a circumstance that can mislead holds.",
    }[kidney.firm]
    judged = kidney.verdict in {"drains", "impaired drainage"}
    cautions = tuple(dict.fromkeys([*((firm,) if firm and judged else ()), *kidney.reasons]))
    return Finding(
        name=f"renogram-{side}-drainage",
        title=f"Drainage, {side} kidney",
        value=kidney.verdict,
        unit=None,
        at=moment,
        method=DRAINAGE,
        findings=tuple(below),
        cautions=cautions,
        missing=kidney.missing,
    )


def _share(
    name: str, title: str, found: Estimate | None, method: Method, moment: Moment,
    given: Circumstances, said: tuple[str, ...],
) -> Finding:  # fmt: skip
    return Finding(
        name=name,
        title=title,
        value=None if found is None else found.value,
        unit="%",
        at=moment,
        method=method,
        facts=given.facts,
        interval=None if found is None else found.interval,
        cautions=said if found is not None else (said or ("It could not be computed.",)),
        digits=0,
    )


def _shares(
    result: RenogramResult, moment: Moment, given: Circumstances, rules: Rules
) -> list[Finding]:
    left, right = result.kidneys.get("left"), result.kidneys.get("right")
    method = SHARE_PATLAK if result.share_method == "Rutland–Patlak" else SHARE_INTEGRAL
    share = result.share_left
    normal = (
        f"Usual: {number(rules, 'share-normal', 'low'):g} to "
        f"{number(rules, 'share-normal', 'high'):g} %."
    )
    rows = [
        _share(f"renogram-share-{side}", f"Share of function, {side} kidney", one, method, moment,
               given, result.said if share is None else (normal, *result.said))
        for side, one in (("left", share), ("right", other(share)))
    ]  # fmt: skip
    if left is None or right is None:
        return rows
    rows += [
        _share(f"renogram-share-left-{key}", f"Left kidney's share by {word}", one, how, moment,
               given, ())
        for key, word, one, how in (
            ("integral", "the integral", left.share_integral, SHARE_INTEGRAL),
            ("patlak", "Rutland–Patlak", left.share_patlak, SHARE_PATLAK),
        )
    ]  # fmt: skip
    rows.append(
        Finding(
            name="renogram-methods-agree",
            title="Both methods give one share",
            value=result.methods_agree,
            unit=None,
            at=moment,
            method=METHODS_AGREE,
            findings=tuple(rows[-2:]),
            cautions=()
            if result.methods_agree is not Truth.NOT_KNOWN
            else ("One of the two could not be computed.",),
        )
    )
    return rows


def _change(
    result: RenogramResult, moment: Moment, given: Circumstances, rules: Rules, share: Finding
) -> list[Finding]:
    earlier = [f for f in given.earlier_shares if day_of(f.at) < day_of(moment)]
    if not earlier or result.share_left is None:
        return []
    before = youngest(earlier)
    moved = result.share_left.value - amount(before, "%")
    side = "left" if moved < 0 else "right"
    sure = number(rules, "share-change", "points")
    maybe = number(rules, "share-change", "doubtful_points")
    fall = abs(moved)
    value = Truth.MET if fall > sure else Truth.NOT_KNOWN if fall > maybe else Truth.NOT_MET
    said = f"The {side} kidney's share fell by {fall:.0f} points since {day_of(before.at)}."
    if value is Truth.NOT_MET:
        said = f"Changed by {moved:+.0f} points since {day_of(before.at)}: within what repeats do."
    return [
        Finding(
            name="renogram-share-change",
            title=f"Fall of a share by more than {sure:g} points",
            value=value,
            unit=None,
            at=moment,
            method=SHARE_CHANGE,
            facts=(before,),
            findings=(share,),
            cautions=(said,),
        )
    ]


def findings_of(
    result: RenogramResult, given: Circumstances, rules: Rules, moment: Moment
) -> tuple[Finding, ...]:
    """Return a result's findings.

    Returns
    -------
    tuple of Finding
        ``renogram-share-left`` and ``-right`` (the method relied on),
        ``renogram-share-left-integral`` and ``-patlak``, ``renogram-methods-agree``,
        ``renogram-share-change`` where an earlier share is known; for each side
        ``renogram-SIDE-time-to-peak``, ``-half-time``, ``-residual-…``, ``-output-efficiency-…``,
        ``-curve`` and ``-drainage``.
    """
    rows = _shares(result, moment, given, rules)
    rows += _change(result, moment, given, rules, rows[0])
    for side, kidney in result.kidneys.items():
        below = _of(side, kidney, moment, given)
        rows += [*below, _drainage(side, kidney, below, moment)]
    return tuple(rows)
