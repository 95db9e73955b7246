"""How hard a text is to read, by a public formula for English."""

from __future__ import annotations

import re
import tomllib
import warnings
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

__all__ = ["HIGHEST_GRADE", "reading_grade", "syllables"]

HIGHEST_GRADE = 8.0
"""Most guides to writing for patients ask for school grade 6 to 8 (common practice)."""

_SENTENCES = re.compile(r"(?<=[.!?])[”’)]?\s+")
_WORDS = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?|\d+(?:\.\d+)?")


class _Library(NamedTuple):
    kincaid: Callable[[float, float, float], float]
    spelt: Callable[[str], int]


@cache
def _library() -> _Library:
    with warnings.catch_warnings():
        # An escape in its source that newer Pythons warn of when they first compile it.
        warnings.simplefilter("ignore")
        from readability import KincaidGradeLevel  # noqa: PLC0415 - only when a sheet is made
        from readability.langdata import countsyllables_en  # noqa: PLC0415
    return _Library(KincaidGradeLevel, countsyllables_en)


@cache
def _known() -> Mapping[str, int]:
    page = files("thalweg.sheets.messages").joinpath("syllables.toml")
    return tomllib.loads(page.read_text(encoding="utf-8"))


def syllables(word: str) -> int:
    """Return the syllables of an English word: as listed, else by the library's rules of spelling.

    The rules give short words such as "the" none; no word has fewer than one.
    """
    word = word.lower().replace("’", "'")
    listed = _known().get(word)
    return listed if listed is not None else max(1, _library().spelt(word))


def reading_grade(texts: Iterable[str]) -> float | None:
    """Return the Flesch-Kincaid grade of texts that are read one after the other.

    Parameters
    ----------
    texts : iterable of str
        English; each ends its last sentence. A number counts as a word of one syllable.

    Returns
    -------
    float or None
        United States school grade, not rounded; None where there are no words.

    Notes
    -----
    0.39 words per sentence + 11.8 syllables per word - 15.59 (Kincaid, Fishburne, Rogers and
    Chissom, 1975), by the library readability.
    """
    sentences = [
        words
        for text in texts
        for part in _SENTENCES.split(text)
        if (words := _WORDS.findall(part))
    ]
    if not sentences:
        return None
    words = [word for sentence in sentences for word in sentence]
    spoken = sum(1 if word[0].isdigit() else syllables(word) for word in words)
    return float(_library().kincaid(spoken, len(words), len(sentences)))
