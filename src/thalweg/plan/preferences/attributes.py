"""What a person may care about and what each diversion offers of it, read from data.

A unit's own ``preferences.toml`` may replace any entry of any part, key by key.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from itertools import combinations
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.protocol import merged
from thalweg.plan.entries_reading import read_sources

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "PREFERENCES_TABLE",
    "Attribute",
    "Holding",
    "Matters",
    "Settings",
    "matters",
    "pair_key",
]

PREFERENCES_TABLE = "preferences"
PARTS = ("setting", "attribute", "diversion")


@dataclass(frozen=True, slots=True)
class Attribute:
    """Something a person may care about.

    Parameters
    ----------
    key, name : str
        For programs, for pages.
    levels : tuple of (str, str)
        Key and words of each, best first; at least two. Only their order means anything.
    note : str
        What it does not hold; may be empty.
    sources : tuple of str
        Bibliography keys.
    local_source : str
        The unit's own source where its protocol replaced ours, else empty.
    """

    key: str
    name: str
    levels: tuple[tuple[str, str], ...]
    note: str = ""
    sources: tuple[str, ...] = ("thalweg-engineering",)
    local_source: str = ""

    @property
    def best(self) -> str:
        """Words of the best level."""
        return self.levels[0][1]

    @property
    def worst(self) -> str:
        """Words of the worst level."""
        return self.levels[-1][1]


@dataclass(frozen=True, slots=True)
class Holding:
    """What one diversion offers.

    Parameters
    ----------
    diversion : str
        Key in the catalogue.
    levels : mapping
        By attribute's key: first and last level it may have, counted from 0 = best. What is not
        there is not known.
    why : str
    sources : tuple of str
    local_source : str
    """

    diversion: str
    levels: Mapping[str, tuple[int, int]]
    why: str = ""
    sources: tuple[str, ...] = ("thalweg-engineering",)
    local_source: str = ""


@dataclass(frozen=True, slots=True)
class Settings:
    """Numbers of the inference, all our own.

    Parameters
    ----------
    twice_is_said : float
        Of answers that choose, the share that name what matters twice as much; 0.5 to 1.
    equal_is_said : float
        Share of "no difference" where two matter the same; 0 to 1.
    most : int
        Questions in all.
    least_gain_bit : float
        Least expected information for which a question is still put.
    draws : int
        Of the sampling.
    """

    twice_is_said: float = 0.9
    equal_is_said: float = 1.0 / 3.0
    most: int = 8
    least_gain_bit: float = 0.01
    draws: int = 40_000


@dataclass(frozen=True, slots=True)
class Matters:
    """Everything that ``preferences.toml`` says.

    Parameters
    ----------
    attributes : tuple of Attribute
        In the order in which a page lists them.
    holdings : mapping
        By diversion's key.
    settings : Settings
    notices : tuple of str
        Which entries the unit's own protocol replaced.
    """

    attributes: tuple[Attribute, ...]
    holdings: Mapping[str, Holding]
    settings: Settings = field(default_factory=Settings)
    notices: tuple[str, ...] = ()

    def attribute(self, key: str) -> Attribute | None:
        """Return the attribute called `key`, or None."""
        return next((one for one in self.attributes if one.key == key), None)

    @property
    def pairs(self) -> tuple[tuple[Attribute, Attribute], ...]:
        """Every two attributes, in the order of the list."""
        return tuple(combinations(self.attributes, 2))

    def span(self, diversion: str, attribute: Attribute) -> tuple[int, int] | None:
        """Return the levels a diversion may have of an attribute, or None where not known."""
        holding = self.holdings.get(diversion)
        return None if holding is None else holding.levels.get(attribute.key)


def pair_key(first: str, second: str) -> str:
    """Return the name of the question between two attributes."""
    return f"{first}/{second}"


@cache
def _packaged() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    text = files("thalweg.plan").joinpath("data/preferences.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _ours() -> Matters:
    return _built({})


def matters(theirs: Mapping[str, Any] | None = None) -> Matters:
    """Return what a person may care about, with a unit's own entries in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        A unit's parsed ``preferences.toml``.

    Raises
    ------
    InputError
        If an entry of the unit's is not of its form; the sentence says which and the mend.
    """
    return _built(theirs) if theirs else _ours()


def _built(theirs: Mapping[str, Any]) -> Matters:
    strange = set(theirs) - set(PARTS)
    if strange:
        raise InputError(
            f"{', '.join(sorted(strange))} is not a part of the preferences",
            where="protocol preferences.toml",
            mend="write [setting.…], [attribute.…] or [diversion.…]",
        )
    parts = {
        name: merged(f"preferences ({name})", _packaged()[name], theirs.get(name, {}))
        for name in PARTS
    }
    attributes = tuple(
        _attribute(key, row, own=key in parts["attribute"].replaced)
        for key, row in parts["attribute"].rows.items()
        if row.get("asked", True) is not False
    )
    by_key = {one.key: one for one in attributes}
    dropped = set(parts["attribute"].rows) - set(by_key)
    holdings = {
        key: _holding(key, row, by_key, dropped, own=key in parts["diversion"].replaced)
        for key, row in parts["diversion"].rows.items()
    }
    notices = tuple(rules.notice for rules in parts.values() if rules.notice)
    return Matters(attributes, holdings, _settings(parts["setting"].rows), notices)


def _where(part: str, key: str) -> str:
    return f"preferences.toml, [{part}.{key}]"


def _attribute(key: str, row: Mapping[str, Any], *, own: bool) -> Attribute:
    where = _where("attribute", key)
    if "/" in key:
        raise InputError("a key cannot hold '/'", where=where, mend="use words and hyphens")
    levels = row.get("levels")
    sound = isinstance(levels, list) and len(levels) >= 2
    if not sound or not all(
        isinstance(one, list) and len(one) == 2 and all(isinstance(w, str) and w for w in one)
        for one in levels or ()
    ):
        raise InputError(
            "levels is not a list of two or more [key, words]",
            where=where,
            mend='write levels = [["best", "…"], ["worst", "…"]]',
        )
    keys = [str(one[0]) for one in levels or ()]
    if len(set(keys)) < len(keys):
        raise InputError("two levels have one key", where=where, mend="give each its own")
    name = row.get("name")
    if not isinstance(name, str) or not name.strip():
        raise InputError("'name' is missing", where=where, mend='add name = "…"')
    sources, local = read_sources(row, own=own)
    pairs = tuple((str(one[0]), str(one[1])) for one in levels or ())
    return Attribute(key, name.strip(), pairs, str(row.get("note", "")), sources, local)


def _holding(
    key: str,
    row: Mapping[str, Any],
    attributes: Mapping[str, Attribute],
    dropped: set[str],
    *,
    own: bool,
) -> Holding:
    where = _where("diversion", key)
    levels = {}
    for name, value in row.items():
        if name in {"why", "source"} or name in dropped:
            continue
        if name not in attributes:
            raise InputError(
                f"{name!r} is not a matter of the list",
                where=where,
                mend=f"write one of {', '.join(attributes)}, or add [attribute.{name}]",
            )
        known = [level for level, _ in attributes[name].levels]
        ends = value if isinstance(value, list) else [value, value]
        if len(ends) != 2 or any(end not in known for end in ends):
            raise InputError(
                f"{name} = {value!r}",
                where=where,
                mend=f"write one of {', '.join(known)}, or two of them, best first",
            )
        first, last = known.index(ends[0]), known.index(ends[1])
        if first > last:
            raise InputError(
                f"{name} = {value!r} is the wrong way round", where=where, mend="best first"
            )
        levels[name] = (first, last)
    sources, local = read_sources(row, own=own)
    return Holding(key, levels, str(row.get("why", "")), sources, local)


def _settings(rows: Mapping[str, Mapping[str, Any]]) -> Settings:
    def number(part: str, name: str, least: float, most: float) -> float:
        value = rows[part].get(name)
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not (least < value < most)
        ):
            raise InputError(
                f"{name} is {value!r}",
                where=_where("setting", part),
                mend=f"write a number above {least:g} and below {most:g}",
            )
        return float(value)

    return Settings(
        number("answers", "twice_is_said", 0.5, 1.0),
        number("answers", "equal_is_said", 0.0, 1.0),
        int(number("asking", "most", 0, 46)),
        number("asking", "least_gain_bit", 0.0, 1.6),
        int(number("drawing", "draws", 999, 1_000_001)),
    )
