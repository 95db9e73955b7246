"""The person's answers in a case file: which of two things matters more, as facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.strict import (
    Table,
    check_keys,
    closest,
    moment_in,
    subtable,
    text_in,
)
from thalweg.exchange.reading import Reading, placed
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from thalweg.record.fact import Moment

__all__ = ["ANSWER", "PREFERENCES", "is_preference", "preference_lines", "take_preferences"]

PREFERENCES: Final = "preferences"
ANSWER: Final = "preference-answer"
BY_THE_PERSON: Final = "the person"


def is_preference(fact: Fact) -> bool:
    """Say whether a fact is an answer of the person's."""
    return fact.concept == ANSWER


def take_preferences(table: Table, file: str, reading: Reading) -> None:
    """Put every answer of ``[preferences]`` into the reading.

    Parameters
    ----------
    table : Table
        The whole file.
    file : str
        Its name, for the facts' origin.
    reading : Reading
        Takes facts and problems; one bad answer does not hide the next.
    """
    with reading.part(f"[{PREFERENCES}]"):
        section = subtable(table, PREFERENCES)
        default = moment_in(section, "at") if "at" in section else None
        for key, entry in section.items():
            if key != "at":
                with reading.part(f"[{PREFERENCES}]"):
                    reading.facts.append(_answer(key, entry, default, file))


def _answer(key: str, entry: object, default: Moment | None, file: str) -> Fact:
    first, _, second = key.partition("/")
    if not first.strip() or not second.strip() or "/" in second or first == second:
        raise InputError(
            f"{key!r} does not name two things", mend='write "no-bag/kidneys" = "first"'
        )
    at, value = default, entry
    if isinstance(entry, Mapping):
        with placed(key):
            check_keys(entry, ("value",), ("at",))
            at = moment_in(entry, "at") if "at" in entry else default
        value = entry["value"]
    if at is None:
        raise InputError(
            f"{key!r} has no date", mend=f"add at = 2026-03-01 to [{PREFERENCES}] or to the answer"
        )
    word = text_in({key: value}, key)
    known = concept(ANSWER).choices
    if word not in known:
        raise InputError(f"{key!r} cannot be {word!r}", mend=closest(word, known))
    origin = Origin(BY_THE_PERSON, f"{file} [{PREFERENCES}] {key}")
    return Fact(ANSWER, word, None, at, origin, label=key)


def preference_lines(facts: Iterable[Fact]) -> Iterator[str]:
    """Yield the section of these answers, or nothing where there is none.

    Raises
    ------
    ValueError
        If one question has several answers: a case file holds one of each.
    """
    seen = set()
    for number, fact in enumerate(facts):
        if number == 0:
            yield f"\n[{PREFERENCES}]"
        if fact.label in seen:
            msg = f"a case file has one answer to {fact.label!r}"
            raise ValueError(msg)
        seen.add(fact.label)
        yield f'"{fact.label}" = {{ value = "{fact.value}", at = {fact.at.isoformat()} }}'
