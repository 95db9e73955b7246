"""Ranges, limits, patterns and warnings, read from data that a unit may replace entry by entry."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import msgspec

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.protocol import merged
from thalweg.record.concept import concept, concepts

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = [
    "AcidBase",
    "ChemistryRules",
    "Condition",
    "Expected",
    "Level",
    "Mimic",
    "Reference",
    "Segment",
    "Side",
    "Threshold",
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
    """A limit and what crossing it asks for; the limit itself does not cross."""

    level: Level
    sentence: str
    of: str
    unit: str
    below: float | None = None
    above: float | None = None
    results: int = 1

    def crossed_by(self, value: float) -> bool:
        """Return whether a value in the threshold's unit crosses it."""
        return (self.below is not None and value < self.below) or (
            self.above is not None and value > self.above
        )


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
    fact: str | None = None
    gfr_below: float | None = None


class Condition(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One thing that must hold for a warning."""

    of: str | None = None
    below: float | None = None
    above: float | None = None
    unit: str = ""
    fact: str | None = None
    is_: bool = msgspec.field(name="is", default=True)
    disturbance: AcidBase | None = None
    touched_by_bowel: bool | None = None


class Trap(_Entry, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A warning about treatment, and when it applies."""

    when: tuple[Condition, ...]
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
        entry = msgspec.convert({**row, "local_source": str(row["source"]) if own else ""}, kind)
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
        yield from _bound_faults(entry.of, entry.unit, entry.below, entry.above)
        if entry.results not in (1, 2):
            yield f"results = {entry.results} is neither 1 nor 2"
    if isinstance(entry, Mimic) and entry.fact is not None:
        yield from _yes_no_faults(entry.fact)
    if isinstance(entry, Trap):
        for one in entry.when:
            if one.of is not None:
                yield from _bound_faults(one.of, one.unit, one.below, one.above)
            if one.fact is not None:
                yield from _yes_no_faults(one.fact)
            asked = (one.of, one.fact, one.disturbance, one.touched_by_bowel)
            if sum(each is not None for each in asked) != 1:
                yield "a condition asks for exactly one thing"


def _yes_no_faults(key: str) -> Iterator[str]:
    if key not in concepts() or concept(key).kind != "yes-no":
        yield f"{key!r} is not a yes-no fact that Thalweg records"


def _bound_faults(key: str, unit: str, below: float | None, above: float | None) -> Iterator[str]:
    if key not in concepts() or unit not in concept(key).units:
        yield f"{key!r} is not recorded in {unit!r}"
    if below is None and above is None:
        yield "neither below nor above is given"


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
