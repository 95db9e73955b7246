"""How long reading a FHIR bundle takes, against the general models of `fhir.resources`.

Run as ``python benchmarks/read_fhir.py [entries]``. The two do different work: ours decodes the few
elements it needs, checks code, unit, time, specimen and plausibility, and makes facts; the models
validate every element of every resource.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import TYPE_CHECKING

from fhir.resources.R4B.bundle import Bundle

from thalweg.exchange.fhir import read_fhir

if TYPE_CHECKING:
    from collections.abc import Callable

ROUNDS = 5


def bundle(entries: int) -> bytes:
    """Return a bundle of creatinine results, one a day."""
    results = [
        {
            "resource": {
                "resourceType": "Observation",
                "status": "final",
                "code": {"coding": [{"system": "http://loinc.org", "code": "14682-9"}]},
                "effectiveDateTime": f"20{10 + n % 16}-{1 + n % 12:02d}-{1 + n % 28:02d}",
                "valueQuantity": {
                    "value": 60 + n % 80,
                    "system": "http://unitsofmeasure.org",
                    "code": "umol/L",
                },
            }
        }
        for n in range(entries)
    ]
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": results}).encode()


def best(work: Callable[[], object]) -> float:
    """Return the shortest of some rounds, in milliseconds."""
    times = []
    for _ in range(ROUNDS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times) * 1000


def main() -> None:
    """Print both times."""
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    content = bundle(entries)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "results.json"
        path.write_bytes(content)
        print(f"{entries} entries, best of {ROUNDS}")
        print(f"read_fhir       {best(lambda: read_fhir(path)):8.1f} ms")
        print(f"fhir.resources  {best(lambda: Bundle.model_validate_json(content)):8.1f} ms")


if __name__ == "__main__":
    main()
