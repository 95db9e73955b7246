"""The English texts by key: our own, those of the diagrams and arrays, and those of the outcomes.

The key and the English text together name a text to a translation (gettext's context and id). When
the English changes, its old translation no longer fits and is not used: a sheet on which people
decide must not say something else in another language.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import TYPE_CHECKING, Any

from thalweg.evidence.outcome import definitions, outcomes
from thalweg.sheets.pictures.diversions import wording as diagrams
from thalweg.sheets.pictures.icon_words import ENGLISH as ICONS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["Message", "blocks", "english", "glossary", "placeholders"]

LABELS = ("label.", "diagram.", "icons.")
"""Headings, names and captions: fragments, to which no formula of reading grade applies."""
PROFESSIONAL = ("definition.",)
"""What was counted, in the words of those who counted: on the page for those who check."""


@dataclass(frozen=True, slots=True)
class Message:
    """One English text.

    Parameters
    ----------
    key : str
        Words joined by hyphens and dots.
    one : str
        The text, or the one for a single thing.
    other : str
        The text for several things; empty where it does not count.
    """

    key: str
    one: str
    other: str = ""

    @property
    def measured(self) -> bool:
        """Whether its reading grade means something and is kept low."""
        return not self.key.startswith((*LABELS, *PROFESSIONAL))


def placeholders(text: str) -> frozenset[str]:
    """Return the names in braces that a text has to be given."""
    return frozenset(name for _, name, _, _ in Formatter().parse(text) if name is not None)


def _leaves(path: str, table: Mapping[str, Any]) -> Iterator[Message]:
    for name, value in table.items():
        key = f"{path}.{name}" if path else name
        if isinstance(value, str):
            yield Message(key, value)
        elif isinstance(value, list):
            for number, text in enumerate(value, 1):
                yield Message(f"{key}.{number}", text)
        elif set(value) == {"one", "other"}:
            yield Message(key, value["one"], value["other"])
        else:
            yield from _leaves(key, value)


def _pages() -> Iterator[Message]:
    folder = files("thalweg.sheets.messages").joinpath("english")
    for page in sorted(folder.iterdir(), key=lambda one: one.name):
        if page.name.endswith(".toml"):
            yield from _leaves("", tomllib.loads(page.read_text(encoding="utf-8")))


def _elsewhere() -> Iterator[Message]:
    """Yield the texts that stand beside what they speak of."""
    for key, text in (*diagrams.ENGLISH.items(), *ICONS.items()):
        yield Message(key, text)
    for key, outcome in outcomes().items():
        yield Message(f"outcome.{key}", outcome.plain)
    for key, definition in definitions().items():
        yield Message(f"definition.{key}", definition.says)


@cache
def english() -> Mapping[str, Message]:
    """Return every English text by its key.

    Raises
    ------
    ValueError
        If a key stands twice: a fault of the packaged texts.
    """
    found: dict[str, Message] = {}
    for message in (*_pages(), *_elsewhere()):
        if message.key in found:
            msg = f"the text {message.key!r} stands twice"
            raise ValueError(msg)
        found[message.key] = message
    return found


def blocks() -> Mapping[str, tuple[Message, ...]]:
    """Return the texts whose reading grade is measured, the items of a list as one block."""
    found: dict[str, list[Message]] = {}
    for key, message in english().items():
        if message.measured:
            stem, _, last = key.rpartition(".")
            found.setdefault(stem if last.isdigit() else key, []).append(message)
    return {key: tuple(some) for key, some in found.items()}


def glossary() -> tuple[str, ...]:
    """Return the keys of the words that are explained, in the order of the English."""
    start = "label.glossary."
    return tuple(key.removeprefix(start) for key in english() if key.startswith(start))
