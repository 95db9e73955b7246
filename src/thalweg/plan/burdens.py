"""What daily life with a diversion asks of a person, as data that can be counted and compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["Burden", "Certainty", "Kind", "read_burdens"]

Kind = Literal[
    "bag",
    "tube",
    "tube-change",
    "catheterising",
    "emptying",
    "washing-out",
    "pads",
    "medicine",
    "operation",
    "examination",
    "other",
]
Certainty = Literal["always", "often", "some", "at first"]
UNITS = {"h": "hour", "d": "day", "wk": "week", "mo": "month", "a": "year"}
_KEYS = frozenset(
    {"kind", "says", "certainty", "count", "day", "night", "every", "unit", "times", "per"}
    | {"source"}
)
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Burden:
    """One thing that daily life with a diversion asks.

    Parameters
    ----------
    kind : str
        What sort of thing; "other" where a unit's protocol gives only words.
    says : str
        As a person reads it.
    certainty : "always", "often", "some" or "at first"
        Whether everybody with this diversion has it.
    count : int or None
        How many at one time, as of bags.
    day, night : bool or None
        Whether it falls in the day, and in the night; None where that does not apply.
    every : tuple of float or None
        Least and most time between two, in `unit` (UCUM).
    unit : str
    times : tuple of float or None
        Least and most often, per `per` ("d": day, "night").
    per : str
    sources : tuple of str
        Bibliography keys of its figures; none where it follows from the operation.
    """

    kind: Kind
    says: str
    certainty: Certainty
    count: int | None = None
    day: bool | None = None
    night: bool | None = None
    every: Span | None = None
    unit: str = ""
    times: Span | None = None
    per: str = ""
    sources: tuple[str, ...] = ()

    @property
    def often(self) -> str:
        """How often, in words, or empty: for example ``every 4 to 6 hours``."""
        if self.every is not None:
            word = UNITS[self.unit]
            one = self.every == (1.0, 1.0)
            return f"every {word}" if one else f"every {_span(self.every)} {word}s"
        if self.times is not None:
            return f"{_span(self.times)} times a {UNITS.get(self.per, self.per)}"
        return ""

    def to_json(self, cite: Callable[[str], str]) -> dict[str, Any]:
        """Return it for programs; times with their unit beside them."""
        every = self.every and {"least": self.every[0], "most": self.every[1], "unit": self.unit}
        times = self.times and {"least": self.times[0], "most": self.times[1], "per": self.per}
        return {
            "kind": self.kind,
            "says": self.says,
            "certainty": self.certainty,
            "count": self.count,
            "day": self.day,
            "night": self.night,
            "every": every,
            "times": times,
            "source": "; ".join(cite(key) for key in self.sources),
            "checked": [bibliography()[key].read for key in self.sources],
        }


def _span(span: Span) -> str:
    low, high = span
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _pair(row: Mapping[str, Any], name: str, with_: str, allowed: tuple[str, ...]) -> Span | None:
    value = row.get(name)
    if value is None:
        return None
    numbers = isinstance(value, list) and all(
        isinstance(end, int | float) and not isinstance(end, bool) and end > 0 for end in value
    )
    if not numbers or len(value) != 2 or value[0] > value[1]:
        raise InputError(f"{name} = {value!r} is not a span", mend=f"write {name} = [4, 6]")
    if row.get(with_) not in allowed:
        raise InputError(
            f"{name} has no {with_}", mend=f"add {with_} = {' or '.join(map(repr, allowed))}"
        )
    return float(value[0]), float(value[1])


def _word(row: Mapping[str, Any], name: str, words: tuple[str, ...]) -> str:
    value = row.get(name)
    if value not in words:
        raise InputError(f"{name} = {value!r}", mend=f"choose from {', '.join(words)}")
    return str(value)


def _flag(row: Mapping[str, Any], name: str) -> bool | None:
    value = row.get(name)
    if value is not None and not isinstance(value, bool):
        raise InputError(f"{name} = {value!r}", mend=f"write {name} = true or false")
    return value


def _read(row: Any, *, own: bool) -> Burden:
    if isinstance(row, str) and row.strip():
        return Burden("other", row.strip(), "always")
    if not isinstance(row, dict) or not str(row.get("says", "")).strip():
        raise InputError("a burden says nothing", mend='write { kind = "bag", says = "…", … }')
    strange = set(row) - _KEYS
    if strange:
        raise InputError(
            f"{', '.join(sorted(strange))} does not belong to a burden",
            mend=f"it takes {', '.join(sorted(_KEYS))}",
        )
    count = row.get("count")
    if count is not None and (isinstance(count, bool) or not isinstance(count, int) or count < 1):
        raise InputError(f"count = {count!r}", mend="write count = 1")
    named = row.get("source", [])
    keys = tuple(map(str, named)) if isinstance(named, list) else (str(named),)
    # A unit's burden rests on the unit's own source, which its diversion names.
    sources = tuple(key for key in keys if key in bibliography()) if own else keys
    return Burden(
        cast("Kind", _word(row, "kind", get_args(Kind))),
        str(row["says"]).strip(),
        cast("Certainty", _word(row, "certainty", get_args(Certainty))),
        count,
        _flag(row, "day"),
        _flag(row, "night"),
        _pair(row, "every", "unit", tuple(UNITS)),
        str(row.get("unit", "")),
        _pair(row, "times", "per", ("d", "night")),
        str(row.get("per", "")),
        sources,
    )


def read_burdens(value: Any, where: str, *, own: bool) -> tuple[Burden, ...]:
    """Return the burdens that a diversion's table lists.

    Parameters
    ----------
    value : list of dict or str
        A string is words alone.
    where : str
        Place named when one is refused.
    own : bool
        Whether it comes from the unit's own protocol.

    Raises
    ------
    InputError
        If one is not of its form.
    """
    if not isinstance(value, list):
        raise InputError(
            "'burdens' is not a list", where=where, mend='write burdens = [{ kind = "bag", … }]'
        )
    try:
        return tuple(_read(row, own=own) for row in value)
    except InputError as error:
        raise error.at(where) from None
