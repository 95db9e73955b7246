"""A renogram's figures as a person reads them: number, interval and unit, side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.assess.renogram.result import (
        Estimate,
        HalfTime,
        KidneyResult,
        RenogramResult,
        Residual,
    )

__all__ = ["cautions_shown", "kidney_rows", "said_of_drainage", "share_line", "spread"]

MINUTE_S: Final = 60.0
FIRM: Final = {
    Truth.MET: "",
    Truth.NOT_KNOWN: " (circumstances not all stated)",
    Truth.NOT_MET: " (with a circumstance that can mislead)",
}
"""How far a verdict can be relied on."""

AGREEMENT: Final = {
    Truth.MET: "both methods agree",
    Truth.NOT_MET: "THE TWO METHODS DISAGREE",
    Truth.NOT_KNOWN: "no second method to check it",
}


def spread(estimate: Estimate | None, *, digits: int = 0, scale: float = 1.0, unit: str) -> str:
    """Return a number with interval and unit as a person reads it; ``"—"`` where there is none."""
    if estimate is None:
        return "—"
    value, low, high = (each / scale for each in (estimate.value, *estimate.interval))
    return f"{value:.{digits}f} {unit} ({low:.{digits}f} to {high:.{digits}f})".replace("  ", " ")


def share_line(result: RenogramResult) -> str:
    """Return the study's main answer in one line."""
    if result.share_left is None:
        return "Left kidney's share: not known."
    share = spread(result.share_left, unit="%")
    return (
        f"Left kidney's share: {share} by {result.share_method}; {AGREEMENT[result.methods_agree]}."
    )


def kidney_rows(one: KidneyResult) -> list[tuple[str, str]]:
    """Return what is known of one kidney, each with its name; names are those of both kidneys.

    Parameters
    ----------
    one : KidneyResult
    """
    rows = [
        ("share, integral", spread(one.share_integral, unit="%")),
        ("share, Rutland–Patlak", spread(one.share_patlak, unit="%")),
        ("peak", _peak(one)),
        ("half-time", _half_time(one.half_time)),
    ]
    rows += [(f"residual, {each.moment}", _residual(each)) for each in one.residuals]
    rows += [
        (f"output efficiency, {each.at_s / MINUTE_S:.0f} min", spread(each.percent, unit="%"))
        for each in one.efficiencies
    ]
    return [*rows, ("curve", one.pattern), ("drainage", one.verdict + FIRM[one.firm])]


def _peak(one: KidneyResult) -> str:
    found = one.peak.time_s
    return "none" if found is None else spread(found, digits=1, scale=MINUTE_S, unit="min")


def _half_time(half: HalfTime) -> str:
    words: str = half.state
    if half.state == "reached":
        words = spread(half.time_s, digits=1, scale=MINUTE_S, unit="min")
    return words if half.state == "not looked for" else f"{words}, after {half.after}"


def _residual(one: Residual) -> str:
    against = "" if one.normal is None else f"; normal to {one.normal:.2f}"
    return f"{spread(one.ratio, digits=2, unit='')}{against}"


def said_of_drainage(kidneys: Iterable[KidneyResult]) -> Iterator[str]:
    """Yield what each verdict rests on, and once for both what holds of both."""
    every = list(kidneys)
    common = [reason for reason in every[0].reasons if all(reason in one.reasons for one in every)]
    for one in every:
        own = [reason for reason in one.reasons if reason not in common or len(every) == 1]
        silent = [one.half_time.said] if one.half_time.time_s is None else []
        for reason in (*own, *silent):
            yield f"{one.side.capitalize()}: {reason}"
    if len(every) > 1:
        yield from (f"Both: {reason}" for reason in common)


def cautions_shown(result: RenogramResult, own: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the cautions a page carries: those of study and methods, each once.

    What a finding says of its own value stands beside the value, not here.
    """
    methods = [caution for one in result.findings for caution in one.method.cautions]
    return tuple(dict.fromkeys((*own, *result.said, *methods)))
