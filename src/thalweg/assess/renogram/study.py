"""A renogram from counts to result."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.renogram.amounts import efficiencies_of, no_output, residuals_of
from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.draws import drawn
from thalweg.assess.renogram.frames import continuous_until
from thalweg.assess.renogram.judge import criteria_of, doubts_of, verdict_of
from thalweg.assess.renogram.pattern import shape_of
from thalweg.assess.renogram.peak import peak_of
from thalweg.assess.renogram.report import findings_of
from thalweg.assess.renogram.result import Curve, Efficiency, KidneyResult, RenogramResult
from thalweg.assess.renogram.rules import renogram_rules
from thalweg.assess.renogram.sayings import decay_said, study_said, timing_of
from thalweg.assess.renogram.shares import Shares, other, shares_of
from thalweg.assess.renogram.smooth import Smoother, smoother
from thalweg.assess.renogram.washout import half_time_of, stretch_of
from thalweg.assess.rules import number
from thalweg.errors import InputError
from thalweg.record.renogram import KIDNEYS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.assess.renogram.draws import Draws
    from thalweg.assess.renogram.result import Side
    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Moment
    from thalweg.record.finding import Finding
    from thalweg.record.renogram import Renogram

__all__ = ["analysed", "renogram_findings"]

LEAST_FRAMES = 8
NARROWER = 0.6


@dataclass(frozen=True, eq=False)
class _Span:
    """The continuous study: its end after the tracer, and what smooths it."""

    ends_s: float
    smooth: Smoother
    narrow: Smoother


def _span(study: Renogram, given: Circumstances, rules: Rules) -> _Span:
    ends = continuous_until(study, number(rules, "gap", "longest_s"), given.emptied_s)
    begins = number(rules, "peak", "from_s")
    middles, durations = study.middles_s, study.durations_s
    inside = int(((middles >= begins) & (middles <= ends)).sum())
    if inside < LEAST_FRAMES:
        raise InputError(
            f"only {inside} frames lie between {begins:g} s after the tracer and the end of the "
            "continuous study",
            mend="check when the tracer was given and when the bladder was emptied",
        )
    return _Span(
        ends,
        smoother(middles, durations, begins, ends),
        smoother(middles, durations, begins, ends, narrower=NARROWER),
    )


def _moment(acquired: str) -> Moment | None:
    """Return the study's moment; a time without zone counts as its day."""
    if not acquired:
        return None
    try:
        at = datetime.fromisoformat(acquired)
    except ValueError as error:
        raise InputError("the renogram's date is not one", mend="give it as YYYY-MM-DD") from error
    return at if at.tzinfo is not None else date(at.year, at.month, at.day)


def _usable(study: Renogram) -> None:
    if not any(side in study.counts for side in KIDNEYS):
        raise InputError("the renogram has no kidney's curve", mend="draw a region: left or right")


def analysed(
    study: Renogram,
    given: Circumstances | None = None,
    rules: Rules | None = None,
    *,
    at: Moment | None = None,
) -> RenogramResult:
    """Return all that a renogram's curves say.

    Parameters
    ----------
    study : Renogram
    given : Circumstances, optional
        What is known beside the curves; default: nothing.
    rules : Rules, optional
        Windows, doubts and criteria; default: ours.
    at : date or aware datetime, optional
        The study's moment where its file does not say.

    Raises
    ------
    InputError
        No kidney's curve, too few frames after the tracer, or no date.
    """
    given, rules = given or Circumstances(), rules or renogram_rules()
    _usable(study)
    moment = _moment(study.acquired) or at
    if moment is None:
        raise InputError("the renogram has no date", mend="give the day it was acquired")
    found = drawn(study, rules)
    shares = shares_of(study, found, given, rules)
    span = _span(study, given, rules)
    sides: tuple[Side, ...] = ("left", "right")
    kidneys = {
        side: _kidney(side, study, found, shares, span, given, rules)
        for side in sides
        if side in study.counts
    }
    lacking = [said for _, said in kidneys.values()]
    result = RenogramResult(
        kidneys={side: kidney for side, (kidney, _) in kidneys.items()},
        uptake_window_s=shares.window_s,
        share_left=shares.relied,
        share_method=shares.method,
        methods_agree=shares.agree,
        furosemide_s=study.furosemide_s,
        timing=timing_of(study.furosemide_s),
        decay=decay_said(study),
        said=(
            *shares.said,
            *dict.fromkeys(sentence for said in lacking for sentence in said),
            *study_said(study, given, shares.relied, found, rules),
        ),
        findings=(),
    )
    return replace(result, findings=findings_of(result, given, rules, moment))


def renogram_findings(
    study: Renogram,
    given: Circumstances | None = None,
    rules: Rules | None = None,
    *,
    at: Moment | None = None,
) -> tuple[Finding, ...]:
    """Return the findings of `analysed`, same arguments and errors."""
    return analysed(study, given, rules, at=at).findings


def _kidney(
    side: Side,
    study: Renogram,
    found: Draws,
    shares: Shares,
    span: _Span,
    given: Circumstances,
    rules: Rules,
) -> tuple[KidneyResult, tuple[str, ...]]:
    """Return one kidney, and sentences on what could not be measured."""
    rates, variance = found.kidneys[side], found.variance[side]
    safe = np.maximum(variance, 1.0 / study.durations_s**2)
    middles = study.middles_s
    ends, smooth, narrow = span.ends_s, span.smooth, span.narrow
    stretch = stretch_of(smooth, rates[0], study.furosemide_s, rules)
    half = half_time_of(stretch, smooth, middles, rates, safe, rules)
    residuals, lacking = residuals_of(study, rates, ends, given.emptied_s, rules)
    held, efficiencies = _output(side, study, found, shares, ends, rules)
    curves = smooth(rates)
    shape = shape_of(smooth, curves, safe, study.furosemide_s, rules)
    criteria = criteria_of(half, shape, residuals, efficiencies, rules)
    share = shares.relied if side == "left" else other(shares.relied)
    ratio = found.backgrounds[side].kidney_to_background
    doubts = doubts_of(given, share, ratio, rules)
    furosemide = study.furosemide_s is not None and study.furosemide_s < ends
    verdict = verdict_of(criteria, doubts, furosemide, rules)
    line = shares.lines.get(side)
    by_side = (lambda one: one) if side == "left" else other
    result = KidneyResult(
        side=side,
        curve=Curve(
            middles_s=middles,
            durations_s=study.durations_s,
            rate=rates[0],
            sd=np.hypot(np.sqrt(variance), found.background_sd[side]),
            background=found.taken_off[side],
        ),
        background=found.backgrounds[side],
        uptake=shares.uptakes.get(side),
        share_integral=by_side(shares.integral),
        share_patlak=by_side(shares.patlak),
        patlak=line.line if line is not None else None,
        peak=peak_of(smooth, curves, narrow, rates[0], np.sqrt(safe)),
        half_time=half,
        residuals=residuals,
        efficiencies=efficiencies,
        no_output=held,
        pattern=shape.words,
        criteria=criteria,
        verdict=verdict.words,
        firm=verdict.firm,
        reasons=verdict.reasons,
        missing=verdict.missing,
    )
    return result, lacking


def _output(
    side: str, study: Renogram, found: Draws, shares: Shares, ends: float, rules: Rules
) -> tuple[NDArray[np.float64] | None, tuple[Efficiency, ...]]:
    line = shares.lines.get(side)
    if line is None or found.blood is None or line.line.slope <= 0:
        return None, ()
    held, own = no_output(study, found.blood, line)
    minutes = (20.0, number(rules, "efficiency-high", "at_min"))
    return held[0], efficiencies_of(study, found.kidneys[side], held, own, minutes, ends)
