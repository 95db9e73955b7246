"""A rule of the follow-up calendar, read from ``data/calendar.toml`` or the unit's own."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, get_args

from thalweg.care.calendar.conditions import CONDITIONS, DIVERSIONS
from thalweg.care.calendar.offset import Offset
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.protocol import Rules, merged
from thalweg.record.concept import concept

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["Rule", "Standing", "Step", "calendar_rules", "our_rules", "read_rules"]

Standing = Literal["published", "common practice", "unit protocol"]
CountedFrom = Literal["operation", "last done"]

UNIT_PROTOCOL = "unit-calendar-protocol"

_NEEDED = ("title", "what", "who", "why", "diversions", "window_days")
_KNOWN = {
    *_NEEDED, "conditions", "at", "then", "counted_from", "fulfilled_by", "sources", "source",
    "standing", "cautions", "off",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """A repetition: every so long after the visit before, until so long after the operation."""

    every: Offset
    until: Offset | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """What is to be done, for whom, when, by whom and why.

    Parameters
    ----------
    key : str
        Of the rule; part of each appointment's identity, so never reused for something else.
    title, what, who, why : str
        As printed.
    diversions : tuple of str
        Keys of the diversions it is for.
    conditions : tuple of str
        Keys of `CONDITIONS`, all of which must be met.
    at : tuple of Offset
        First visits, in rising order.
    then : tuple of Step
        Repetitions after the last of `at`, one after the other.
    before_days, after_days : int
        How many days before and after its due date a visit may be done.
    counted_from : "operation" or "last done"
        ``"last done"`` for what is changed (stents, tubes): the next is counted from the last
        change on record, else from the operation.
    fulfilled_by : tuple of str
        Concepts whose arrival, all of them, does the visit. The concept ``visit-done`` under the
        rule's key as label does any visit.
    sources : tuple of str
        Keys of the bibliography.
    local_source : str
        The unit's own source when its protocol replaced ours, else empty.
    standing : "published", "common practice" or "unit protocol"
        What the interval rests on.
    cautions : tuple of str
        Sentences printed with each visit.
    """

    key: str
    title: str
    what: str
    who: str
    why: str
    diversions: tuple[str, ...]
    conditions: tuple[str, ...]
    at: tuple[Offset, ...]
    then: tuple[Step, ...]
    before_days: int
    after_days: int
    counted_from: CountedFrom
    fulfilled_by: tuple[str, ...]
    sources: tuple[str, ...]
    local_source: str
    standing: Standing
    cautions: tuple[str, ...]

    def offsets(self, horizon: Offset) -> Iterator[Offset]:
        """Yield when visits fall due after the operation, in rising order, up to `horizon`."""
        last = Offset()
        for last in self.at:
            if last.nominal > horizon.nominal:
                return
            yield last
        for step in self.then:
            end = horizon if step.until is None else step.until
            while (last + step.every).nominal <= min(end.nominal, horizon.nominal):
                last = last + step.every
                yield last

    @property
    def schedule(self) -> str:
        """The times in words, such as ``"at 6 months, 1 year; then every 1 year, for life"``."""
        parts = []
        if self.at:
            parts.append("at " + ", ".join(str(offset) for offset in self.at))
        for step in self.then:
            end = "for life" if step.until is None else f"until {step.until}"
            parts.append(f"{'then ' if parts else ''}every {step.every}, {end}")
        return "; ".join(parts)


def _rule(key: str, row: Mapping[str, Any], *, local: bool) -> Rule:
    strange = sorted(set(row) - _KNOWN)
    lacking = [name for name in _NEEDED if not row.get(name)]
    if strange or lacking:
        what = f"it has the unknown part {strange[0]!r}" if strange else f"it lacks {lacking[0]!r}"
        raise InputError(what, mend="write it as the packaged calendar.toml does")
    before, after = row["window_days"]
    rule = Rule(
        key=key,
        title=row["title"],
        what=row["what"],
        who=row["who"],
        why=row["why"],
        diversions=DIVERSIONS if row["diversions"] == ["all"] else tuple(row["diversions"]),
        conditions=tuple(row.get("conditions", ())),
        at=tuple(Offset.parse(written) for written in row.get("at", ())),
        then=tuple(
            Step(Offset.parse(s["every"]), Offset.parse(s["until"]) if "until" in s else None)
            for s in row.get("then", ())
        ),
        before_days=before,
        after_days=after,
        counted_from=row.get("counted_from", "operation"),
        fulfilled_by=tuple(row.get("fulfilled_by", ())),
        sources=tuple(row.get("sources", (UNIT_PROTOCOL,) if local else ())),
        local_source=row["source"] if local else "",
        standing=row.get("standing", "unit protocol" if local else ""),
        cautions=tuple(row.get("cautions", ())),
    )
    for fault in _faults(rule):
        raise InputError(fault, mend="write it as the packaged calendar.toml does")
    return rule


def _faults(rule: Rule) -> Iterator[str]:
    if not all(isinstance(words, str) for words in (rule.title, rule.what, rule.who, rule.why)):
        yield "title, what, who and why are written in words"
    for diversion in sorted(set(rule.diversions) - set(DIVERSIONS)):
        yield f"{diversion!r} is no diversion (they are {', '.join(DIVERSIONS)})"
    for condition in sorted(set(rule.conditions) - set(CONDITIONS)):
        yield f"{condition!r} is no condition (they are {', '.join(CONDITIONS)})"
    if rule.standing not in get_args(Standing):
        yield f"standing {rule.standing!r} is not one of {', '.join(get_args(Standing))}"
    if rule.counted_from not in get_args(CountedFrom):
        yield f"counted_from {rule.counted_from!r} is not one of {', '.join(get_args(CountedFrom))}"
    for source in rule.sources:
        if source not in bibliography():
            yield f"the source {source!r} is not in the bibliography"
    if not rule.sources:
        yield "it names no source"
    yield from _faults_of_time(rule)
    if rule.counted_from == "last done" and rule.fulfilled_by:
        yield "a rule counted from what was last done cannot be fulfilled by a result"
    for key in rule.fulfilled_by:
        concept(key)


def _faults_of_time(rule: Rule) -> Iterator[str]:
    if not rule.at and not rule.then:
        yield "it says neither 'at' nor 'then'"
    rising = [Offset(), *rule.at]
    if any(b.nominal <= a.nominal for a, b in pairwise(rising)):
        yield "the times under 'at' do not rise"
    if any(step.every.nominal <= 0 for step in rule.then):
        yield "'every' must be longer than nothing"
    if any(step.until is None for step in rule.then[:-1]):
        yield "a step for life can only be the last"
    if any(type(days) is not int for days in (rule.before_days, rule.after_days)):
        yield "window_days are two numbers of whole days, before and after"
    elif rule.before_days < 0 or rule.after_days < 0:
        yield "a window cannot have a negative number of days"


def read_rules(rules: Rules) -> tuple[Rule, ...]:
    """Return the rules of a table, in its order; those with ``off = true`` are left out.

    Raises
    ------
    InputError
        If a rule cannot be read; the sentence says which and why.
    """
    read = []
    for key, row in rules.rows.items():
        local = key in rules.replaced
        if row.get("off", False):
            continue
        try:
            read.append(_rule(key, row, local=local))
        except InputError as error:
            raise error.at(f"{'protocol ' if local else ''}{rules.name}.toml, [{key}]") from error
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise InputError(
                "a part of it has the wrong shape",
                where=f"{'protocol ' if local else ''}{rules.name}.toml, [{key}]",
                mend="write it as the packaged calendar.toml does",
            ) from error
    return tuple(read)


@cache
def our_rules() -> Mapping[str, Mapping[str, Any]]:
    """Return the packaged table, to be merged with a unit's own."""
    text = files("thalweg.care").joinpath("data/calendar.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def calendar_rules(theirs: Mapping[str, Mapping[str, Any]] | None = None) -> tuple[Rule, ...]:
    """Return our rules, with the unit's own in their place where it has some.

    Parameters
    ----------
    theirs : mapping, optional
        The unit's ``calendar.toml``. A rule there needs every part, and a ``source``;
        ``off = true`` (with a source) leaves ours out.

    Raises
    ------
    InputError
        If a rule of the unit cannot be read.
    """
    return read_rules(merged("calendar", our_rules(), theirs or {}))
