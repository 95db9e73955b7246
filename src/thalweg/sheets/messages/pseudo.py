"""Two languages that nobody speaks, to see what a translation would do to a sheet.

``en-XA`` is English with accents, a third longer and in brackets: what is not translated stays
plain, and what has no room shows. ``ar-XB`` has Arabic letters and runs from right to left. The
codes are those that CLDR sets aside for this.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["ACCENTED", "MIRRORED", "PSEUDO"]

ACCENTED: Final = "en-XA"
MIRRORED: Final = "ar-XB"
GROWTH: Final = 0.35
"""European translations of English run about a third longer (common practice)."""

_ACCENTS = str.maketrans(
    "aAcCdDeEgGhHiIjJkKlLnNoOrRsStTuUwWyYzZ",
    "åÅçÇðÐéÉĝĜĥĤîÎĵĴķĶļĻñÑöÖŕŔšŠţŢûÛŵŴýÝžŽ",
)
_LETTERS = str.maketrans(
    "abcdefghijklmnopqrstuvwxyz",
    "ابتدعفجحيخكلمنوبقرسطثصضهىز",
)
_BRACES = re.compile(r"(\{[^{}]*\})")


def _between(text: str, change: Callable[[str], str]) -> str:
    """Change what stands outside the braces."""
    parts = _BRACES.split(text)
    return "".join(part if at % 2 else change(part) for at, part in enumerate(parts))


def _accented(text: str) -> str:
    wide = _between(text, lambda part: part.translate(_ACCENTS))
    pad = "·" * max(1, round(GROWTH * len(text)))
    # Dots that break between lines as words would.
    return f"⟦{wide} {' '.join(pad[at : at + 6] for at in range(0, len(pad), 6))}⟧"


def _mirrored(text: str) -> str:
    return _between(text, lambda part: part.lower().translate(_LETTERS))


PSEUDO: Final[Mapping[str, Callable[[str], str]]] = {ACCENTED: _accented, MIRRORED: _mirrored}
