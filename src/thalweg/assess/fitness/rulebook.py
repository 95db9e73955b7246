"""The packaged scores and contrast rules, with a unit's own in their place by key."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.assess.fitness.reading import read_rule
from thalweg.errors import InputError
from thalweg.evidence.conditions.ground import FactAges
from thalweg.evidence.conditions.reading import parse
from thalweg.evidence.protocol import merged

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.assess.fitness.form import Rule
    from thalweg.evidence.conditions.form import Condition

__all__ = ["Follows", "Rulebook", "rulebook"]

PAGES = ("rcri", "ariscat", "caprini", "charlson", "g8", "states", "nutrition")
"""Files of ``data/fitness``, in the order in which a page shows their rules."""

KEEPING = "keeping"


@dataclass(frozen=True, slots=True)
class Follows:
    """Answers that follow from others, where nobody recorded them.

    Parameters
    ----------
    when : Condition
    then : mapping
        Value by concept: a Boolean, or a word for a choice.
    because : str
        The reason, to be read after "because".
    """

    when: Condition
    then: Mapping[str, bool | str]
    because: str


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Every rule, how long facts keep, what follows from what, and which rules are the unit's."""

    scores: tuple[Rule, ...]
    contrast: tuple[Rule, ...]
    ages: FactAges
    follows: tuple[Follows, ...]
    notices: tuple[str, ...] = ()

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Scores and contrast rules."""
        return (*self.scores, *self.contrast)

    @property
    def asked(self) -> tuple[str, ...]:
        """Names of everything that any rule asks, each once."""
        return tuple(
            dict.fromkeys(name for rule in self.rules for item in rule.items for name in item.asks)
        )


def _table(name: str) -> dict[str, Any]:
    text = files("thalweg.assess").joinpath(f"data/{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _packaged() -> Mapping[str, Mapping[str, Any]]:
    scores = {key: row for page in PAGES for key, row in _table(f"fitness/{page}").items()}
    facts = _table("facts")
    return {"scores": {**scores, KEEPING: facts[KEEPING]}, "contrast": _table("contrast"),
            "facts": facts}  # fmt: skip


def _days(row: Mapping[str, Any], name: str) -> dict[str, int]:
    days = row.get(name, {})
    if not isinstance(days, dict) or not all(type(one) is int for one in days.values()):
        raise InputError(f"{name} is not a table of days", where=f"[{KEEPING}]", mend="write 90")
    return days


def _keeping(row: Mapping[str, Any]) -> FactAges:
    usual = row.get("usual_days")
    if type(usual) is not int:
        raise InputError(
            f"usual_days = {usual!r} is not a number of days",
            where=f"[{KEEPING}]",
            mend="write usual_days = 365",
        )
    return FactAges(
        usual,
        _days(row, "old_after_days"),
        _days(row, "expires_after_days"),
        tuple(map(str, row.get("lasting", ()))),
    )


def _extended(key: str, rows: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return a rule's table with the items of the rule that it extends before its own."""
    row = rows[key]
    base = row.get("extends")
    if base is None:
        return row
    if base not in rows:
        raise InputError(f"extends {base!r}, which is not there", where=f"[{key}]", mend="name it")
    return {**row, "item": [*rows[base].get("item", ()), *row.get("item", ())]}


def _rules(
    name: str, ours: Mapping[str, Any], theirs: Mapping[str, Any]
) -> tuple[tuple[Rule, ...], FactAges | None, str]:
    found = merged(name, ours, theirs)
    rows = {key: row for key, row in found.rows.items() if key != KEEPING}
    try:
        rules = tuple(
            read_rule(key, _extended(key, rows), own=key in found.replaced) for key in rows
        )
        keeping = _keeping(found.rows[KEEPING]) if KEEPING in found.rows else None
    except InputError as error:
        raise error.at(f"{name}.toml") from None
    return rules, keeping, found.notice


def rulebook(
    theirs: Mapping[str, Any] | None = None, their_contrast: Mapping[str, Any] | None = None
) -> Rulebook:
    """Return the packaged rules with a unit's own in their place.

    Parameters
    ----------
    theirs, their_contrast : mapping, optional
        A unit's parsed ``fitness.toml`` and ``contrast.toml``.

    Raises
    ------
    InputError
        If a rule of the unit's is not of its form; the sentence says which and the mend.
    """
    if theirs or their_contrast:
        return _built(theirs or {}, their_contrast or {})
    return _ours()


@cache
def _ours() -> Rulebook:
    return _built({}, {})


def _built(theirs: Mapping[str, Any], their_contrast: Mapping[str, Any]) -> Rulebook:
    packaged = _packaged()
    scores, ages, first = _rules("fitness", packaged["scores"], theirs)
    contrast, _, second = _rules("contrast", packaged["contrast"], their_contrast)
    assert ages is not None  # noqa: S101 - the packaged table has it, and a unit's replaces it
    follows = tuple(
        Follows(parse(row["when"]), row["then"], str(row["because"]))
        for row in packaged["facts"]["follows"]
    )
    return Rulebook(scores, contrast, ages, follows, tuple(filter(None, (first, second))))
