"""A fact: one thing recorded about a person, with its time, unit and origin."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from decimal import Decimal

__all__ = [
    "Fact",
    "FactValue",
    "Mark",
    "Moment",
    "Origin",
    "PixelMark",
    "moment_key",
    "say_moment",
]

Point = tuple[float, float, float]
Moment = date | datetime


@dataclass(frozen=True, slots=True)
class Mark:
    """Places on an image series.

    Parameters
    ----------
    points_mm : tuple of Point
        LPS millimetres; one for a place or a sphere, two for a capsule, more for a course.
    radius_mm : float, optional
        Of a capsule or sphere.
    normal : Point, optional
        Outward direction of the skin at a stoma site; of any length above 0.
    series_uid : str
        Series Instance UID of the images it was placed on, without which LPS means nothing;
        empty for a mark of a scene without images; while a case file is read, the folder's name
        for a second phase.
    """

    points_mm: tuple[Point, ...]
    radius_mm: float | None = None
    normal: Point | None = None
    series_uid: str = ""


@dataclass(frozen=True, slots=True)
class PixelMark:
    """Places on a radiograph, which has no millimetres of its own.

    Parameters
    ----------
    points_px : tuple of (column, row)
        Counted from 0 at the centre of the upper left pixel.
    image : str
        ``sha256:`` and the hash of the file; while a case file is read, the file's name.
    frame : int, optional
        Which one of a file of several, from 1.
    """

    points_px: tuple[tuple[float, float], ...]
    image: str
    frame: int | None = None


FactValue = Decimal | bool | str | Mark | PixelMark


def moment_key(at: Moment) -> datetime:
    """Return an aware time to sort by; a bare date counts as the start of its day in UTC."""
    if isinstance(at, datetime):
        return at
    return datetime.combine(at, time.min, UTC)


def say_moment(at: Moment) -> str:
    """Return the moment as a page prints it: the date, and the minute where it is known."""
    if isinstance(at, datetime):
        return at.strftime("%Y-%m-%d %H:%M%z")
    return at.isoformat()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a fact came from.

    Parameters
    ----------
    kind : str
        ``"FHIR bundle"``, ``"table"``, ``"case file"``, ``"command line"``, ``"by hand"``.
    place : str
        File and entry, such as ``"labs.csv row 4"``; never a path outside the case folder.
    """

    kind: str
    place: str = ""

    def __str__(self) -> str:
        return f"{self.kind}: {self.place}" if self.place else self.kind


@dataclass(frozen=True, slots=True)
class Fact:
    """One dated, sourced statement.

    Parameters
    ----------
    concept : str
        Key of ``data/concepts.toml``.
    value : Decimal, bool, str or Mark
        As given; never converted. Decimal keeps the digits that were written.
    unit : str or None
        UCUM code for a quantity, ``"mm"`` for a Mark, None otherwise.
    at : date or aware datetime
        When it was true of the person (for a specimen: when it was taken).
    origin : Origin
        Where it came from; not part of its identity.
    label : str
        Tells apart several facts of one concept, such as the name of a stoma site.
    questions : tuple of str
        Why a reader should doubt it; a fact is questioned, never silently altered.
    """

    concept: str
    value: FactValue
    unit: str | None
    at: Moment
    origin: Origin
    label: str = ""
    questions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if isinstance(self.at, datetime) and self.at.tzinfo is None:
            msg = f"the time of {self.concept!r} has no time zone"
            raise ValueError(msg)
        if isinstance(self.value, Decimal) and self.unit is None:
            msg = f"the quantity {self.concept!r} has no unit"
            raise ValueError(msg)

    @property
    def id(self) -> str:
        """Sixteen hexadecimal digits that two equal statements share, whatever their origin."""
        text = json.dumps(
            [self.concept, self.label, plain(self.value), self.unit, self.at.isoformat()],
            ensure_ascii=False,
        )
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def to_json(self) -> dict[str, object]:
        """Return the fact in the shape that every command's ``--json`` shares."""
        return {
            "id": self.id,
            "concept": self.concept,
            "label": self.label,
            "value": plain(self.value),
            "unit": self.unit,
            "at": self.at.isoformat(),
            "origin": str(self.origin),
            "questions": list(self.questions),
        }

    def __str__(self) -> str:
        from thalweg.record.units import printed  # noqa: PLC0415 - units reads its table lazily

        unit = f" {printed(self.unit)}".rstrip() if self.unit else ""
        label = f" ({self.label})" if self.label else ""
        return f"{self.concept}{label} {say(self.value)}{unit}, {say_moment(self.at)}"


def say(value: FactValue) -> str:
    """Return a fact's value as words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mark):
        places = "; ".join(", ".join(f"{c:g}" for c in point) for point in value.points_mm)
        return f"[{places}]" + (f" radius {value.radius_mm:g}" if value.radius_mm else "")
    if isinstance(value, PixelMark):
        places = "; ".join(f"{column:g}, {row:g}" for column, row in value.points_px)
        return f"[{places}] pixels"
    return str(value)


def plain(value: FactValue) -> object:
    """Return a fact's value as JSON can carry it: decimals as strings, so no digit is lost."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, Mark):
        return {
            "points_mm": [list(p) for p in value.points_mm],
            "radius_mm": value.radius_mm,
            "normal": None if value.normal is None else list(value.normal),
            "series_uid": value.series_uid,
        }
    if isinstance(value, PixelMark):
        return {
            "points_px": [list(p) for p in value.points_px],
            "image": value.image,
            "frame": value.frame,
        }
    return value
