"""The rates of every option, from the rules in ``lifecourse.toml`` and the published series."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from thalweg.errors import InputError
from thalweg.evidence.pool_groups import pool_rules
from thalweg.evidence.protocol import Rules, merged
from thalweg.evidence.series import published
from thalweg.plan.lifecourse.quantity import Basis, Quantity, certain, ranged
from thalweg.plan.lifecourse.rates import (
    Burden,
    EarlyEvent,
    GfrChange,
    LateEvent,
    OptionRates,
    Rates,
    Tube,
)
from thalweg.plan.lifecourse.series_rates import Evidence, rate_of, share_of
from thalweg.plan.lifecourse.shape import EVEN, Shape

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from thalweg.evidence.series import Series

__all__ = ["LIFECOURSE_TABLE", "basis_of", "life_rules", "rates_for"]

LIFECOURSE_TABLE = "lifecourse"
PARTS = ("setting", "shape", "event", "amount", "gfr", "tube", "bag", "profile", "excess")
NO_SERIES = "no series that was read gives it for this diversion with the time it took"


@cache
def _ours() -> Mapping[str, Mapping[str, Any]]:
    page = files("thalweg.plan").joinpath("data/lifecourse.toml").read_text(encoding="utf-8")
    return _flat(tomllib.loads(page))


def _flat(table: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {f"{part}.{key}": row for part, rows in table.items() for key, row in rows.items()}


def life_rules(theirs: Mapping[str, Any] | None = None) -> Rules:
    """Return the rules of the life course, a unit's own rows in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        A unit's parsed ``lifecourse.toml``.

    Raises
    ------
    InputError
        If a part or row is not one of the form, or names no source.
    """
    for part, rows in (theirs or {}).items():
        if part not in PARTS or not isinstance(rows, dict):
            raise InputError(
                f"{part!r} is not a part of the life course",
                where="protocol lifecourse.toml",
                mend=f"use [{'.…], ['.join(PARTS)}.…]",
            )
    rules = merged("life course", _ours(), _flat(theirs or {}))
    # A row that cannot be read is refused here, by name, not while lives are lived.
    for key in rules.replaced:
        try:
            _readable(key, rules)
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(
                f"[{key}] cannot be used ({type(error).__name__}: {error})",
                where="protocol lifecourse.toml",
                mend="give it the keys and numbers that ours has",
            ) from error
    return rules


def _readable(key: str, rules: Rules) -> None:
    part, _, name = key.partition(".")
    if part == "shape":
        _shape(name, rules)
    elif part == "amount":
        _amount(name, rules)
    elif part == "event":
        row = rules.rows[key]
        if row["counted"] not in {"death", "early", "once", "again"}:
            raise ValueError(row["counted"])
        _ = [(one["events"] / one["n"], one["follow_up_months"]) for one in row.get("counts", ())]
    elif part == "gfr":
        row = rules.rows[key]
        _ = float(row["percent"]), float(row["sd_percent"]), float(row["years"])


def basis_of(key: str, rules: Rules) -> Basis:
    """Return what a row of the rules rests on."""
    row = rules.rows[key]
    says = (row["note"],) if row.get("note") else ()
    if key in rules.replaced:
        # Ours stands for the way; the unit's own words say where the number is from.
        return Basis(("thalweg-engineering",), local=str(row["source"]), says=says)
    source = row["source"]
    return Basis((source,) if isinstance(source, str) else tuple(source), says=says)


def _shape(name: str, rules: Rules) -> Shape:
    row = rules.rows[f"shape.{name}"]
    return Shape(tuple(row["years"]), tuple(row["summed"]), float(row["then_per_year"]))


def _amount(name: str, rules: Rules) -> Quantity:
    row, basis = rules.rows[f"amount.{name}"], basis_of(f"amount.{name}", rules)
    low, high = float(row["low"]), float(row["high"])
    if low == high:
        return certain(name, low, basis)
    return ranged(row.get("doubt", name), low, high, basis, middle=row.get("middle"))


def _for(part: str, diversion: str, rules: Rules) -> str | None:
    """Return the key of the part's row for a diversion; a unit's own goes first."""
    keys = [
        key
        for key, row in rules.rows.items()
        if key.startswith(f"{part}.") and diversion in row["diversions"]
    ]
    own = [key for key in keys if key in rules.replaced]
    return next(iter((*own, *keys)), None)


@dataclass(frozen=True)
class _Maker:
    """Makes one option's rates, and collects what is not known."""

    diversion: str
    rules: Rules
    evidence: Evidence
    missing: dict[str, str]

    def row(self, name: str) -> Mapping[str, Any]:
        """Return an event's row."""
        return self.rules.rows[f"event.{name}"]

    def early(self, name: str) -> EarlyEvent | None:
        """Return an event of the first days, or note that it is not known."""
        row = self.row(name)
        share = share_of(name, row, self.diversion, self.evidence)
        if share is None:
            self.missing[name] = f"{row['name']}: {NO_SERIES}"
            return None
        return EarlyEvent(name, row["name"], share)

    def late(self, name: str) -> LateEvent | None:
        """Return an event over time, or note that it is not known."""
        row = self.row(name)
        shape = _shape(row["shape"], self.rules) if "shape" in row else EVEN
        rate = rate_of(name, row, self.diversion, shape, self.evidence)
        if rate is None:
            self.missing[name] = f"{row['name']}: {NO_SERIES}"
            return None
        return LateEvent(
            name,
            row["name"],
            rate,
            again=row["counted"] == "again",
            per_unit=row.get("unit") == "renal unit",
            with_tube=row.get("with_tube", False),
            shape=shape,
        )

    def burdens(
        self, pairs: Sequence[Sequence[str]] | None, known: set[str]
    ) -> tuple[Burden, ...] | None:
        """Return the parts of a total whose event is known; None where none is."""
        found = tuple(
            Burden(
                event,
                "the operation itself" if event == "operation" else self.row(event)["name"],
                _amount(amount, self.rules),
            )
            for event, amount in pairs or ()
            if event in known
        )
        return found or None


def _tube(maker: _Maker) -> Tube | None:
    key = _for("tube", maker.diversion, maker.rules)
    if key is None:
        return None
    row = maker.rules.rows[key]
    kept = maker.late(row["kept"]) if "kept" in row else None
    if "kept" in row and kept is None:
        return None
    return Tube(
        _amount(row["first"], maker.rules) if "first" in row else None,
        bool(row.get("always", False)),
        kept,
        _amount(row["every"], maker.rules) if "every" in row else None,
        row["per"] == "renal unit",
    )


def _gfr(diversion: str, rules: Rules) -> GfrChange | None:
    key = _for("gfr", diversion, rules)
    if key is None:
        return None
    row = rules.rows[key]
    percent = Quantity(
        key, "plain", float(row["percent"]), float(row["sd_percent"]), basis=basis_of(key, rules)
    )
    return GfrChange(percent, float(row["years"]))


def _option(diversion: str, name: str, rules: Rules, evidence: Evidence) -> OptionRates:
    key = _for("profile", diversion, rules)
    profile: Mapping[str, Any] = rules.rows[key] if key else {}
    missing: dict[str, str] = {}
    maker = _Maker(diversion, rules, evidence, missing)
    death = maker.early(profile["death"]) if "death" in profile else None
    early = [one for one in map(maker.early, profile.get("early", ())) if one]
    late = [one for one in map(maker.late, profile.get("late", ())) if one]
    known = {"operation", *(one.key for one in late)}
    lost = maker.late(profile["lost"]) if "lost" in profile else None
    bag = _for("bag", diversion, rules)
    operations = maker.burdens(profile.get("operations"), known)
    nights = maker.burdens(profile.get("nights"), known)
    gfr = _gfr(diversion, rules)
    tube = _tube(maker)
    lacking = {figure: tuple(words) for figure, words in profile.get("lacking", {}).items()}
    for figure in ("operations", "nights"):
        absent = [event for event, _ in profile.get(figure, ()) if event in missing]
        said = (*lacking.get(figure, ()), *(f"Not in it: {missing[one]}." for one in absent))
        if not said and not profile:
            said = ("No rates are on file for this diversion.",)
        if said:
            lacking[figure] = said
    _said(lacking, "death", death is None, "the risk of death around the operation")
    _said(lacking, "tube", tube is None, "whether a tube has to stay, and for how long")
    _said(lacking, "bag", bag is None, "whether a bag is worn")
    _said(lacking, "lost-unit", lost is None, "how often a kidney is lost")
    _said(lacking, "gfr", gfr is None, "what this diversion does to the filtration rate")
    for event, words in missing.items():
        lacking[f"event:{event}"] = (f"Not known: {words}.",)
    return OptionRates(
        diversion,
        name,
        death=death,
        death_days=float(maker.row(profile["death"])["days"]) if death else 0.0,
        early=tuple(early),
        late=tuple(late),
        operations=operations,
        nights=nights,
        falls=maker.burdens(profile.get("falls"), known) or (),
        tube=tube,
        bags=None if bag is None else int(rules.rows[bag]["worn"]),
        lost_unit=lost,
        gfr_change=gfr,
        unknown=lacking,
    )


def _said(lacking: dict[str, tuple[str, ...]], figure: str, absent: bool, what: str) -> None:
    if absent:
        lacking[figure] = (f"Not known: {what}. No publication that was read says it.",)


def rates_for(
    diversions: Iterable[tuple[str, str]],
    rules: Rules | None = None,
    *,
    own: tuple[Series, ...] = (),
    pooling: Rules | None = None,
    population: Literal["adult", "child", "mixed"] = "adult",
) -> Rates:
    """Return what is known of each diversion.

    Parameters
    ----------
    diversions : iterable of (str, str)
        Key and name in the catalogue.
    rules : Rules, optional
        From `life_rules`; ours where None.
    own : tuple of Series
        A unit's own outcomes, pooled with the published ones.
    pooling : Rules, optional
        From `thalweg.evidence.pool_groups.pool_rules`; ours where None.
    population : "adult", "child" or "mixed"
        Whose series.
    """
    rules = rules or life_rules()
    evidence = Evidence(
        published(population=population, own=own),
        pooling or pool_rules(),
        float(rules.rows["setting.one-series"]["spread_log"]),
    )
    options = tuple(_option(key, name, rules, evidence) for key, name in diversions)
    failure = float(rules.rows["setting.kidney-failure"]["gfr"])
    return Rates(options, failure, (rules.notice,) if rules.notice else ())
