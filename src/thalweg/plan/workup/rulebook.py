"""The rules of the work-up, read from data; a unit's own ``workup.toml`` replaces rows by key."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.protocol import merged
from thalweg.plan.workup.clash_rules import Differ, Excludes, Same, differ, excludes, same
from thalweg.plan.workup.rows import Row
from thalweg.record.concept import concept

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.evidence.conditions.form import Condition

__all__ = ["IMAGES", "MEASURES", "WORKUP_TABLE", "Item", "WorkupRules", "workup_rules"]

WORKUP_TABLE = "workup"
IMAGES = "images"
"""Stands among an item's concepts for a CT or MR series on record."""
MEASURES = ("ureter-left", "ureter-right", "wall")
"""What can be measured on the images."""
PARTS = ("setting", "group", "item", "ends", "same", "excludes", "differ")


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a work-up asks.

    Parameters
    ----------
    key, words, group, serves, effort : str
        As in the table.
    parts : tuple of tuple of str
        Each part must be answered, by any of its concepts.
    measured : str
        Of `MEASURES`; empty where marking is enough.
    asked_when : Condition or None
        None: of everybody.
    otherwise : str
        Why it is not asked of the others.
    options : tuple of str
        Diversions that ask it; empty: asked whatever is meant.
    old_after_days, old_at_operation_days : int or None
        Oldest that still serves, while planning and at the operation.
    asked : bool
        False where the unit does not ask it.
    sources : tuple of str
    local_source : str
    """

    key: str
    words: str
    group: str
    parts: tuple[tuple[str, ...], ...]
    measured: str
    asked_when: Condition | None
    otherwise: str
    options: tuple[str, ...]
    old_after_days: int | None
    old_at_operation_days: int | None
    serves: str
    effort: str
    asked: bool
    sources: tuple[str, ...]
    local_source: str

    @property
    def concepts(self) -> tuple[str, ...]:
        """Every concept that can answer a part; images are none."""
        return tuple(key for part in self.parts for key in part if key != IMAGES)


@dataclass(frozen=True, slots=True)
class WorkupRules:
    """Everything that ``workup.toml`` says.

    Parameters
    ----------
    groups : mapping
        Heading by key, in order.
    items : tuple of Item
        In order.
    efforts : tuple of str
        Least trouble first.
    steps : int
        How many values between the ends of a quantity are tried.
    ends : mapping
        Low and high of a concept in its own unit.
    same, excludes, differ : tuple
        What cannot both be true.
    notices : tuple of str
        Which rows the unit's own protocol replaced.
    """

    groups: Mapping[str, str]
    items: tuple[Item, ...]
    efforts: tuple[str, ...]
    steps: int
    ends: Mapping[str, tuple[float, float]]
    same: tuple[Same, ...]
    excludes: tuple[Excludes, ...]
    differ: tuple[Differ, ...]
    notices: tuple[str, ...] = ()


@cache
def _packaged() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    text = files("thalweg.plan").joinpath("data/workup.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _ours() -> WorkupRules:
    return _built({})


def workup_rules(theirs: Mapping[str, Any] | None = None) -> WorkupRules:
    """Return the rules, with the unit's own in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        The unit's parsed ``workup.toml``.

    Raises
    ------
    InputError
        If a row of the unit's is not of its form; the sentence says which and the mend.
    """
    return _built(theirs) if theirs else _ours()


def _built(theirs: Mapping[str, Any]) -> WorkupRules:
    strange = sorted(set(theirs) - set(PARTS))
    if strange:
        raise InputError(
            f"{', '.join(strange)} is not a part of the work-up's rules",
            where="protocol workup.toml",
            mend=f"write {', '.join(f'[{part}.…]' for part in PARTS)}",
        )
    rules = {
        part: merged(f"workup ({part})", _packaged()[part], theirs.get(part, {})) for part in PARTS
    }
    rows = {
        part: [
            Row(part, key, table, own=key in found.replaced) for key, table in found.rows.items()
        ]
        for part, found in rules.items()
    }
    groups = {row.key: row.text("words") for row in rows["group"]}
    setting = {row.key: row for row in rows["setting"]}
    efforts = setting["effort"].words("order")
    steps = setting["ends"].days("steps")
    if steps is None or steps < 2:
        raise setting["ends"].fault("fewer than two steps", "write steps = 9")
    return WorkupRules(
        groups,
        tuple(_item(row, groups, efforts) for row in rows["item"]),
        efforts,
        steps,
        {row.key: _ends(row) for row in rows["ends"]},
        tuple(same(row) for row in rows["same"]),
        tuple(excludes(row) for row in rows["excludes"]),
        tuple(differ(row) for row in rows["differ"]),
        tuple(found.notice for found in rules.values() if found.notice),
    )


def _parts(row: Row) -> tuple[tuple[str, ...], ...]:
    listed = row.table.get("parts")
    if not isinstance(listed, list) or not listed:
        raise row.fault("'parts' is missing", 'write parts = ["creatinine"]')
    parts = []
    for part in listed:
        keys = part if isinstance(part, list) else [part]
        parts.append(tuple(key if key == IMAGES else row.concept(str(key)) for key in keys))
    if not all(parts):
        raise row.fault("a part names nothing", 'write parts = ["creatinine"]')
    return tuple(parts)


def _item(row: Row, groups: Mapping[str, str], efforts: tuple[str, ...]) -> Item:
    row.only(
        *("words", "group", "parts", "measured", "asked_when", "otherwise", "options"),
        *("old_after_days", "old_at_operation_days", "serves", "effort", "asked"),
    )
    when, otherwise = row.condition("asked_when"), row.text("otherwise", needed=False)
    if when is not None and not otherwise:
        raise row.fault("does not say why it is not asked of the others", 'add otherwise = "…"')
    sources, local = row.sources
    return Item(
        key=row.key,
        words=row.text("words"),
        group=row.word("group", groups),
        parts=_parts(row),
        measured=row.word("measured", MEASURES, needed=False),
        asked_when=when,
        otherwise=otherwise,
        options=row.words("options"),
        old_after_days=row.days("old_after_days"),
        old_at_operation_days=row.days("old_at_operation_days"),
        serves=row.text("serves"),
        effort=row.word("effort", efforts),
        asked=row.flag("asked", otherwise=True),
        sources=sources,
        local_source=local,
    )


def _ends(row: Row) -> tuple[float, float]:
    row.only("low", "high")
    low, high = row.number("low"), row.number("high")
    if concept(row.concept(row.key)).kind != "quantity":
        raise row.fault("is not a quantity", "leave it out: every answer of a choice is tried")
    if low is None or high is None or low >= high:
        raise row.fault("low and high do not make a range", "write low = 40 and high = 600")
    return low, high
