"""By what a pooled figure is reached, and the rules that a unit may replace."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from thalweg.errors import InputError
from thalweg.evidence.protocol import Rules, merged
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["METHODS", "METHODS_TABLE", "PoolSettings", "pool_settings"]

METHODS_TABLE: Final = "pooling-methods"
"""Name of the table in a unit's protocol."""

NO_PERSON: Final = (
    "A pooled figure speaks of series, not of the person: look at who was in them.",
    "It is that of a middling place, not the mean of all people; half of all places lie above it.",
)
_LOGIT: Final = (
    "logit of each series' share with variance 1/events + 1/non-events; weights 1/(variance + "
    "tau2); 95 % interval by Student's t with k - 1 degrees of freedom and Knapp and Hartung's "
    "variance, never narrower than the plain one; range for a further place: t(k - 1) times the "
    "root of tau2 + standard error squared; tau2 by "
)
_LOGIT_SOURCES: Final = ("rover-2015", "hartung-knapp-2001", "inthout-2016", "veroniki-2016")
_LOGIT_VALID: Final = "two series or more that count one outcome one way, each with enough events"

POOLED_REML: Final = Method(
    key="pooled-share-reml",
    title="pooled share, restricted maximum likelihood",
    formula=f"{_LOGIT}restricted maximum likelihood",
    valid_for=_LOGIT_VALID,
    sources=("viechtbauer-2005", "cochrane-random-effects-2024", *_LOGIT_SOURCES),
    cautions=NO_PERSON,
)
POOLED_PM: Final = Method(
    key="pooled-share-pm",
    title="pooled share, Paule and Mandel",
    formula=f"{_LOGIT}Paule and Mandel's equation: weighted scatter = k - 1",
    valid_for=_LOGIT_VALID,
    sources=("paule-mandel-1982", *_LOGIT_SOURCES),
    cautions=NO_PERSON,
)
POOLED_DL: Final = Method(
    key="pooled-share-dl",
    title="pooled share, DerSimonian and Laird",
    formula=f"{_LOGIT}DerSimonian and Laird's (Q - (k - 1)) / (sum w - sum w2 / sum w), at least 0",
    valid_for=_LOGIT_VALID,
    sources=("dersimonian-laird-1986", *_LOGIT_SOURCES),
    cautions=(*NO_PERSON, "This estimator takes heterogeneity too low where there is much of it."),
)
POOLED_EXACT: Final = Method(
    key="pooled-share-exact",
    title="pooled share from the counts themselves",
    formula=(
        "maximum likelihood of binomial counts whose true logits are normal (mu, tau), by adaptive "
        "Gauss-Hermite quadrature with 41 nodes; 95 % interval: mu plus and minus t(k - 1) "
        "standard errors from the observed information; interval of tau: profile likelihood"
    ),
    valid_for="two series or more that count one outcome one way, however rare the event",
    sources=("stijnen-2010", "lin-chu-2020", "inthout-2016"),
    cautions=(
        *NO_PERSON,
        "Maximum likelihood takes heterogeneity a little too low with few series.",
    ),
)
SINGLE_COUNT: Final = Method(
    key="single-share",
    title="share of one count, exact interval",
    formula="events / total; interval by Clopper and Pearson's quantiles of the beta distribution",
    valid_for="one count, or several that all have nobody, or everybody, with the event",
    sources=("clopper-pearson-1934",),
    cautions=("The interval knows of chance only, not of how people were chosen.",),
)
METHODS: Final = {
    "reml": POOLED_REML,
    "pm": POOLED_PM,
    "dl": POOLED_DL,
    "exact": POOLED_EXACT,
    "one": SINGLE_COUNT,
}
"""Every way, by the word that names it in commands and answers."""


@dataclass(frozen=True, slots=True)
class PoolSettings:
    """The rules of pooling as numbers.

    Parameters
    ----------
    least_events : float
        Fewer events, or non-events, than this in any series, seen or expected: counts themselves
        are pooled.
    i2_percent : float
        Share of the scatter beyond chance from which series differ considerably.
    width_points, odds_factor : float
        Width of the range for a further place at which the pooled figure then says little:
        percentage points, or odds of the upper end over those of the lower.
    least_series : int
        Fewer are shown one by one on a person's pages.
    least_for_prediction : int
        Fewer give no range for a further place.
    least_for_small : int
        Fewer are not looked at for small ones.
    small_alpha : float
        A chance below this is mentioned in that look.
    notice : str
        Which rules the unit replaced, or empty.
    """

    least_events: float
    i2_percent: float
    width_points: float
    odds_factor: float
    least_series: int
    least_for_prediction: int
    least_for_small: int
    small_alpha: float
    notice: str = ""


@cache
def _ours() -> Mapping[str, Any]:
    page = files("thalweg.evidence").joinpath("data/pooling-methods.toml")
    return tomllib.loads(page.read_text(encoding="utf-8"))


def pool_settings(theirs: Mapping[str, Any] | None = None) -> PoolSettings:
    """Return the rules of pooling, a unit's own rows in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        Its parsed ``pooling-methods.toml``.

    Raises
    ------
    InputError
        If a row is unknown, names no source, or a number is missing or out of range.
    """
    return _read(theirs) if theirs else _packaged()


@cache
def _packaged() -> PoolSettings:
    return _read({})


def _read(theirs: Mapping[str, Any]) -> PoolSettings:
    rules = merged(METHODS_TABLE, _ours(), theirs)
    if strange := sorted(set(rules.rows) - set(_ours())):
        raise InputError(
            f"{strange[0]!r} is not a rule of pooling",
            where=f"protocol {METHODS_TABLE}.toml",
            mend=f"use {' or '.join(_ours())}",
        )
    return PoolSettings(
        _number(rules, "sparse", "least_events", 0, 1e6),
        _number(rules, "differ", "i2_percent", 0, 100),
        _number(rules, "differ", "width_points", 0, 100),
        _number(rules, "differ", "odds_factor", 1, 1e12),
        int(_number(rules, "speaks", "least_series", 1, 1e6)),
        int(_number(rules, "new-setting", "least_series", 2, 1e6)),
        int(_number(rules, "small-series", "least_series", 4, 1e6)),
        _number(rules, "small-series", "alpha", 0, 1),
        rules.notice,
    )


def _number(rules: Rules, key: str, name: str, low: float, high: float) -> float:
    value = rules.rows[key].get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InputError(
            f"{name} is not a number from {low:g} to {high:g}",
            where=f"protocol {METHODS_TABLE}.toml [{key}]",
            mend=f"write {name} as such a number",
        )
    return float(value)
