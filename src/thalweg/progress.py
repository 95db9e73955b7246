"""How long work tells whoever watches how far it is, without knowing who that is."""

from __future__ import annotations

from typing import Protocol

__all__ = ["Progress", "silent"]


class Progress(Protocol):
    """Called as work goes on; cheap enough to call for every slice or sample."""

    def __call__(self, label: str, done: int, total: int) -> None:
        """Say that `done` of `total` steps of the work called `label` are finished."""


def silent(label: str, done: int, total: int) -> None:
    """Watch nothing: the default for callers without a screen."""
