"""A case: one person's course through the service, and how to ask it for a fact."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from thalweg.record.concept import concept
from thalweg.record.fact import Mark, moment_key
from thalweg.record.plausible import canonical
from thalweg.record.reckon import day_of
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact, Moment

__all__ = ["Case", "Chosen", "ImageRecord", "Person", "Sex", "age_in_years"]

Sex = Literal["female", "male"]

# Two results that differ by less than this part of themselves are one result written twice
# (rounded differently, or in two units).
SAME_VALUE = 0.01


@dataclass(frozen=True, slots=True)
class Person:
    """Who the case is about; `repr` shows none of it, so that no log can.

    Parameters
    ----------
    reference : str
        The unit's own number for the person.
    name : str
        As printed on documents.
    born : date
        Date of birth.
    sex : "female" or "male"
        As the kidney equations use it.
    """

    reference: str = field(repr=False)
    name: str = field(repr=False)
    born: date = field(repr=False)
    sex: Sex = field(repr=False)


@dataclass(frozen=True, slots=True)
class ImageRecord:
    """An image series on record: its identity and where its files lie.

    Parameters
    ----------
    series_uid : str
        DICOM Series Instance UID; ``sha256:`` and a hash for a series without one, and for a
        radiograph, which is known by its file.
    modality : str
        DICOM modality code.
    acquired : str
        ISO 8601 date or date and time, or empty where the files do not say.
    files : tuple of str
        SHA-256 of each file, in stacking order.
    folder : str
        Name of the folder it came in, relative to the case folder.
    phantom : bool
        True for an artificial image.
    cautions : tuple of str
        What the reader said about the series.
    """

    series_uid: str
    modality: str
    acquired: str
    files: tuple[str, ...]
    folder: str
    phantom: bool
    cautions: tuple[str, ...] = ()

    @property
    def is_volume(self) -> bool:
        """Whether its planes make a volume; a radiograph does not."""
        return self.modality in {"CT", "MR"}


@dataclass(frozen=True, slots=True)
class Chosen:
    """The fact that answers a question, or why none does.

    Parameters
    ----------
    fact : Fact or None
        The latest fact; None when there is none, or when the latest ones contradict each other.
    conflict : tuple of Fact
        The contradicting facts, all kept; empty when there is no conflict.
    """

    fact: Fact | None
    conflict: tuple[Fact, ...] = ()

    @property
    def caution(self) -> str:
        """A sentence about the conflict, or an empty string."""
        if not self.conflict:
            return ""
        return (
            f"Two different values at one time, both kept and neither used: "
            f"{'; '.join(str(fact) for fact in self.conflict)}. Settle which is right."
        )


def age_in_years(born: date, on: Moment) -> float:
    """Return the age on a day, in years, as whole years plus the part of the current one."""
    day = day_of(on)
    whole = day.year - born.year - ((day.month, day.day) < (born.month, born.day))
    last = _birthday(born, born.year + whole)
    following = _birthday(born, born.year + whole + 1)
    return whole + (day - last).days / (following - last).days


def _birthday(born: date, year: int) -> date:
    # Whoever was born on 29 February has a birthday on 1 March in other years.
    try:
        return born.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def _same(first: Fact, second: Fact) -> bool:
    if isinstance(first.value, Decimal) and isinstance(second.value, Decimal):
        row = concept(first.concept)
        one = canonical(row, first.value, first.unit or "")
        two = canonical(row, second.value, second.unit or "")
        return abs(one - two) <= SAME_VALUE * max(abs(one), abs(two))
    return first.value == second.value


@dataclass(frozen=True, slots=True)
class Case:
    """One person's course: everything recorded about them, nothing computed.

    Parameters
    ----------
    id : str
        Thalweg's own identifier; says nothing about the person.
    person : Person
        Who it is about.
    facts : tuple of Fact
        All of them, in any order.
    images : tuple of ImageRecord
        The series on record.
    """

    id: str
    person: Person
    facts: tuple[Fact, ...] = ()
    images: tuple[ImageRecord, ...] = ()

    def known_on(self, day: date) -> Case:
        """Return the case as it was known on a day: facts that came later are left out."""
        return replace(self, facts=tuple(fact for fact in self.facts if day_of(fact.at) <= day))

    def series(self, key: str, *, label: str | None = None) -> tuple[Fact, ...]:
        """Return the facts of one concept, oldest first; of one label if given."""
        found = [
            fact
            for fact in self.facts
            if fact.concept == key and (label is None or fact.label == label)
        ]
        return tuple(sorted(found, key=lambda fact: (moment_key(fact.at), fact.id)))

    def latest(self, key: str, *, label: str | None = None) -> Chosen:
        """Return the youngest fact of a concept, or the conflict that prevents it."""
        facts = self.series(key, label=label)
        if not facts:
            return Chosen(None)
        newest = moment_key(facts[-1].at)
        rivals = tuple(fact for fact in facts if moment_key(fact.at) == newest)
        if any(not _same(rivals[0], other) for other in rivals[1:]):
            return Chosen(None, rivals)
        return Chosen(rivals[0])

    def labels(self, key: str) -> tuple[str, ...]:
        """Return the labels under which a concept was recorded, in order of first record."""
        return tuple(dict.fromkeys(fact.label for fact in self.series(key)))

    def truth(self, key: str) -> tuple[Truth, Chosen]:
        """Return what is known of a yes-no concept, and the fact that says so."""
        chosen = self.latest(key)
        if chosen.fact is None or not isinstance(chosen.fact.value, bool):
            return Truth.NOT_KNOWN, chosen
        return Truth.of(chosen.fact.value), chosen

    def word(self, key: str) -> tuple[str | None, Chosen]:
        """Return the latest value of a choice or text concept, and the fact that says so."""
        chosen = self.latest(key)
        value = chosen.fact.value if chosen.fact else None
        return (value if isinstance(value, str) else None), chosen

    def quantity(
        self, key: str, unit: str | None = None, *, label: str | None = None
    ) -> tuple[float | None, Chosen]:
        """Return the latest value of a quantity in `unit` (default: the concept's own)."""
        chosen = self.latest(key, label=label)
        if chosen.fact is None or not isinstance(chosen.fact.value, Decimal):
            return None, chosen
        row = concept(key)
        own = canonical(row, chosen.fact.value, chosen.fact.unit or "")
        if unit is None or unit == row.unit:
            return own, chosen
        from thalweg.record.units import convert  # noqa: PLC0415 - only for another unit

        return convert(own, row.unit or "", unit, molar_mass=row.molar_mass), chosen

    def mark(self, key: str, *, label: str | None = None) -> tuple[Mark | None, Chosen]:
        """Return the latest mark of a points or capsule concept, and the fact that says so."""
        chosen = self.latest(key, label=label)
        value = chosen.fact.value if chosen.fact else None
        return (value if isinstance(value, Mark) else None), chosen
