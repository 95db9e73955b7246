"""How each item of the work-up stands: done, too old, missing, partly, contradicting, not asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from thalweg.evidence.conditions.judge import judge
from thalweg.plan.workup.asking import ground_for
from thalweg.plan.workup.options import in_question
from thalweg.plan.workup.rulebook import IMAGES
from thalweg.record.concept import concept
from thalweg.record.fact import Mark, PixelMark, say
from thalweg.record.reckon import day_of
from thalweg.record.truth import Truth
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from thalweg.evidence.conditions.ground import Ground
    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.workup.clashes import Clash
    from thalweg.plan.workup.rulebook import Item, WorkupRules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["OPEN", "Answer", "Measured", "Question", "Standing", "State", "standings"]

State = Literal[
    "contradicting",
    "missing",
    "partly",
    "too old",
    "due again",
    "not known whether asked",
    "done",
    "not asked",
]
OPEN: tuple[State, ...] = (
    "contradicting",
    "missing",
    "partly",
    "too old",
    "due again",
    "not known whether asked",
)
"""States in which something remains to do; "due again" serves today and not on the day."""


@dataclass(frozen=True, slots=True)
class Question:
    """When answers must serve: today, and on the day of the operation where that is to come."""

    at: date
    operation: date | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured on the images, as a page prints it, and of which day they are."""

    said: str
    on: date


@dataclass(frozen=True, slots=True)
class Answer:
    """What answers a part of an item.

    Parameters
    ----------
    key : str
        The concept, or ``"images"``.
    said : str
        Its value with unit.
    on : date or None
        Of which day; None where images do not say.
    facts : tuple of Fact
        Empty for images.
    """

    key: str
    said: str
    on: date | None
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """How one item stands.

    Parameters
    ----------
    item : Item
    state : State
    answers : tuple of Answer
        What is on record for it, part by part.
    lacking : tuple of tuple of str
        The parts without an answer that serves: concepts of which any would do.
    because : str
        Why, as a sentence; empty where it is simply done or missing.
    days_over : int
        By how many days the oldest answer is over its limit, today or on the day of the operation.
    settled_by : tuple of str
        For what is not known whether asked: concepts that would tell.
    clashes : tuple of Clash
    """

    item: Item
    state: State
    answers: tuple[Answer, ...] = ()
    lacking: tuple[tuple[str, ...], ...] = ()
    because: str = ""
    days_over: int = 0
    settled_by: tuple[str, ...] = ()
    clashes: tuple[Clash, ...] = ()

    @property
    def open(self) -> bool:
        """Whether something remains to do."""
        return self.state in OPEN

    @property
    def facts(self) -> tuple[Fact, ...]:
        """Every fact that answers it."""
        return tuple(fact for answer in self.answers for fact in answer.facts)


def standings(
    case: Case,
    findings: Iterable[Finding],
    appraisal: Appraisal,
    found: tuple[Clash, ...],
    measured: Mapping[str, Measured],
    rules: WorkupRules,
    question: Question,
) -> tuple[Standing, ...]:
    """Return how every item stands, in the rules' order.

    Parameters
    ----------
    case : Case
        As known on the day.
    findings : iterable of Finding
        For conditions on what is computed.
    appraisal : Appraisal
        Tells which diversions are still in question.
    found : tuple of Clash
    measured : mapping
        What was measured on the images, by a key of `thalweg.plan.workup.rulebook.MEASURES`.
    rules : WorkupRules
    question : Question
    """
    ground = ground_for(case, findings, question.at)
    return tuple(
        _standing(item, case, ground, appraisal, found, measured, question) for item in rules.items
    )


def _standing(
    item: Item,
    case: Case,
    ground: Ground,
    appraisal: Appraisal,
    found: tuple[Clash, ...],
    measured: Mapping[str, Measured],
    question: Question,
) -> Standing:
    taken = [_part(part, case, ground.instead) for part in item.parts]
    answers = tuple(answer for answer in taken if answer is not None)
    mine = tuple(clash for clash in found if clash.concepts & set(item.concepts))
    asked, why, settled_by = _asked(item, case, ground, appraisal)
    if mine:
        said = " ".join(clash.sentence for clash in mine)
        return Standing(item, "contradicting", answers, item.parts, said, clashes=mine)
    if asked is Truth.NOT_MET:
        return Standing(item, "not asked", answers, because=why)
    disputed = [ground.instead[key] for key in item.concepts if key in ground.instead]
    for one in disputed:
        if one.value is None:
            return Standing(item, "contradicting", answers, item.parts, " ".join(one.cautions))
    lacking = tuple(part for part, answer in zip(item.parts, taken, strict=True) if answer is None)
    if not answers and asked is Truth.NOT_KNOWN:
        return Standing(item, "not known whether asked", (), lacking, why, 0, settled_by)
    return _answered(item, answers, lacking, measured, question)


def _answered(
    item: Item,
    answers: tuple[Answer, ...],
    lacking: tuple[tuple[str, ...], ...],
    measured: Mapping[str, Measured],
    question: Question,
) -> Standing:
    """Return how an item stands whose answers nothing excludes."""
    if not answers:
        return Standing(item, "missing", (), lacking)
    if lacking:
        words = "; ".join(" or ".join(map(_called, part)) for part in lacking)
        return Standing(item, "partly", answers, lacking, f"Still missing: {words}.")
    if item.measured and item.measured not in measured:
        return Standing(item, "partly", answers, item.parts, _UNMEASURED)
    if item.measured:
        one = measured[item.measured]
        answers = (*answers, Answer(item.measured, one.said, one.on))
    return _aged(item, answers, question)


_UNMEASURED = "On record, and not yet measured on the images."


def _called(key: str) -> str:
    return "CT or MR images" if key == IMAGES else concept(key).name


def _part(part: tuple[str, ...], case: Case, instead: Mapping[str, Finding]) -> Answer | None:
    """Return the youngest answer to a part of an item, by whichever of its concepts."""
    given = [answer for key in part if (answer := _answer(key, case, instead)) is not None]
    dated = [answer for answer in given if answer.on is not None]
    if dated:
        return max(dated, key=lambda answer: (str(answer.on), -part.index(answer.key)))
    return given[0] if given else None


def _answer(key: str, case: Case, instead: Mapping[str, Finding]) -> Answer | None:
    if key == IMAGES:
        return _images(case)
    if key in instead:
        found = instead[key]
        known_by = Answer(key, found.shown(), day_of(found.at), found.facts)
        return None if found.value is None else known_by
    facts = [case.latest(key, label=label).fact for label in case.labels(key)]
    known = [fact for fact in facts if fact is not None]
    if not known:
        return None
    # Of several that stand beside one another, such as sites, the oldest tells how old.
    oldest = min(day_of(fact.at) for fact in known)
    return Answer(key, "; ".join(_said(fact) for fact in known), oldest, tuple(known))


def _said(fact: Fact) -> str:
    label = fact.label
    if isinstance(fact.value, Mark | PixelMark):
        return label or "marked"
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    value = f"{say(fact.value)}{unit}"
    return f"{label}: {value}" if label else value


def _images(case: Case) -> Answer | None:
    volumes = [one for one in case.images if one.is_volume]
    if not volumes:
        return None
    latest = max(volumes, key=lambda one: (one.acquired, one.series_uid))
    kinds = ", ".join(dict.fromkeys(one.modality for one in volumes))
    return Answer(IMAGES, f"{kinds} series", _day(latest.acquired))


def _day(acquired: str) -> date | None:
    from datetime import date as day  # noqa: PLC0415 - a type everywhere else

    try:
        return day.fromisoformat(acquired[:10])
    except ValueError:
        return None


def _asked(
    item: Item, case: Case, ground: Ground, appraisal: Appraisal
) -> tuple[Truth, str, tuple[str, ...]]:
    """Return whether an item is asked of this person, why not, and what would tell."""
    if not item.asked:
        return Truth.NOT_MET, f"By this unit's own protocol: {item.local_source}.", ()
    if item.asked_when is not None:
        judged = judge(item.asked_when, ground)
        if judged.truth is Truth.NOT_MET:
            return Truth.NOT_MET, f"Not asked: {item.otherwise}.", ()
        if judged.truth is Truth.NOT_KNOWN:
            names = ", ".join(concept(key).name for key in judged.missing)
            why = f"Whether it is asked depends on what is not recorded: {names}."
            return Truth.NOT_KNOWN, why, judged.missing
    if item.options and not in_question(item.options, item.concepts, case, appraisal):
        named = [one.diversion.name for one in appraisal.diversions]
        keys = [one.diversion.key for one in appraisal.diversions]
        words = ", ".join(named[keys.index(key)] for key in item.options if key in keys)
        return Truth.NOT_MET, f"Asked only for: {words}; neither meant nor in question.", ()
    return Truth.MET, "", ()


def _aged(item: Item, answers: tuple[Answer, ...], question: Question) -> Standing:
    limit = item.old_after_days
    later = item.old_at_operation_days if item.old_at_operation_days is not None else limit
    if limit is None and later is None:
        return Standing(item, "done", answers)
    dates = [answer.on for answer in answers if answer.on is not None]
    if len(dates) < len(answers):
        undated = "Its day is not known, so neither is whether it is too old."
        return Standing(item, "too old", answers, item.parts, undated)
    oldest = min(dates)
    if limit is not None and (days := (question.at - oldest).days) > limit:
        over = days - limit
        said = f"{days} days old, where {limit} are allowed: {over} over. Repeat it."
        return Standing(item, "too old", answers, item.parts, said, over)
    day = question.operation
    if day is not None and later is not None and (days := (day - oldest).days) > later:
        said = (
            f"Will be {days} days old at the operation on {day.isoformat()}, where {later} are "
            "allowed: repeat it before."
        )
        return Standing(item, "due again", answers, item.parts, said, days - later)
    return Standing(item, "done", answers)
