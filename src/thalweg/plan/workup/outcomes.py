"""What each open item could change: the appraisal rehearsed over its plausible answers."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations, product
from math import prod
from typing import TYPE_CHECKING, get_args

from thalweg.plan.appraised import Verdict
from thalweg.plan.workup.ends import values_of
from thalweg.plan.workup.rulebook import IMAGES
from thalweg.plan.workup.tokens import held_tokens, tokens_of, wanted_tokens
from thalweg.record.concept import concept
from thalweg.record.fact import say
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from thalweg.plan.workup.ends import Value
    from thalweg.plan.workup.rehearse import Rehearsal
    from thalweg.plan.workup.rulebook import WorkupRules
    from thalweg.plan.workup.standing import Standing

__all__ = ["Outcome", "Rehearsed", "Trial", "Waiting"]

MOST_TRIALS = 512
"""More joint answers than this are not gone through; the answers are then tried one by one."""
MOST_TOGETHER = 7
"""How many further items are sought without which an item changes nothing."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A verdict that would change.

    Parameters
    ----------
    diversion : str
        Its key.
    before, after : Verdict
    when : str
        The answers that lead to it.
    together_with : tuple of str
        Keys of further items without which it does not come about.
    """

    diversion: str
    before: Verdict
    after: Verdict
    when: str
    together_with: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Waiting:
    """An undecided diversion: the items it waits for, and the verdicts it could then have.

    `could_become` is empty where the joint answers were too many to go through.
    """

    diversion: str
    items: tuple[str, ...]
    could_become: tuple[Verdict, ...]


@dataclass(frozen=True, slots=True)
class Trial:
    """One set of answers to try, and what it marks or measures."""

    answers: tuple[tuple[str, Value], ...]
    tokens: frozenset[str]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a trial changes, and what the ureters do in it: "", "reach" or "fall short"."""

    trial: Trial
    ureters: str
    verdicts: Mapping[str, Verdict]


class Rehearsed:
    """The appraisal rehearsed over the answers to open items.

    Parameters
    ----------
    rehearsal : Rehearsal
    rules : WorkupRules
    measured : collection of str
        What was measured on the images.
    """

    def __init__(self, rehearsal: Rehearsal, rules: WorkupRules, measured: Iterable[str]) -> None:
        self.rehearsal, self.rules = rehearsal, rules
        self._held = held_tokens(rehearsal.case, frozenset(measured))
        self._ways = tuple(way.key for way in rehearsal.rules.diversions)
        self._wanted = {
            way.key: wanted_tokens(way, rehearsal.case, rehearsal.routes)
            for way in rehearsal.rules.diversions
        }
        self._rows = {one.diversion.key: one for one in rehearsal.base.diversions}
        self._trials: dict[str, tuple[Trial, ...]] = {}
        self.unfinished: set[str] = set()
        """Diversions for which too many joint answers were left untried."""

    def trials(self, standing: Standing) -> tuple[Trial, ...]:
        """Return the answers to try for one item.

        Parts that no criterion reads are left unanswered: they cannot change a verdict. Where a
        part may be answered by one of several concepts, each is tried. More joint answers than
        `MOST_TRIALS` are tried one by one.
        """
        key = standing.item.key
        if key not in self._trials:
            self._trials[key] = self._all_trials(standing)
        return self._trials[key]

    def _all_trials(self, standing: Standing) -> tuple[Trial, ...]:
        tokens = tokens_of(standing.item)
        tried = [
            [
                (key, value)
                for key in part
                if key != IMAGES and self.rehearsal.matters(key)
                for value in values_of(key, self.rules, self.rehearsal.rules)
            ]
            for part in standing.lacking
        ]
        choices = [answers for answers in tried if answers]
        if prod(map(len, choices)) <= MOST_TRIALS:
            return tuple(Trial(answers, tokens) for answers in product(*choices))
        return tuple(Trial((answer,), tokens) for answers in choices for answer in answers)

    def _seen(self, trial: Trial) -> Iterator[Seen]:
        """Yield what a trial changes; twice where reach could go either way."""
        answers = dict(trial.answers)
        there = self._held | trial.tokens
        unlocked = [
            key
            for key, wanted in self._wanted.items()
            if wanted & (trial.tokens - self._held) and wanted <= there
        ]
        if not unlocked:
            yield Seen(trial, "", self.rehearsal.changed(answers))
            return
        for reaches, ureters in ((True, "reach"), (False, "fall short")):
            changed = self.rehearsal.changed(answers, dict.fromkeys(unlocked, reaches))
            yield Seen(trial, ureters, changed)

    def alone(self, standing: Standing) -> tuple[Outcome, ...]:
        """Return what an item changes by itself, in the catalogue's order."""
        seen = [one for trial in self.trials(standing) for one in self._seen(trial)]
        return tuple(outcome for way in self._ways for outcome in self._outcomes(way, seen))

    def _outcomes(
        self, way: str, seen: Sequence[Seen], with_: tuple[str, ...] = ()
    ) -> Iterator[Outcome]:
        for after in get_args(Verdict):
            leading = [one for one in seen if one.verdicts.get(way) == after]
            if leading:
                yield Outcome(way, self.rehearsal.verdicts[way], after, when(leading), with_)

    def together(self, standing: Standing, others: Sequence[Standing]) -> tuple[Outcome, ...]:
        """Return what an item changes only with others.

        For each diversion the fewest others are taken, the earliest first, with which a verdict
        comes about that neither they nor the item bring about without one another.
        """
        found: list[Outcome] = []
        for way in self._ways:
            near = [one for one in others if self._beside(standing, one, way)]
            for size in range(1, min(len(near), MOST_TOGETHER) + 1):
                for chosen in combinations(near, size):
                    new = self._new(standing, chosen, way)
                    found += new
                    if new:
                        break
                else:
                    continue
                break
        return tuple(found)

    def _beside(self, mine: Standing, other: Standing, way: str) -> bool:
        """Return whether one criterion of a diversion waits for both of two items."""
        if mine.item.key == other.item.key:
            return False
        wanted = self._wanted[way] - self._held
        if wanted & tokens_of(mine.item) and wanted & tokens_of(other.item):
            return True
        return any(
            set(mine.item.concepts) & set(weighed.judged.missing)
            and set(other.item.concepts) & set(weighed.judged.missing)
            for weighed in self._rows[way].weighed
        )

    def _new(self, mine: Standing, chosen: tuple[Standing, ...], way: str) -> list[Outcome]:
        without = {one.verdicts.get(way) for one in self._joint(chosen, way)}
        without |= {one.verdicts.get(way) for one in self._joint((mine,), way)}
        seen = [
            one for one in self._joint((mine, *chosen), way) if one.verdicts.get(way) not in without
        ]
        return list(self._outcomes(way, seen, tuple(one.item.key for one in chosen)))

    def _joint(self, standings: Sequence[Standing], way: str) -> Iterator[Seen]:
        """Yield what several items together change, as far as one diversion turns on them."""
        reads = self.rehearsal.reads(way)
        tried = [self._turning(one, reads) for one in standings]
        if prod(map(len, tried)) > MOST_TRIALS:
            self.unfinished.add(way)
            return
        for joint in product(*tried):
            answers = tuple(answer for trial in joint for answer in trial.answers)
            tokens = frozenset(token for trial in joint for token in trial.tokens)
            yield from self._seen(Trial(answers, tokens))

    def _turning(self, standing: Standing, reads: frozenset[str]) -> tuple[Trial, ...]:
        """Return an item's trials, each once, without what a diversion does not read."""
        kept = [
            Trial(tuple(pair for pair in trial.answers if pair[0] in reads), trial.tokens)
            for trial in self.trials(standing)
        ]
        return tuple(dict.fromkeys(kept))

    def waiting(self, way: str, standings: Sequence[Standing]) -> Waiting | None:
        """Return what an undecided diversion waits for, and what it then could become.

        Parameters
        ----------
        way : str
            Key of a diversion.
        standings : sequence of Standing
            The open items.
        """
        row = self._rows[way]
        if row.verdict != "not yet decidable":
            return None
        wanted = self._wanted[way] - self._held
        for_ = tuple(
            one
            for one in standings
            if set(one.item.concepts) & set(row.missing) or wanted & tokens_of(one.item)
        )
        seen = [one.verdicts.get(way, row.verdict) for one in self._joint(for_, way)]
        became = tuple(verdict for verdict in get_args(Verdict) if verdict in seen)
        return Waiting(way, tuple(one.item.key for one in for_), became)


def when(leading: Sequence[Seen]) -> str:
    """Return as words the answers that lead somewhere."""
    ureters = list(dict.fromkeys(one.ureters for one in leading if one.ureters))
    told = f"the ureters {' or '.join(ureters)}" if len(ureters) == 1 else ""
    asked = {key for one in leading for key, _ in one.trial.answers}
    if any(len(one.trial.answers) > 1 for one in leading) or len(asked) > 1:
        single = [one for one in leading if len(one.trial.answers) == 1]
        if len(single) < len(leading):
            first = "; ".join(answer_said(key, (value,)) for key, value in leading[0].trial.answers)
            return "; ".join(filter(None, (f"for example {first}", told)))
    by_key: dict[str, list[Value]] = {}
    for one in leading:
        for key, value in one.trial.answers:
            by_key.setdefault(key, []).append(value)
    words = " or ".join(answer_said(key, dict.fromkeys(values)) for key, values in by_key.items())
    return "; ".join(filter(None, (words, told)))


def answer_said(key: str, values: Iterable[Value]) -> str:
    """Return a concept and the values it could have; a quantity as the span of those tried."""
    row, listed = concept(key), list(values)
    amounts = sorted(value for value in listed if isinstance(value, Decimal))
    if amounts:
        low, high = f"{float(amounts[0]):.3g}", f"{float(amounts[-1]):.3g}"
        span = low if low == high else f"{low} to {high}"
        return f"{row.name} {span} {printed(row.unit or '')}".strip()
    return f"{row.name}: {' or '.join(say(value) for value in listed)}"
