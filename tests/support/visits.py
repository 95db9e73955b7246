"""Calendars of an invented operation, laid out on a day."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from thalweg.care.calendar import (
    Calendar,
    Visit,
    calendar_rules,
    lay_out,
)
from thalweg.record.fact import Fact, Origin

RULES = calendar_rules()
OPERATION = date(2026, 1, 31)
HAND = Origin("by hand")
BLOODS = ("creatinine", "sodium", "potassium", "chloride", "bicarbonate")


def lab(concept: str, at: date | datetime) -> Fact:
    unit = "umol/L" if concept == "creatinine" else "mmol/L"
    return Fact(concept, Decimal(100), unit, at, HAND)


def said_done(rule: str, at: date, *, value: bool = True) -> Fact:
    return Fact("visit-done", value, None, at, HAND, label=rule)


def laid_out(today: date, *facts: Fact, diversion: str = "ileal-conduit", **more: Any) -> Calendar:
    options: dict[str, Any] = {"conditions": {}, "rules": RULES, **more}
    conditions, rules = options.pop("conditions"), options.pop("rules")
    return lay_out(diversion, OPERATION, conditions, rules, today=today, facts=facts, **options)


def visit(calendar: Calendar, key: str) -> Visit:
    (found,) = [one for one in calendar.visits if one.key == key]
    return found
