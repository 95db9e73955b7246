"""Whether a result was measured in what its code says: drain fluid is never read as serum."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.exchange.fhir.model import Specimen
    from thalweg.record.concept import Concept, LaboratoryCode

__all__ = ["specimen_questions"]


@cache
def _table() -> tuple[Mapping[tuple[str, str], str], Mapping[str, str]]:
    """Return kind by (system, code), and expected kind by concept."""
    text = files("thalweg.exchange.fhir").joinpath("data/specimens.toml").read_text("utf-8")
    table = tomllib.loads(text)
    kinds = {
        (system, row["code"]): row["kind"]
        for system, rows in table["kinds"].items()
        for row in rows
    }
    expected = {key: kind for kind, keys in table["expected"].items() for key in keys}
    return kinds, expected


def specimen_questions(
    concept: Concept, code: LaboratoryCode, specimen: Specimen | None, *, named: bool
) -> tuple[str, ...]:
    """Refuse a result measured in something else than its code says; question what is unclear.

    Parameters
    ----------
    concept : Concept
        What the result reports.
    code : LaboratoryCode
        Under which code.
    specimen : Specimen or None
        As found in the bundle.
    named : bool
        True where the result names a specimen, found or not.

    Returns
    -------
    tuple of str
        Sentences for the fact.

    Raises
    ------
    InputError
        If code and specimen contradict each other.
    """
    kinds, expectations = _table()
    expected = code.specimen or expectations.get(concept.key, "blood")
    if expected == "none":
        return ()
    found = {
        kinds.get((coding.system, coding.code), "")
        for coding in (specimen.type.coding if specimen else ())
    } - {""}
    if found - {expected}:
        raise InputError(
            f"the code {code.code} reports {concept.name}, but the specimen is "
            f"{' and '.join(sorted(found))}",
            mend="have the sender correct the code or the specimen",
        )
    if found:
        return ()
    if named:
        return (f"The specimen's type is not known; {expected} was taken from the code.",)
    if code.specimen:
        return (f"No specimen is named; {expected} was taken from the code alone.",)
    return ()
