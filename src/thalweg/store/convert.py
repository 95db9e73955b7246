"""Facts as rows and rows as facts, to the last digit."""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.record.fact import Fact, FactValue, Mark, Moment, Origin, PixelMark, plain

if TYPE_CHECKING:
    from sqlalchemy import RowMapping

__all__ = ["fact_of", "moment_of", "row_of"]


def row_of(fact: Fact) -> dict[str, Any]:
    """Return the columns of a fact, without its case and audit entry."""
    return {
        "id": fact.id,
        "concept": fact.concept,
        "label": fact.label,
        "kind": _kind(fact.value),
        "value": json.dumps(plain(fact.value), sort_keys=True),
        "unit": fact.unit,
        "at": fact.at.isoformat(),
        "origin_kind": fact.origin.kind,
        "origin_place": fact.origin.place,
        "questions": json.dumps(fact.questions),
    }


def fact_of(row: RowMapping) -> Fact:
    """Return the fact that a row holds."""
    return Fact(
        concept=row["concept"],
        value=_value(row["kind"], json.loads(row["value"])),
        unit=row["unit"],
        at=moment_of(row["at"]),
        origin=Origin(row["origin_kind"], row["origin_place"]),
        label=row["label"],
        questions=tuple(json.loads(row["questions"])),
    )


def moment_of(text: str) -> Moment:
    """Return the date, or date and time, that was written by ``isoformat``."""
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)


def _kind(value: FactValue) -> str:
    if isinstance(value, bool):
        return "yes-no"
    if isinstance(value, Decimal):
        return "quantity"
    if isinstance(value, PixelMark):
        return "pixels"
    return "mark" if isinstance(value, Mark) else "text"


def _value(kind: str, value: Any) -> FactValue:
    if kind == "quantity":
        return Decimal(value)
    if kind == "mark":
        return Mark(
            points_mm=tuple((x, y, z) for x, y, z in value["points_mm"]),
            radius_mm=value["radius_mm"],
            normal=None if value["normal"] is None else tuple(value["normal"]),
            series_uid=value["series_uid"],
        )
    if kind == "pixels":
        return PixelMark(
            tuple((column, row) for column, row in value["points_px"]),
            value["image"],
            value["frame"],
        )
    if isinstance(value, bool) is (kind == "yes-no") and isinstance(value, (bool, str)):
        return value
    msg = f"a stored {kind!r} is not one"
    raise ValueError(msg)
