"""An invented person and their case folder, written as a hospital would send it.

Nobody in it exists: name, numbers, unit and results are made up to make the work-up interesting.
A woman of 68 with a bladder cancer, earlier pelvic irradiation that spared the colon, a widened
left ureter above a narrowing (which stopped it for days in one spring), kidneys near the limit that
storing urine in bowel asks for, a bicarbonate that falls before any bowel touches urine, stiff
hands, and a daughter who helps. A renogram shows how far the left kidney has fallen behind.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.demo.renogram import write_renogram
from thalweg.exchange.casefile import CaseFile, write_casefile
from thalweg.exchange.dicom import InventedPerson, write_ct_series
from thalweg.exchange.fhir import write_bundle
from thalweg.phantom.render import Phantom, render
from thalweg.phantom.scenario import adult
from thalweg.progress import silent
from thalweg.record.case import Person
from thalweg.record.fact import Fact, FactValue, Mark, Origin

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.phantom.renogram import RenogramTruth
    from thalweg.phantom.truth import PhantomTruth
    from thalweg.progress import Progress

__all__ = ["DAY", "IMAGES", "PERSON", "Written", "obstacle_marks", "write_case_folder"]

DAY = date(2026, 11, 16)
"""The day of the work-up: results lie before it, so that the demonstration never ages."""

HOUR = timezone(timedelta(hours=1))
SCANNED = datetime(2026, 11, 10, 9, 40, tzinfo=HOUR)
IMAGES = "ct-urogram"
PERSON = Person("HV-20417", "Maren Odegaard-Achieng", date(1958, 4, 2), "female")
SPACING_MM = (1.5, 0.8, 0.8)
WRITTEN = Origin("case file", "invented")

COURSE: dict[str, str | bool] = {
    "indication": "bladder cancer",
    "intent": "curative",
    "kidneys-present": "both",
    "bladder-kept": False,
    "operation-date": "2026-12-08",
    "obstruction": True,
    "bowel-disease": False,
    "short-bowel": False,
    "bowel-irradiated": True,
    "colon-usable": True,
    "ureters-irradiated": False,
    "liver-failure": False,
    "upper-tract-tumour": False,
    "urinary-stones": False,
    "retroperitoneal-fibrosis": False,
    "urinary-tuberculosis": False,
    "stress-incontinence": False,
    "dexterity": "limited",
    "helper-at-home": True,
    "cognition-sufficient": True,
    "fit-for-bowel-surgery": True,
    "muscle-loss": False,
    "bowel-in-urinary-tract": False,
    "ureter-dilated": True,
    "pelvis-dilated": True,
    "bleeding-disorder": False,
    "lower-abdominal-surgery": False,
    "diarrhoea": False,
    "alkali-taken": False,
    "wishes": "To be at her granddaughter's wedding in May, and to swim again",
    "options-discussed": True,
    "can-decide": True,
    "needs-interpreter": False,
    "sight": "sees to care for a stoma",
    "urine-culture": "growth, treated",
    "stoma-checked-lying": True,
    "stoma-checked-sitting": True,
}
"""What the clinic recorded. The urethral margin is left open: the biopsy is not back."""

ANSWERS = {
    "no-bag/no-catheter": "second",
    "no-bag/kidneys": "second",
    "no-tube/small-operation": "first",
    "dry-nights/unseen": "first",
    "kidneys/little-help": "do not know",
}
"""What she answered when asked which of two matters more."""

FITNESS: dict[str, str | bool] = {
    "asa-class": "III",
    "ischaemic-heart-disease": True,
    "heart-infarction-ever": False,
    "heart-infarction-month": False,
    "heart-failure": False,
    "cerebrovascular-disease": False,
    "peripheral-vascular-disease": False,
    "dementia": False,
    "hemiplegia": False,
    "chronic-lung-disease": True,
    "serious-lung-disease-month": False,
    "respiratory-infection-month": False,
    "sepsis-month": False,
    "connective-tissue-disease": False,
    "inflammatory-bowel-disease": False,
    "liver-disease": "none",
    "diabetes": "without organ damage",
    "insulin-treated-diabetes": False,
    "takes-metformin": True,
    "kidney-transplant": False,
    "acute-kidney-injury": False,
    "contrast-reaction": False,
    "other-tumour": False,
    "metastases": False,
    "leukaemia": False,
    "lymphoma": False,
    "aids": False,
    "swollen-legs": False,
    "varicose-veins": True,
    "pregnancy-loss": False,
    "oestrogen-treatment": False,
    "bed-rest": "no",
    "major-surgery-month": False,
    "plaster-cast-month": False,
    "central-venous-access": False,
    "thrombosis-ever": False,
    "thrombophilia-known": False,
    "leg-fracture-month": False,
    "multiple-trauma-month": False,
    "spinal-cord-injury-month": False,
    "food-intake-week": "over 75 %",
    "food-intake-half-week": False,
    "general-condition-impaired": False,
    "intensive-care": False,
    "operation-way": "open",
    "operation-incision": "peripheral or lower abdominal",
    "operation-emergency": False,
}
"""What was asked before the operation; open: ulcers, thrombosis in the family, the diversion."""

MEASURED = (
    ("operation-hours", "4", "h"),
    ("weight-loss-1-month", "1.0", "kg"),
    ("weight-loss-2-months", "1.5", "kg"),
    ("weight-loss-3-months", "2.0", "kg"),
)

BLOODS = (
    ("creatinine", "79", "umol/L", datetime(2020, 10, 6, 8, 15, tzinfo=HOUR)),
    ("creatinine", "83", "umol/L", datetime(2021, 9, 14, 8, 0, tzinfo=HOUR)),
    ("creatinine", "81", "umol/L", datetime(2022, 9, 27, 8, 30, tzinfo=HOUR)),
    ("creatinine", "88", "umol/L", datetime(2023, 10, 3, 8, 10, tzinfo=HOUR)),
    ("creatinine", "86", "umol/L", datetime(2024, 10, 8, 8, 25, tzinfo=HOUR)),
    ("creatinine", "93", "umol/L", datetime(2025, 6, 17, 8, 5, tzinfo=HOUR)),
    ("creatinine", "97", "umol/L", datetime(2026, 2, 10, 8, 15, tzinfo=HOUR)),
    ("creatinine", "104", "umol/L", datetime(2026, 3, 8, 10, 30, tzinfo=HOUR)),
    ("creatinine", "168", "umol/L", datetime(2026, 3, 9, 21, 40, tzinfo=HOUR)),
    ("creatinine", "211", "umol/L", datetime(2026, 3, 10, 20, 10, tzinfo=HOUR)),
    ("creatinine", "134", "umol/L", datetime(2026, 3, 14, 7, 45, tzinfo=HOUR)),
    ("creatinine", "108", "umol/L", datetime(2026, 6, 2, 8, 5, tzinfo=HOUR)),
    ("creatinine", "119", "umol/L", datetime(2026, 9, 15, 8, 20, tzinfo=HOUR)),
    ("creatinine", "1.42", "mg/dL", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("cystatin-c", "1.38", "mg/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("urea", "8.90", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("sodium", "139", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("potassium", "4.4", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("chloride", "109", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("bicarbonate", "24.1", "mmol/L", datetime(2026, 6, 2, 8, 5, tzinfo=HOUR)),
    ("bicarbonate", "22.9", "mmol/L", datetime(2026, 9, 15, 8, 20, tzinfo=HOUR)),
    ("bicarbonate", "20.6", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("hba1c", "55", "mmol/mol", datetime(2026, 6, 2, 8, 5, tzinfo=HOUR)),
    ("magnesium", "0.74", "mmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("albumin", "37", "g/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("haemoglobin", "11.8", "g/dL", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("white-cells", "7.2", "10*9/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("platelets", "264", "10*9/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("vitamin-b12", "310", "pmol/L", datetime(2026, 11, 9, 7, 50, tzinfo=HOUR)),
    ("oxygen-saturation", "95", "%", datetime(2026, 11, 9, 8, 0, tzinfo=HOUR)),
    ("weight", "67.5", "kg", datetime(2026, 11, 9, 8, 0, tzinfo=HOUR)),
    ("height", "164", "cm", datetime(2026, 11, 9, 8, 0, tzinfo=HOUR)),
)

TABLE = (
    ("urine-volume", "1650", "mL/(24.h)", "2026-11-08"),
    ("split-function-left", "47", "%", "2024-10-15"),
    ("split-function-left", "38", "%", "2026-10-21"),
)
"""What the ward keeps in a table: collected urine, and the renogram's share of the left kidney."""

SITES = (
    ("right lower", -62.0, -28.0),
    ("left lower", 62.0, -28.0),
    ("right upper", -74.0, 34.0),
    ("left upper", 74.0, 34.0),
)
"""Name, x and z; the nurse marked them on the skin, so y comes from the phantom's skin."""

OBSTACLE_PIECES = {
    "spine": 2,
    "aorta": 1,
    "common iliac artery, left": 1,
    "common iliac artery, right": 1,
    "external iliac artery, left": 1,
    "external iliac artery, right": 1,
}

CONDUIT_BASE_MM = (-18.0, -12.0, -62.0)
SIGMOID_PASSAGE_MM = (4.0, -14.0, -46.0)
"""Behind the sigmoid mesentery, in front of the common iliac vessels just below their parting."""


@dataclass(frozen=True)
class Written:
    """The case folder, and the truth behind its images."""

    folder: Path
    phantom: Phantom
    image_files: int
    renogram: RenogramTruth


def _fact(
    key: str, value: FactValue, unit: str | None = None, *, at: date = DAY, label: str = ""
) -> Fact:
    return Fact(key, value, unit, at, WRITTEN, label=label)


def _mark(
    key: str, *points: tuple[float, ...], label: str = "", radius: float | None = None
) -> Fact:
    placed = tuple((round(x, 1), round(y, 1), round(z, 1)) for x, y, z in points)
    return _fact(key, Mark(placed, radius_mm=radius), "mm", at=SCANNED.date(), label=label)


def _marks(truth: PhantomTruth) -> list[Fact]:
    """Return what a radiologist and a nurse would mark on the images."""
    marks = []
    for side in ("left", "right"):
        places = [
            truth.landmarks[f"{what}, {side}"]
            for what in ("pelvi-ureteric junction", "bladder hiatus")
        ]
        marks.append(_mark(f"ureter-{side}", *places))
        marks.append(_mark(f"lower-pole-{side}", truth.landmarks[f"lower pole of kidney, {side}"]))
        spine = truth.landmarks[f"anterior superior iliac spine, {side}"]
        marks.append(_mark(f"iliac-spine-{side}", spine))
    marks.append(_mark("umbilicus", truth.landmarks["umbilicus"]))
    marks.append(_mark("conduit-base", CONDUIT_BASE_MM))
    marks.append(_mark("sigmoid-passage", SIGMOID_PASSAGE_MM))
    marks += [_mark("stoma-site", truth.wall.skin_point(x, z), label=name) for name, x, z in SITES]
    return [*marks, *obstacle_marks(truth)]


def obstacle_marks(truth: PhantomTruth) -> list[Fact]:
    """Return spine and great arteries as the few rods that a person would mark."""
    marks = []
    for name, pieces in OBSTACLE_PIECES.items():
        chain = [one for one in truth.obstacles if one.name == name]
        for number in range(pieces):
            first = number * len(chain) // pieces
            last = (number + 1) * len(chain) // pieces - 1
            radius = max(one.radius_mm for one in chain[first : last + 1])
            label = f"{name} {number + 1}" if pieces > 1 else name
            ends = chain[first].from_mm, chain[last].to_mm
            marks.append(_mark("obstacle", *ends, label=label, radius=round(radius, 1)))
    return marks


def write_case_folder(folder: Path, *, progress: Progress = silent) -> Written:
    """Write the invented person's case folder.

    Parameters
    ----------
    folder : Path
        New or empty; afterwards holds ``case.toml``, ``laboratory.json`` (FHIR R4),
        ``ward.csv``, the CT urogram and a renogram.
    progress : Progress
    """
    folder.mkdir(parents=True, exist_ok=True)
    phantom = render(adult(), spacing_mm=SPACING_MM, progress=progress)
    imaged = InventedPerson(PERSON.reference, "Odegaard-Achieng^Maren", PERSON.born, "F")
    files = write_ct_series(
        phantom.volume,
        folder / IMAGES,
        person=imaged,
        study_at=SCANNED,
        description="CT urogram, excretory phase",
        seed="demonstration",
        progress=progress,
    )
    course = [_fact(key, value) for key, value in (COURSE | FITNESS).items()]
    course += [_fact(key, Decimal(value), unit) for key, value, unit in MEASURED]
    course += [
        Fact("preference-answer", word, None, DAY, Origin("the person", "invented"), label=key)
        for key, word in ANSWERS.items()
    ]
    counted, renogram = write_renogram(folder, imaged, WRITTEN)
    content = CaseFile(PERSON, (*course, *_marks(phantom.truth), *counted), images_folder=IMAGES)
    write_casefile(folder / "case.toml", content)
    results = [Fact(key, Decimal(value), unit, at, WRITTEN) for key, value, unit, at in BLOODS]
    write_bundle(folder / "laboratory.json", PERSON, results)
    with (folder / "ward.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(("test", "value", "unit", "taken"))
        table.writerows(TABLE)
    return Written(folder, phantom, len(files), renogram)
