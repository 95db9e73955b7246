"""The kidney equations once more, as sums of logarithms to 50 digits with mpmath.

Written from the publications named beside each, in another form than the package's (log-linear,
tables of log-coefficients), so that a slip in one is not repeated in the other.
"""

from __future__ import annotations

from typing import Any

import mpmath

CONTEXT = mpmath.mp.clone()
CONTEXT.dps = 50


def _number(value: float | str) -> Any:
    return CONTEXT.mpf(value)


def _log_linear(terms: list[tuple[str, Any]], scale: str) -> Any:
    """Return scale × Π base^exponent, for decimal bases written as text."""
    total = CONTEXT.log(_number(scale))
    for base, exponent in terms:
        total += exponent * CONTEXT.log(_number(base))
    return CONTEXT.exp(total)


def _two_slopes(value: float, knot: str, below: str, above: str) -> Any:
    """Return log of the spline factor."""
    distance = CONTEXT.log(_number(value)) - CONTEXT.log(_number(knot))
    return (_number(below) if distance < 0 else _number(above)) * distance


def ckd_epi_2021_creatinine(creatinine: float, age: float, sex: str) -> float:
    """Inker LA et al. N Engl J Med 2021;385:1737; coefficients of the NKF page of the equation."""
    knot, below = ("0.7", "-0.241") if sex == "female" else ("0.9", "-0.302")
    spline = _two_slopes(creatinine, knot, below, "-1.200")
    terms = [("0.9938", _number(age))] + ([("1.012", 1)] if sex == "female" else [])
    return float(_log_linear(terms, "142") * CONTEXT.exp(spline))


def ckd_epi_2009_creatinine(creatinine: float, age: float, sex: str) -> float:
    """Levey AS et al. Ann Intern Med 2009;150:604, without race; as in R's nephro."""
    knot, below = ("0.7", "-0.329") if sex == "female" else ("0.9", "-0.411")
    spline = _two_slopes(creatinine, knot, below, "-1.209")
    terms = [("0.993", _number(age))] + ([("1.018", 1)] if sex == "female" else [])
    return float(_log_linear(terms, "141") * CONTEXT.exp(spline))


def ckd_epi_2012_cystatin(cystatin: float, age: float, sex: str) -> float:
    """Inker LA et al. N Engl J Med 2012;367:20."""
    spline = _two_slopes(cystatin, "0.8", "-0.499", "-1.328")
    terms = [("0.996", _number(age))] + ([("0.932", 1)] if sex == "female" else [])
    return float(_log_linear(terms, "133") * CONTEXT.exp(spline))


def ckd_epi_2021_both(creatinine: float, cystatin: float, age: float, sex: str) -> float:
    """Inker LA et al. N Engl J Med 2021;385:1737, combined equation."""
    knot, below = ("0.7", "-0.219") if sex == "female" else ("0.9", "-0.144")
    spline = _two_slopes(creatinine, knot, below, "-0.544")
    spline += _two_slopes(cystatin, "0.8", "-0.323", "-0.778")
    terms = [("0.9961", _number(age))] + ([("0.963", 1)] if sex == "female" else [])
    return float(_log_linear(terms, "135") * CONTEXT.exp(spline))


# Rows of Pierce CB et al. Kidney Int 2021;99:948: from age, K at the anchor, growth, anchor age.
_U25: dict[tuple[str, str], list[tuple[int, str, str, int]]] = {
    ("creatinine", "male"): [(1, "39.0", "1.008", 12), (12, "39.0", "1.045", 12)],
    ("creatinine", "female"): [(1, "36.1", "1.008", 12), (12, "36.1", "1.023", 12)],
    ("cystatin", "male"): [(1, "87.2", "1.011", 15), (15, "87.2", "0.960", 15)],
    ("cystatin", "female"): [(1, "79.9", "1.004", 12), (12, "79.9", "0.974", 12)],
}
_U25_GROWN = {
    ("creatinine", "male"): "50.8",
    ("creatinine", "female"): "41.4",
    ("cystatin", "male"): "77.1",
    ("cystatin", "female"): "68.3",
}


def u25(marker: str, value: float, age: float, sex: str, height_m: float = 1.0) -> float:
    """Pierce CB et al. Kidney Int 2021;99:948: K × height / creatinine, or K / cystatin C."""
    if age >= 18:
        rate = _number(_U25_GROWN[marker, sex])
    else:
        rows = [row for row in _U25[marker, sex] if age >= row[0]]
        _, scale, growth, anchor = rows[-1]
        rate = _log_linear([(growth, _number(age) - anchor)], scale)
    return float(rate * _number(height_m) / _number(value))
