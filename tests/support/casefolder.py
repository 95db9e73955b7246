"""A small case folder of an invented person, to be spoiled by the tests."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import numpy as np

from thalweg.exchange.dicom import InventedPerson, write_ct_series
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from pathlib import Path

TODAY = date(2026, 4, 1)

CASE_TOML = """\
[person]
reference = "SU-0417"
name = "Ada Example"
born = 1961-03-04
sex = "female"

[course]
at = 2026-03-02
indication = "bladder cancer"
bladder-kept = false
weight = "72.0 kg"
height = { value = "168 cm", at = 2026-02-27 }
operation-date = 2026-04-20
"""

MARKS_TOML = """
[images]
at = 2026-03-02

[ureter.left]
start_mm = [10, 5, 30]
via_mm = [[12, 6, 20]]
end_mm = [8, 4, 2]

[[site]]
name = "left lower"
point_mm = [6, 2, 12]
normal = [0, -1, 0]
wall_mm = 30
height_mm = 10.0

[[obstacle]]
name = "aorta"
kind = "capsule"
from_mm = [0, 40, 100]
to_mm = [0, 40, -60]
radius_mm = 10

[landmarks_mm]
umbilicus = [4, 3, 18]
"""

LABS_CSV = """\
test,value,unit,taken
creatinine,88,µmol/L,2026-03-01T08:30+01:00
2951-2,139,mmol/L,2026-03-01T08:30+01:00
"""


def result(code: str, value: str, unit: str, /, **changes: object) -> dict[str, object]:
    """Return an Observation; `value` is put in as it is written."""
    observation: dict[str, object] = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": "http://loinc.org", "code": code}]},
        "subject": {"reference": "Patient/p1"},
        "effectiveDateTime": "2026-03-01T08:30:00+01:00",
        "valueQuantity": {
            "value": f"<<{value}>>",
            "unit": unit,
            "system": "http://unitsofmeasure.org",
            "code": unit,
        },
    }
    observation.update(changes)
    return {key: given for key, given in observation.items() if given is not None}


PATIENT: dict[str, object] = {
    "resourceType": "Patient",
    "id": "p1",
    "identifier": [{"value": "SU-0417"}],
    "gender": "female",
    "birthDate": "1961-03-04",
}


def bundle(*resources: dict[str, object], kind: str = "collection") -> str:
    """Return a Bundle as text, numbers with the digits they were given."""
    entries = [
        {"fullUrl": f"http://lab.example/{each['resourceType']}/{each['id']}", "resource": each}
        if "id" in each
        else {"resource": each}
        for each in resources
    ]
    text = json.dumps({"resourceType": "Bundle", "type": kind, "entry": entries})
    return text.replace('"<<', "").replace('>>"', "")


def write_series(
    folder: Path,
    *,
    born: date = date(1961, 3, 4),
    seed: str = "first",
    description: str = "small",
    minute: int = 0,
) -> None:
    """Write a CT of 16 planes, 2 mm apart, from the origin to (15, 15, 30) mm."""
    to_lps = np.array(
        [[0.0, 0.0, 1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [2.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
    )
    values = np.random.default_rng(7).integers(-900, 900, size=(16, 16, 16), dtype=np.int16)
    volume = ImageVolume(values=values, to_lps=to_lps, phantom=True)
    write_ct_series(
        volume,
        folder,
        person=InventedPerson("SU-0417", "Example^Ada", born, "F"),
        study_at=datetime(2026, 3, 2, 9, minute, tzinfo=UTC),
        description=description,
        seed=seed,
    )


def case_folder(
    root: Path,
    *,
    case_toml: str = CASE_TOML,
    labs: str | None = LABS_CSV,
    fhir: str | None = None,
    images: bool = False,
) -> Path:
    """Write a case folder below `root` and return it."""
    root.mkdir(parents=True, exist_ok=True)
    (root / "case.toml").write_text(case_toml, encoding="utf-8")
    if labs is not None:
        (root / "labs.csv").write_text(labs, encoding="utf-8")
    if fhir is not None:
        (root / "results.json").write_text(fhir, encoding="utf-8")
    if images:
        write_series(root / "ct")
    return root
