"""Read a case file; the format stands in the package's description."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Final, get_args

from thalweg.errors import InputError
from thalweg.exchange.casefile.marks import MARK_SECTIONS, take_marks
from thalweg.exchange.casefile.preferences import ANSWER, PREFERENCES, take_preferences
from thalweg.exchange.casefile.radiographs import RADIOGRAPHS, take_radiographs
from thalweg.exchange.casefile.renograms import RENOGRAM, take_renograms
from thalweg.exchange.casefile.strict import (
    Table,
    check_keys,
    closest,
    moment_in,
    subtable,
    text_in,
)
from thalweg.exchange.reading import Reading, placed, quantity_fact, text_of
from thalweg.record.case import Person, Sex, age_in_years
from thalweg.record.concept import concept, concepts
from thalweg.record.fact import Fact, Origin
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.record.concept import Concept
    from thalweg.record.fact import FactValue, Moment

__all__ = ["CASE_FILE", "CaseFile", "read_casefile"]

CASE_FILE: Final = "case.toml"
OLDEST_YEARS: Final = 120
"""No birth date on record is farther back; a century typed wrong is."""


@dataclass(frozen=True, slots=True)
class CaseFile:
    """What a case file says.

    Parameters
    ----------
    person : Person
        Who the case is about.
    facts : tuple of Fact
        Course and marks; the marks name no series yet.
    images_folder : str
        Folder of the series that the marks lie on; empty where the file leaves it open.
    accept_identity : bool
        Take images in although they name another birth date or sex.
    """

    person: Person
    facts: tuple[Fact, ...]
    images_folder: str = ""
    accept_identity: bool = False


def read_casefile(path: Path, *, today: date) -> CaseFile:
    """Read a case file.

    Parameters
    ----------
    path : Path
        TOML in UTF-8.
    today : date
        A birth date after it is refused.

    Returns
    -------
    CaseFile
        Facts in the order of the file.

    Raises
    ------
    CollectedInputError
        Everything wrong with the file, each problem with its section.
    """
    reading = Reading()
    person, folder, accept = None, "", False
    with reading.part(""):
        table = _parsed(path)
        sections = ("course", PREFERENCES, "images", RADIOGRAPHS, RENOGRAM, *MARK_SECTIONS)
        check_keys(table, ("person",), sections)
        with reading.part("[person]"):
            person = _person(subtable(table, "person"), today)
        with reading.part("[course]"):
            _take_course(subtable(table, "course"), path.name, reading)
        take_preferences(table, path.name, reading)
        with reading.part("[images]"):
            folder, accept = _take_images(table, path.name, reading)
        take_radiographs(table, path.name, reading)
        take_renograms(table, path, reading)
    reading.sound(path.name)
    assert person is not None  # noqa: S101 - else there was a problem
    return CaseFile(person, tuple(reading.facts), folder, accept)


def _parsed(path: Path) -> Table:
    try:
        return tomllib.loads(text_of(path), parse_float=Decimal)
    except (tomllib.TOMLDecodeError, ArithmeticError, RecursionError) as error:
        place = str(error).rpartition(" (")[2].rstrip(")") if " (at " in str(error) else ""
        what = "is not valid TOML" + (f" ({place})" if place else "")
        raise InputError(what, mend="check quotes and brackets there") from None


def _person(table: Table, today: date) -> Person:
    check_keys(table, ("reference", "name", "born", "sex"))
    born = moment_in(table, "born")
    if isinstance(born, datetime):
        raise InputError("'born' is not a plain date", mend="leave the time out")
    if born > today:
        raise InputError("the birth date lies in the future", mend="correct 'born'")
    if age_in_years(born, today) > OLDEST_YEARS:
        raise InputError(
            f"the birth date lies more than {OLDEST_YEARS} years back", mend="correct 'born'"
        )
    sex = text_in(table, "sex")
    for known in get_args(Sex):
        if sex == known:
            return Person(text_in(table, "reference"), text_in(table, "name"), born, known)
    raise InputError(
        f"unknown sex {sex!r}", mend="write 'female' or 'male', as the kidney equations use it"
    )


def _take_course(section: Table, file: str, reading: Reading) -> None:
    """Put the course's entries into the reading; one bad entry does not hide the next."""
    default = moment_in(section, "at") if "at" in section else None
    for key, entry in section.items():
        if key != "at":
            with reading.part("[course]"):
                reading.facts.append(_entry(key, entry, default, file))


def _entry(key: str, entry: object, default: Moment | None, file: str) -> Fact:
    row = _course_concept(key)
    at, value = default, entry
    if isinstance(entry, Mapping):
        with placed(key):
            check_keys(entry, ("value",), ("at",))
            at = moment_in(entry, "at") if "at" in entry else default
        value = entry["value"]
    if at is None:
        raise InputError(
            f"{key!r} has no date",
            mend=f"add at = 2026-03-01 to [course], or write {key} = {{ value = …, at = … }}",
        )
    origin = Origin("case file", f"{file} [course] {key}")
    if row.kind != "quantity":
        return Fact(key, _plain_value(row, value), None, at, origin)
    if not isinstance(value, str):
        raise InputError(f"{key!r} has no unit", mend=f'write it like {key} = "72 kg"')
    with placed(key):
        number, unit = parse_quantity(value)
        return quantity_fact(key, number, unit, at, origin)


def _course_concept(key: str) -> Concept:
    kinds = ("quantity", "yes-no", "choice", "text")
    known = [name for name, row in concepts().items() if row.kind in kinds]
    if key == ANSWER:
        raise InputError(
            f"{key!r} answers a question", mend=f"write it under [{PREFERENCES}], by its question"
        )
    if key in known:
        return concept(key)
    if key in concepts():
        raise InputError(f"{key!r} is a mark", mend="place it in its own section")
    raise InputError(f"unknown key {key!r}", mend=closest(key, known))


def _plain_value(row: Concept, value: object) -> FactValue:
    if row.kind == "yes-no":
        if not isinstance(value, bool):
            raise InputError(
                f"{row.key!r} is yes or no", mend="write true or false, without quotes"
            )
        return value
    if row.kind == "text" and isinstance(value, date):
        return value.isoformat()
    words = text_in({row.key: value}, row.key)
    if row.kind == "choice" and words not in row.choices:
        raise InputError(f"{row.key!r} cannot be {words!r}", mend=closest(words, row.choices))
    return words


def _take_images(table: Table, file: str, reading: Reading) -> tuple[str, bool]:
    """Put the marks into the reading; return the series' folder and whose risk it is."""
    section = subtable(table, "images")
    check_keys(section, (), ("at", "folder", "accept_identity"))
    marked = [name for name in MARK_SECTIONS if name in table]
    if marked and "at" not in section:
        raise InputError(
            f"there are marks ({', '.join(marked)}) without the date of their images",
            mend="add at = 2026-03-01 to [images]",
        )
    if marked:
        take_marks(table, moment_in(section, "at"), file, reading)
    folder = text_in(section, "folder") if "folder" in section else ""
    accept = section.get("accept_identity", False)
    if not isinstance(accept, bool):
        raise InputError("'accept_identity' is yes or no", mend="write true or false")
    return folder, accept
