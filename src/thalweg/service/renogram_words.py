"""What a renogram says, in lines for people and in a stable shape for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from thalweg.assess.renogram.shown import kidney_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.assess.renogram.result import Estimate, KidneyResult, RenogramResult

__all__ = ["kidney_json", "result_json", "side_by_side"]

MINUTE_S: Final = 60.0


def _ends(estimate: Estimate | None, scale: float = 1.0) -> list[float] | None:
    return None if estimate is None else [each / scale for each in estimate.interval]


def _value(estimate: Estimate | None, scale: float = 1.0) -> float | None:
    return None if estimate is None else estimate.value / scale


def _minutes(window_s: tuple[float, float] | None) -> list[float] | None:
    return None if window_s is None else [edge / MINUTE_S for edge in window_s]


def kidney_json(one: KidneyResult) -> dict[str, Any]:
    """Return one kidney for programs; every number has its unit in its key."""
    half, plot = one.half_time, one.patlak
    return {
        "share_integral_percent": _value(one.share_integral),
        "share_integral_interval_percent": _ends(one.share_integral),
        "share_patlak_percent": _value(one.share_patlak),
        "share_patlak_interval_percent": _ends(one.share_patlak),
        "uptake_counts": _value(one.uptake),
        "peak_min": _value(one.peak.time_s, MINUTE_S),
        "peak_interval_min": _ends(one.peak.time_s, MINUTE_S),
        "peak_said": one.peak.said,
        "half_time_state": half.state,
        "half_time_after": half.after,
        "half_time_min": _value(half.time_s, MINUTE_S),
        "half_time_interval_min": _ends(half.time_s, MINUTE_S),
        "half_time_window_min": _minutes(half.window_s),
        "half_time_said": half.said,
        "residuals": [
            {
                "moment": each.moment,
                "at_min": each.at_s / MINUTE_S,
                "ratio": each.ratio.value,
                "ratio_interval": list(each.ratio.interval),
                "normal_p90_ratio": each.normal,
                "dilated_unobstructed_p90_ratio": each.dilated,
            }
            for each in one.residuals
        ],
        "output_efficiencies": [
            {
                "at_min": each.at_s / MINUTE_S,
                "efficiency_percent": each.percent.value,
                "efficiency_interval_percent": list(each.percent.interval),
            }
            for each in one.efficiencies
        ],
        "patlak": None
        if plot is None
        else {
            "slope_per_s": plot.slope,
            "slope_se_per_s": plot.slope_se,
            "intercept_ratio": plot.intercept,
            "intercept_se_ratio": plot.intercept_se,
            "window_min": _minutes(plot.window_s),
            "lack_of_fit_probability": plot.lack_of_fit,
            "curvature_probability": plot.curvature,
            "window_shortened": plot.shrunk,
        },
        "background": {
            "region": one.background.role or None,
            "area_ratio": one.background.factor,
            "kidney_to_background_ratio": one.background.kidney_to_background,
            "said": one.background.said,
        },
        "curve": {
            "middle_s": one.curve.middles_s.tolist(),
            "duration_s": one.curve.durations_s.tolist(),
            "rate_counts_per_s": one.curve.rate.tolist(),
            "rate_sd_counts_per_s": one.curve.sd.tolist(),
        },
        "pattern": one.pattern,
        "criteria": [
            {
                "key": each.key,
                "title": each.title,
                "speaks_for": each.speaks_for,
                "truth": each.truth.value,
                "said": each.said,
                "source": each.source,
            }
            for each in one.criteria
        ],
        "verdict": one.verdict,
        "circumstances_known": one.firm.value,
        "reasons": list(one.reasons),
    }


def result_json(result: RenogramResult) -> dict[str, Any]:
    """Return a whole study for programs, without its findings."""
    left = result.share_left
    return {
        "share_left_percent": _value(left),
        "share_left_interval_percent": _ends(left),
        "share_right_percent": None if left is None else 100.0 - left.value,
        "share_method": result.share_method or None,
        "methods_agree": result.methods_agree.value,
        "uptake_window_min": _minutes(result.uptake_window_s),
        "furosemide_min": None if result.furosemide_s is None else result.furosemide_s / MINUTE_S,
        "timing": result.timing,
        "decay": result.decay,
        "kidneys": {side: kidney_json(one) for side, one in result.kidneys.items()},
        "said": list(result.said),
    }


def side_by_side(kidneys: Iterable[KidneyResult]) -> Iterator[str]:
    """Yield one line for each thing known, with a column for each kidney."""
    columns = {one.side: dict(kidney_rows(one)) for one in kidneys}
    names = dict.fromkeys(name for rows in columns.values() for name in rows)
    wide = max(map(len, names), default=0)
    widths = {
        side: max(len(side), *(len(text) for text in rows.values()))
        for side, rows in columns.items()
    }
    yield f"{'':{wide}}  " + "  ".join(f"{side:{widths[side]}}" for side in columns).rstrip()
    for name in names:
        cells = "  ".join(f"{rows.get(name, '—'):{widths[side]}}" for side, rows in columns.items())
        yield f"{name:{wide}}  {cells}".rstrip()
