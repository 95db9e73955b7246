"""What use cases did, in words for people and in shapes for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from thalweg.plan.appraise import Appraisal
    from thalweg.record.case import ImageRecord
    from thalweg.service.intake import IntakeReport

__all__ = ["appraisal_lines", "intake_json", "intake_lines"]

SIGNS = {"open": "+", "open with cautions": "!", "closed": "x", "not yet decidable": "?"}


def _series(record: ImageRecord) -> str:
    artificial = ", an artificial image (phantom)" if record.phantom else ""
    when = record.acquired[:10] or "date not known"
    return f"{record.folder}: {len(record.files)} files, {record.modality}, {when}{artificial}"


def intake_lines(report: IntakeReport) -> list[str]:
    """Return the report as lines for a person at the keyboard."""
    lines = ["A new case." if report.opened else "A case already on record."]
    lines.append(f"{len(report.new_facts)} new facts; {len(report.known_facts)} already on record.")
    lines += [f"New images in {_series(one)}." for one in report.new_series]
    lines += [f"Images already on record in {_series(one)}." for one in report.known_series]
    lines += [f"Not taken in: {sentence}" for sentence in report.not_taken]
    lines += [f"! {sentence}" for sentence in report.conflicts]
    lines += [f"? {sentence}" for sentence in report.questions]
    return lines


def intake_json(report: IntakeReport) -> dict[str, Any]:
    """Return the report for programs."""
    return {
        "case": report.case_id,
        "opened": report.opened,
        "new_facts": [fact.id for fact in report.new_facts],
        "known_facts": [fact.id for fact in report.known_facts],
        "new_series": [one.series_uid for one in report.new_series],
        "known_series": [one.series_uid for one in report.known_series],
        "not_taken": list(report.not_taken),
        "conflicts": list(report.conflicts),
        "questions": list(report.questions),
    }


def appraisal_lines(appraisal: Appraisal) -> list[str]:
    """Return the appraisal as lines: verdict, what would change it, what is missing."""
    lines = []
    for row in appraisal.diversions:
        lines.append(f"{SIGNS[row.verdict]} {row.diversion.titled}: {row.verdict}")
        nearest = appraisal.nearest.get(row.diversion.key)
        if nearest is not None:
            lines += [f"    {line}" for line in nearest.lines()]
        else:
            lines += [f"    would open: {change}" for change in row.would_open]
        if row.missing:
            lines.append(f"    to settle: {', '.join(row.missing)}")
        lines += [f"    caution: {caution}" for caution in row.own_cautions]
    if appraisal.settles:
        lines.append("What would settle most:")
        lines += [
            f"    {one.name} ({one.concept}): helps with {len(one.waiting)}, alone {len(one.alone)}"
            for one in appraisal.settles
        ]
    lines += list(appraisal.notices)
    return lines
