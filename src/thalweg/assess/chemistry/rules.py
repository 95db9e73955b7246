"""Ranges, limits, patterns and warnings, read from data that a unit may replace entry by entry."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal, TypeVar, get_args

import msgspec

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.form import Bound, Condition
from thalweg.evidence.conditions.reading import Form, parse
from thalweg.evidence.protocol import merged

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = [
    "AcidBase",
    "ChemistryRules",
    "Disturbed",
    "Expected",
    "Level",
    "Mimic",
    "Reference",
    "Segment",
    "Side",
    "Threshold",
    "TouchedByBowel",
    "Trap",
    "chemistry_rules",
]

UNIT_PROTOCOL = "unit-protocol"
"""Bibliography key that stands for a source named in a unit's own protocol."""
GAP = "anion-gap"

Level = Literal["flag", "review", "urgent"]
AcidBase = Literal[
    "metabolic acidosis", "normal-gap acidosis", "high-gap acidosis", "metabolic alkalosis"
]
Side = Literal["low", "normal", "high"]


@dataclass(frozen=True, slots=True)
class Disturbed(Condition):
    """``{ disturbance = "metabolic acidosis" }``: the numbers show it."""

    name: AcidBase

    def said(self) -> str:
        """Return the disturbance."""
        return self.name


@dataclass(frozen=True, slots=True)
class TouchedByBowel(Condition):
    """``{ touched_by_bowel = true }``: urine lies in bowel, or does not."""

    expected: bool

    def said(self) -> str:
        """Return it as a clause."""
        return f"urine {'touches' if self.expected else 'does not touch'} bowel"


def _disturbed(row: Mapping[str, Any]) -> Disturbed:
    if row["disturbance"] not in get_args(AcidBase):
        raise InputError(
            f"{row['disturbance']!r} is not a disturbance",
            mend=f"choose from {', '.join(get_args(AcidBase))}",
        )
    return Disturbed(row["disturbance"])


def _touched(row: Mapping[str, Any]) -> TouchedByBowel:
    if not isinstance(row["touched_by_bowel"], bool):
        raise InputError("touched_by_bowel is neither true nor false", mend="write true")
    return TouchedByBowel(row["touched_by_bowel"])


FORMS = {"disturbance": Form(_disturbed), "touched_by_bowel": Form(_touched)}
"""Forms of condition that chemistry has beside the common ones."""


def _hook(kind: type, value: object) -> object:
    if kind is not Condition:
        raise NotImplementedError(kind)
    return parse(value, FORMS)


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One entry: every entry names its source; `local_source` is the unit's own, else empty."""

    source: str | list[str]
    note: str = ""
    local_source: str = ""

    @property
    def sources(self) -> tuple[str, ...]:
        """Bibliography keys."""
        if self.local_source:
            return (UNIT_PROTOCOL,)
        return (self.source,) if isinstance(self.source, str) else tuple(self.source)


class Reference(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A reference range; both ends count as within it."""

    unit: str
    low: float
    high: float
    usual: float | None = None

    @property
    def middle(self) -> float:
        """The value reckoned with as usual."""
        return (self.low + self.high) / 2 if self.usual is None else self.usual

    def side(self, value: float) -> Side:
        """Return on which side of the range a value in its unit lies."""
        if value < self.low:
            return "low"
        return "high" if value > self.high else "normal"


class _Setting(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    value: float


class Threshold(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A limit, which is crossed where its condition holds, and what crossing it asks for."""

    level: Level
    sentence: str
    when: Condition
    results: int = 1

    @property
    def bound(self) -> Bound:
        """The bound on one recorded quantity that it is."""
        assert isinstance(self.when, Bound)  # noqa: S101 - checked when the rules were read
        return self.when


class Expected(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One item of a pattern: the disturbance, or where a result lies."""

    acid_base: AcidBase | None = None
    of: str | None = None
    is_: tuple[Side, ...] = msgspec.field(name="is", default=())


class Segment(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What urine in contact with a bowel segment does to the blood."""

    name: str
    says: str
    expects: tuple[Expected, ...]


class Mimic(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What else makes the same disturbance."""

    of: AcidBase
    sentence: str
    when: Condition | None = None


class Trap(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A warning about treatment, and when it applies."""

    when: Condition
    sentence: str


_PARTS: Mapping[str, type[_Entry]] = {
    "reference": Reference,
    "setting": _Setting,
    "threshold": Threshold,
    "segment": Segment,
    "mimic": Mimic,
    "trap": Trap,
}
_E = TypeVar("_E", bound=_Entry)


@dataclass(frozen=True, slots=True)
class ChemistryRules:
    """Every rule by its key, in the order of the data file.

    Parameters
    ----------
    references, thresholds, segments, mimics, traps : mapping
    settings : mapping of str to float
    notices : tuple of str
        Which entries the unit's own protocol replaced.
    """

    references: Mapping[str, Reference]
    settings: Mapping[str, float]
    thresholds: Mapping[str, Threshold]
    segments: Mapping[str, Segment]
    mimics: Mapping[str, Mimic]
    traps: Mapping[str, Trap]
    notices: tuple[str, ...] = ()


@cache
def _packaged() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    folder = files("thalweg.assess.chemistry")
    return tomllib.loads(folder.joinpath("data/chemistry.toml").read_text(encoding="utf-8"))


def _entry(kind: type[_E], part: str, key: str, row: Mapping[str, Any], *, own: bool) -> _E:
    try:
        local = str(row["source"]) if own else ""
        entry = msgspec.convert({**row, "local_source": local}, kind, dec_hook=_hook)
    except InputError as error:
        raise error.at(f"chemistry.toml, [{part}.{key}]") from None
    except msgspec.ValidationError as error:
        raise InputError(
            f"the entry {key!r} is not of its form ({str(error).partition(' - at')[0]})",
            where=f"chemistry.toml, [{part}.{key}]",
            mend="write it like ours in docs/chemistry.md",
        ) from error
    for fault in (*_faults(entry), *(() if own else _strangers(entry))):
        raise InputError(fault, where=f"chemistry.toml, [{part}.{key}]", mend="correct the entry")
    return entry


def _strangers(entry: _Entry) -> Iterator[str]:
    for source in entry.sources:
        if source not in bibliography():
            yield f"the source {source!r} is not in the bibliography"


def _faults(entry: _Entry) -> Iterator[str]:
    if isinstance(entry, Reference) and entry.low > entry.high:
        yield f"low = {entry.low:g} lies above high = {entry.high:g}"
    if isinstance(entry, Threshold):
        if not isinstance(entry.when, Bound) or entry.when.of is not None:
            yield "a limit is not one bound on a recorded quantity"
        if entry.results not in (1, 2):
            yield f"results = {entry.results} is neither 1 nor 2"


def chemistry_rules(theirs: Mapping[str, Any] | None = None) -> ChemistryRules:
    """Return the packaged rules with a unit's own entries in their place.

    Parameters
    ----------
    theirs : mapping, optional
        A unit's parsed ``chemistry.toml``.

    Raises
    ------
    InputError
        If an entry of the unit's is not of its form; the sentence says which and the mend.
    """
    return _built(theirs) if theirs else _ours()


@cache
def _ours() -> ChemistryRules:
    return _built({})


def _built(theirs: Mapping[str, Any]) -> ChemistryRules:
    strange = set(theirs) - set(_PARTS)
    if strange:
        raise InputError(
            f"{', '.join(sorted(strange))} is not a part of the chemistry rules",
            where="protocol chemistry.toml",
            mend=f"write {', '.join(f'[{part}.…]' for part in _PARTS)}",
        )
    notices = []
    read: dict[str, dict[str, Any]] = {}
    for part, kind in _PARTS.items():
        rules = merged(f"chemistry ({part})", _packaged()[part], theirs.get(part, {}))
        new = [key for key in rules.rows if key not in _packaged()[part]]
        if part in ("reference", "setting", "segment") and new:
            raise InputError(
                f"there is no {part} {new[0]!r} to replace",
                where="protocol chemistry.toml",
                mend=f"use one of {', '.join(_packaged()[part])}",
            )
        read[part] = {
            key: _entry(kind, part, key, row, own=key in rules.replaced)
            for key, row in rules.rows.items()
        }
        notices += [rules.notice] if rules.notice else []
    return ChemistryRules(
        references=read["reference"],
        settings={key: row.value for key, row in read["setting"].items()},
        thresholds=read["threshold"],
        segments=read["segment"],
        mimics=read["mimic"],
        traps=read["trap"],
        notices=tuple(notices),
    )
