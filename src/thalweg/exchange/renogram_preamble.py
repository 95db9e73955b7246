"""What stands before the table of a renogram: lines of ``# key: value``."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final, TypedDict

from thalweg.errors import InputError
from thalweg.record.renogram import ROLES
from thalweg.record.units import parse_quantity, printed

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from thalweg.exchange.reading import Reading

__all__ = ["Preamble"]

VIEWS: Final = ("posterior", "anterior", "geometric mean")
YES_NO: Final = {"yes": True, "no": False}
SECONDS: Final = {"s": 1, "min": 60, "h": 3600, "d": 86400}
AREA: Final = "area "
KEYS: Final = (
    "tracer",
    "given",
    "furosemide",
    "duration",
    "half-life",
    "decay-corrected",
    "view",
    "acquired",
    "phantom",
    "caution",
    *(f"{AREA}{role}" for role in ROLES),
)
KEPT_SHORT: Final = 500
"""Characters of a text that is kept; more is a slip."""


class HalfLife(TypedDict, total=False):
    """A half-life where one is said, so that the record's own stands where none is."""

    half_life_s: float


@dataclass(slots=True)
class Preamble:
    """What the lines say; empty or None where they say nothing.

    Parameters
    ----------
    duration_s : Decimal or None
        One duration for all frames.
    areas : dict of str to float
        Area in pixels by role.
    given_s, furosemide_s : float
        As in `thalweg.record.renogram.Renogram`; `given_s` on the table's clock.
    """

    tracer: str = ""
    given_s: float = 0.0
    furosemide_s: float | None = None
    duration_s: Decimal | None = None
    half_life: HalfLife = field(default_factory=HalfLife)
    decay_corrected: bool | None = None
    view: str = ""
    acquired: str = ""
    phantom: bool = False
    areas: dict[str, float] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, lines: Iterable[tuple[int, str]], reading: Reading) -> Preamble:
        """Read the lines, each with its number; `reading` takes their problems."""
        found = cls()
        seen: set[str] = set()
        for number, line in lines:
            with reading.part(f"line {number}"):
                key, colon, value = line.partition(":")
                key, value = " ".join(key.lower().split()), value.strip()
                if not colon or key not in KEYS:
                    near = get_close_matches(key, KEYS, n=1)
                    mend = f"did you mean '# {near[0]}:'" if near else "write '# key: value'"
                    raise InputError(f"says something that is not known, '# {key}'", mend=mend)
                if key in seen and key != "caution":
                    raise InputError(f"says {key!r} a second time", mend="keep one of the two")
                if not value or (len(value) > KEPT_SHORT and key != "caution"):
                    raise InputError(
                        f"{key!r} is {'too long' if value else 'empty'}",
                        mend="correct it or leave the line out",
                    )
                seen.add(key)
                found._take(key, value)
        return found

    def areas_of(self, roles: Iterable[str]) -> dict[str, float]:
        """Return the areas, refusing one of a region that the table has not."""
        stray = sorted(set(self.areas) - set(roles))
        if stray:
            raise InputError(
                f"gives an area of {stray[0]} but has no such column",
                mend="add the column or leave the line out",
            )
        return dict(self.areas)

    def _take(self, key: str, value: str) -> None:
        if key.startswith(AREA):
            self.areas[key.removeprefix(AREA)] = _area(value)
        elif key in ("tracer", "view", "acquired", "caution"):
            self._take_words(key, value)
        elif key in ("phantom", "decay-corrected"):
            self._take_yes_no(key, value)
        elif key == "furosemide" and value.lower() == "none":
            self.furosemide_s = None
        else:
            self._take_time(key, value)

    def _take_words(self, key: str, value: str) -> None:
        if key == "caution":
            self.cautions.append(value)
        elif key == "tracer":
            self.tracer = value
        elif key == "acquired":
            self.acquired = _iso(value)
        elif value in VIEWS:
            self.view = value
        else:
            raise InputError(
                f"the view cannot be {value!r}", mend=f"write one of {', '.join(VIEWS)}"
            )

    def _take_yes_no(self, key: str, value: str) -> None:
        answer = YES_NO.get(value.lower())
        if answer is None:
            raise InputError(f"{key!r} cannot be {value!r}", mend="write yes or no")
        if key == "phantom":
            self.phantom = answer
        else:
            self.decay_corrected = answer

    def _take_time(self, key: str, value: str) -> None:
        number, unit = parse_quantity(value)
        if unit not in SECONDS:
            raise InputError(
                f"{key!r} is in {printed(unit) or 'no unit'}, not a time",
                mend=f"write it like '# {key}: 20 min'",
            )
        seconds = number * SECONDS[unit]
        if key in ("duration", "half-life") and seconds <= 0:
            raise InputError(f"{key!r} is not above 0", mend="correct it")
        if key == "given":
            self.given_s = float(seconds)
        elif key == "furosemide":
            self.furosemide_s = float(seconds)
        elif key == "duration":
            self.duration_s = seconds
        else:
            self.half_life = HalfLife(half_life_s=float(seconds))


def _area(value: str) -> float:
    number, unit = parse_quantity(value)
    if unit != "{pixels}":
        raise InputError(
            f"an area in {printed(unit) or 'no unit'} cannot be used",
            mend="give it in pixels, such as 412 {pixels}",
        )
    if number <= 0:
        raise InputError("an area is not above 0", mend="correct it")
    return float(number)


def _iso(value: str) -> str:
    """Return a date, or date and time with or without its offset, as ISO 8601 writes it."""
    for kind in (date, datetime):
        try:
            return kind.fromisoformat(value).isoformat()
        except ValueError:
            continue
    raise InputError(
        f"{value!r} is not a date", mend="write it like 2026-03-01 or 2026-03-01T08:30+01:00"
    )
