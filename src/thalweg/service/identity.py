"""Whether what came in is about the person the case is about."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.reading import Identity

if TYPE_CHECKING:
    from thalweg.exchange.dicom import PatientKeys
    from thalweg.record.case import Person

__all__ = ["check_identity", "identity_of_images"]

_ISO_OR_PART: Final = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?", re.ASCII)
DICOM_SEX: Final = {"F": "female", "M": "male"}


def identity_of_images(folder: str, keys: PatientKeys) -> Identity:
    """Return whom a series' headers name, in the words of the record (PS3.3 C.7.1.1)."""
    born = keys.birth_date
    if re.fullmatch(r"\d{8}", born, re.ASCII):
        born = f"{born[:4]}-{born[4:6]}-{born[6:]}"
    sex = DICOM_SEX.get(keys.sex, "")
    return Identity(folder, born, sex, (keys.patient_id,) if keys.patient_id else ())


def check_identity(found: Identity, person: Person, *, accept: bool = False) -> list[str]:
    """Compare whom a source names with the case's person; no particulars are told.

    Parameters
    ----------
    found : Identity
        As the source says.
    person : Person
        As the case file says.
    accept : bool
        Say a contradiction instead of refusing it.

    Returns
    -------
    list of str
        Sentences about what is missing or differs without contradicting.

    Raises
    ------
    InputError
        If birth date or sex contradict the case file, unless accepted.
    """
    differing = []
    if found.born and not _same_birth(found.born, person.born.isoformat()):
        differing.append("birth date")
    if found.sex and found.sex != person.sex:
        differing.append("sex")
    if differing and not accept:
        raise InputError(
            f"names a person of another {' and another '.join(differing)} than the case file",
            where=found.source,
            mend="find out whose it is; nothing was taken in",
        )
    questions = []
    if differing:
        questions.append(
            f"{found.source} names a person of another {' and another '.join(differing)}; the case "
            "file accepts that."
        )
    missing = [
        name for name, given in (("birth date", found.born), ("sex", found.sex)) if not given
    ]
    if missing:
        questions.append(
            f"{found.source} gives no {' and no '.join(missing)} to compare with the case file."
        )
    if found.identifiers and person.reference not in found.identifiers:
        questions.append(
            f"{found.source} carries another number for the person than the case file."
        )
    return questions


def _same_birth(found: str, born: str) -> bool:
    """Compare as far as the source is precise."""
    return bool(_ISO_OR_PART.fullmatch(found)) and born.startswith(found)
