"""Take the person's answers into the record, and show which order they give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.plan.preferences.answers import CONCEPT, parse_answer
from thalweg.plan.preferences.attributes import PREFERENCES_TABLE, matters
from thalweg.plan.preferences.printed import preference_lines, preferences_json
from thalweg.plan.preferences.report import preferences_of
from thalweg.progress import silent
from thalweg.record.fact import Fact, Origin
from thalweg.service.protocol import NO_PROTOCOL
from thalweg.service.workup import work_up

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from thalweg.plan.preferences.report import Preferences
    from thalweg.progress import Progress
    from thalweg.record.fact import Moment
    from thalweg.service.protocol import Protocol
    from thalweg.service.workup import Workup
    from thalweg.store.store import Store

__all__ = ["Preferred", "prefer", "preferences_for"]

BY_THE_PERSON = "the person"
"""Kind of origin of every answer: nobody else can give one."""


def preferences_for(workup: Workup, protocol: Protocol = NO_PROTOCOL) -> Preferences:
    """Return the order of the open options of a work-up by the person's own answers.

    Raises
    ------
    InputError
        If an entry of the unit's ``preferences.toml`` is not of its form.
    """
    known = matters(protocol.table(PREFERENCES_TABLE))
    return preferences_of(workup.case, workup.appraisal, known, workup.at)


@dataclass(frozen=True)
class Preferred:
    """The answers taken in, and what all of them say."""

    case_id: str
    recorded: tuple[Fact, ...]
    preferences: Preferences
    problems: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        lines = [f"Recorded: {fact}" for fact in self.recorded]
        lines += preference_lines(self.preferences)
        return [*lines, *(f"! {problem}" for problem in self.problems)]

    def to_json(self) -> dict[str, Any]:
        """Return it for programs."""
        return {
            "case": self.case_id,
            "recorded": [fact.id for fact in self.recorded],
            **preferences_json(self.preferences),
            "problems": list(self.problems),
        }


def prefer(
    case_id: str,
    store: Store,
    answers: Sequence[str] = (),
    *,
    at: date,
    now: datetime,
    protocol: Protocol = NO_PROTOCOL,
    progress: Progress = silent,
) -> Preferred:
    """Take answers into the record, all of them or none, and return what all on record say.

    Parameters
    ----------
    case_id : str
    store : Store
    answers : sequence of str
        Each ``no-bag/kidneys=first``.
    at : date
        Work as of this day; an answer of an earlier day than today is dated by the day alone.
    now : aware datetime
        When they were given, where that is today.
    protocol : Protocol
    progress : Progress

    Raises
    ------
    InputError
        If there is no such case, an answer cannot be understood or is given twice, or the day
        lies ahead.
    """
    known = matters(protocol.table(PREFERENCES_TABLE))
    parsed = [parse_answer(text, known) for text in answers]
    keys = [answer.key for answer in parsed]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise InputError(
            f"{twice[0]} is answered twice", where="--answer", mend="give one answer to each"
        )
    case = store.get_case(case_id)
    recorded: tuple[Fact, ...] = ()
    if parsed:
        if at > now.date():
            raise InputError(
                "an answer cannot be of a day to come", where="--on", mend="leave --on out"
            )
        if at < case.person.born:
            raise InputError("lies before the person's birth", where="--on", mend="correct it")
        moment: Moment = now if at == now.date() else at
        origin = Origin(BY_THE_PERSON, "asked at the keyboard")
        facts = [Fact(CONCEPT, one.word, None, moment, origin, label=one.key) for one in parsed]
        recorded = store.record(case.person, facts, action="took in answers").facts
    worked = work_up(case_id, store, at=at, protocol=protocol, progress=progress)
    return Preferred(case_id, recorded, preferences_for(worked, protocol), worked.problems)
