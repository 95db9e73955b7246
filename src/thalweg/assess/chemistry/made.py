"""Findings from readings: made with all they rest on, or said why they are not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.chemistry.inputs import days_between
from thalweg.assess.facts import youngest
from thalweg.record.concept import concepts
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from thalweg.assess.chemistry.inputs import ChemistryInputs, Reading
    from thalweg.assess.chemistry.rules import ChemistryRules
    from thalweg.record.finding import FindingValue
    from thalweg.record.method import Method

__all__ = ["apart", "made", "slow", "unmade"]


def made(
    name: str,
    title: str,
    value: FindingValue,
    unit: str | None,
    method: Method,
    readings: Sequence[Reading],
    *,
    cautions: Iterable[str] = (),
    interval: tuple[float, float] | None = None,
    missing: tuple[str, ...] = (),
    digits: int = 1,
) -> Finding:
    """Return a finding that rests on some readings, dated by the youngest of them."""
    said = [caution for reading in readings for caution in reading.cautions]
    return Finding(
        name=name,
        title=title,
        value=value,
        unit=unit,
        at=max((reading.at for reading in readings), key=moment_key),
        method=method,
        facts=tuple(fact for reading in readings for fact in reading.facts),
        findings=tuple(finding for reading in readings for finding in reading.findings),
        interval=interval,
        cautions=tuple(dict.fromkeys([*cautions, *said])),
        missing=missing,
        digits=digits,
    )


def unmade(
    name: str,
    title: str,
    unit: str | None,
    method: Method,
    inputs: ChemistryInputs,
    needs: Sequence[str],
    *,
    cautions: Iterable[str] = (),
) -> Finding:
    """Return a finding without a value that says what would settle it.

    Parameters
    ----------
    needs : sequence of str
        Concepts; those without a result are named as missing, contradicting ones as such.
    """
    missing = tuple(
        key for key in needs if inputs.chosen(key).fact is None and not inputs.chosen(key).conflict
    )
    said = [*cautions, *inputs.conflicts(*needs)]
    if missing:
        names = " and ".join(concepts()[key].name for key in missing)
        said.append(f"Cannot be made: no {names} is recorded.")
    facts = inputs.because(*needs)
    return Finding(
        name=name,
        title=title,
        value=None,
        unit=unit,
        at=youngest(facts).at if facts else inputs.at,
        method=method,
        facts=facts,
        cautions=tuple(said),
        missing=missing,
    )


def apart(readings: Sequence[Reading], rules: ChemistryRules) -> str:
    """Return a sentence where readings are too far apart to be of one state, else nothing."""
    limit = rules.settings["together-days"]
    first = min(readings, key=lambda reading: moment_key(reading.at))
    last = max(readings, key=lambda reading: moment_key(reading.at))
    days = days_between(first.at, last.at)
    if days <= limit:
        return ""
    names = " and ".join(concepts()[fact.concept].name for fact in (*first.facts, *last.facts))
    return f"Not reckoned together: {names} lie {days} days apart."


def slow(reading: Reading, others: Sequence[Reading], rules: ChemistryRules) -> tuple[bool, str]:
    """Return whether a slowly changing result may be used beside others, and what to say of it."""
    days = max(days_between(reading.at, other.at) for other in others)
    name = concepts()[reading.facts[0].concept].name
    if days > rules.settings["slow-days"]:
        return False, f"The {name} lies {days} days from the rest and was not used."
    if days > rules.settings["together-days"]:
        return True, f"The {name} lies {days} days from the rest."
    return True, ""
