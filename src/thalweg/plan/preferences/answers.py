"""The person's answers as they stand on record: which count, and where they pull apart."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Literal, get_args

from thalweg.errors import InputError
from thalweg.plan.preferences.attributes import pair_key
from thalweg.record.fact import moment_key, say_moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from thalweg.plan.preferences.attributes import Attribute, Matters
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = [
    "CONCEPT",
    "Answer",
    "Given",
    "Word",
    "answers_of",
    "not_of_the_list",
    "parse_answer",
    "pulls",
]

CONCEPT = "preference-answer"
"""Concept of every answer; its label names the question."""
Word = Literal["first", "second", "no difference", "do not know"]
WORDS: tuple[Word, ...] = get_args(Word)
_WORDS: dict[str, Word] = {word: word for word in WORDS}
_FLIPPED: dict[Word, Word] = {"first": "second", "second": "first"}


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer that counts.

    Parameters
    ----------
    first, second : str
        Keys of the two attributes, in the order of the list.
    word : str
        ``"first"``, ``"second"``, ``"no difference"`` or ``"do not know"``.
    fact : Fact or None
        Where it is on record; None for one that is only supposed.
    earlier : tuple of Fact
        Answers to the same question that came before; kept, and no longer counted.
    """

    first: str
    second: str
    word: Word
    fact: Fact | None = None
    earlier: tuple[Fact, ...] = ()

    @property
    def key(self) -> str:
        """Name of the question."""
        return pair_key(self.first, self.second)


@dataclass(frozen=True, slots=True)
class Given:
    """All that is on record of a person's answers.

    Parameters
    ----------
    answers : tuple of Answer
        Those that count, in the order of the list.
    said : tuple of str
        Which later answer took the place of an earlier, and which cannot be used and why.
    """

    answers: tuple[Answer, ...] = ()
    said: tuple[str, ...] = ()

    @property
    def asked(self) -> frozenset[str]:
        """Names of the questions that were put, whatever was answered."""
        return frozenset(answer.key for answer in self.answers)


def parse_answer(text: str, known: Matters) -> Answer:
    """Return the answer that ``first-key/second-key=word`` writes down.

    Either order of the two keys is understood.

    Raises
    ------
    InputError
        If it names no question of the list, or no answer.
    """
    key, equals, word = (part.strip() for part in text.partition("="))
    one, slash, two = (part.strip() for part in key.partition("/"))
    names = [attribute.key for attribute in known.attributes]
    if not equals or not slash:
        raise InputError(
            f"{text!r} is no answer", where="--answer", mend="write it like no-bag/kidneys=first"
        )
    for name in (one, two):
        if name not in names:
            near = get_close_matches(name, names, n=1, cutoff=0.5) or names
            raise InputError(
                f"{name!r} is not on the list", where="--answer", mend=f"choose {', '.join(near)}"
            )
    if one == two:
        raise InputError(f"{key!r} asks the same twice", where="--answer", mend="name two")
    if word not in _WORDS:
        raise InputError(
            f"{word!r} is no answer to {key}", where="--answer", mend=f"say {' or '.join(WORDS)}"
        )
    said = _WORDS[word]
    if names.index(one) > names.index(two):
        return Answer(two, one, _FLIPPED.get(said, said))
    return Answer(one, two, said)


def not_of_the_list(facts: Iterable[Fact], known: Matters) -> tuple[str, ...]:
    """Return a sentence for each answer that names no question of our list.

    They are facts all the same: a unit may ask about matters of its own.
    """
    said = []
    for fact in facts:
        if fact.concept != CONCEPT:
            continue
        try:
            parse_answer(f"{fact.label}={fact.value}", known)
        except InputError as error:
            said.append(
                f"The answer to {fact.label!r} is kept, and used only where the unit's own "
                f"preferences.toml asks it: {error.what}."
            )
    return tuple(said)


def answers_of(case: Case, known: Matters) -> Given:
    """Return the answers that count, of all that are on record.

    The latest answer to a question counts. Two different ones at one time are kept and neither
    counts. An answer about something that is not on the list is kept, not used, and said.

    Parameters
    ----------
    case : Case
    known : Matters
        What may be asked.
    """
    said: list[str] = []
    history: dict[str, list[tuple[Word, Fact]]] = {}
    for fact in case.series(CONCEPT):
        try:
            answer = parse_answer(f"{fact.label}={fact.value}", known)
        except InputError:
            said.append(
                f"The answer {fact.value!r} to {fact.label!r} is kept and not used: it is not a "
                "question of the list."
            )
            continue
        history.setdefault(answer.key, []).append((answer.word, fact))
    answers = []
    for one, two in known.pairs:
        told = history.get(pair_key(one.key, two.key))
        if told:
            latest, sentence = _latest(one, two, told)
            answers += [latest] if latest is not None else []
            said += [sentence] if sentence else []
    return Given(tuple(answers), tuple(said))


def _latest(
    one: Attribute, two: Attribute, told: Sequence[tuple[Word, Fact]]
) -> tuple[Answer | None, str]:
    """Return the answer that counts, if one does, and what is to be said of the others."""
    key = pair_key(one.key, two.key)
    newest = max(moment_key(fact.at) for _, fact in told)
    last = [(word, fact) for word, fact in told if moment_key(fact.at) == newest]
    before = tuple(fact for _, fact in told if moment_key(fact.at) < newest)
    if len({word for word, _ in last}) > 1:
        words = " and ".join(sorted({f"“{word}”" for word, _ in last}))
        return None, (
            f"{key}: {words} at one time; both kept, neither counted. Ask again, or withdraw one."
        )
    word, fact = last[0]
    differs = [old for old_word, old in told if old in before and old_word != word]
    sentence = ""
    if differs:
        days = ", ".join(say_moment(old.at)[:10] for old in differs)
        sentence = (
            f"{key}: the answer of {say_moment(fact.at)[:10]} (“{word}”) counts; an earlier, "
            f"different one ({days}) is kept on record."
        )
    return Answer(one.key, two.key, word, fact, before), sentence


def pulls(answers: Iterable[Answer]) -> tuple[tuple[str, ...], ...]:
    """Return circles among answers: each before the next, and the last before the first.

    Things said to matter the same stand together. Each circle is a shortest one, told once and
    from its first name on in alphabetical order.
    """
    strict: dict[str, set[str]] = {}
    loose: dict[str, set[str]] = {}
    for answer in answers:
        ends = (answer.first, answer.second)
        if answer.word == "no difference":
            for this, other in (ends, ends[::-1]):
                loose.setdefault(this, set()).add(other)
        elif answer.word != "do not know":
            more, less = ends if answer.word == "first" else ends[::-1]
            strict.setdefault(more, set()).add(less)
    found = set()
    for more in sorted(strict):
        for less in sorted(strict[more]):
            way = _way(less, more, strict, loose)
            if way:
                circle = (more, *way[:-1])
                start = circle.index(min(circle))
                found.add((*circle[start:], *circle[:start]))
    return tuple(sorted(found, key=lambda circle: (len(circle), circle)))


def _way(
    start: str, end: str, strict: dict[str, set[str]], loose: dict[str, set[str]]
) -> tuple[str, ...]:
    """Return the shortest way down from one name to another, both with it, or nothing."""
    ways: list[tuple[str, ...]] = [(start,)]
    seen = {start}
    while ways:
        way = ways.pop(0)
        for following in sorted(strict.get(way[-1], set()) | loose.get(way[-1], set())):
            if following == end:
                return (*way, following)
            if following not in seen:
                seen.add(following)
                ways.append((*way, following))
    return ()
