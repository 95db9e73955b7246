"""What every reader of a file hands on: facts, what was left out, and every problem at once."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Moment, Origin
from thalweg.record.plausible import questions_about

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = [
    "CollectedInputError",
    "Identity",
    "Reading",
    "content_of",
    "exact_decimal",
    "moment",
    "placed",
    "quantity_fact",
    "text_of",
]

_NUMBER: Final = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,2})?", re.ASCII)
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_TIME: Final = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?(Z|[+-]\d{2}:\d{2})?", re.ASCII
)
GREATEST_EXPONENT: Final = 30
"""Powers of ten beyond which a number is a slip in any unit, and arithmetic on it may overflow."""


SAID = 3
"""Problems said in full, so that one line stays readable."""


class CollectedInputError(InputError):
    """Several problems found in one go: reads as the first few, and how many more there are.

    Parameters
    ----------
    what, where, mend : str
        Of the first problem, as for `InputError`.
    others : tuple of InputError
        The rest.
    """

    def __init__(
        self, what: str, *, where: str = "", mend: str = "", others: tuple[InputError, ...] = ()
    ) -> None:
        super().__init__(what, where=where, mend=mend)
        self.others = others

    @classmethod
    def of(cls, problems: list[InputError]) -> CollectedInputError:
        """Join problems, flattening those that are already several."""
        flat: list[InputError] = []
        for problem in problems:
            flat.append(InputError(problem.what, where=problem.where, mend=problem.mend))
            flat.extend(getattr(problem, "others", ()))
        first = flat[0]
        return cls(first.what, where=first.where, mend=first.mend, others=tuple(flat[1:]))

    def at(self, where: str) -> CollectedInputError:
        """Return the same errors, each with `where` put in front of its own place."""
        return CollectedInputError.of(
            [super().at(where), *(other.at(where) for other in self.others)]
        )

    def __str__(self) -> str:
        said = [super().__str__(), *(str(other) for other in self.others[: SAID - 1])]
        more = len(self.others) + 1 - len(said)
        if more:
            said.append(f"({more} more problem{'s' if more > 1 else ''} found.)")
        return " Also: ".join(said[:SAID]) + "".join(f" {rest}" for rest in said[SAID:])


@dataclass(frozen=True, slots=True)
class Identity:
    """Whom a file says it is about, as far as it says; `repr` shows none of it.

    Parameters
    ----------
    source : str
        The file or folder.
    born : str
        Birth date in ISO form, possibly only a year or a month; empty where not given.
    sex : str
        ``"female"``, ``"male"`` or empty.
    identifiers : tuple of str
        Numbers that the sender has for the person.
    """

    source: str
    born: str = field(default="", repr=False)
    sex: str = field(default="", repr=False)
    identifiers: tuple[str, ...] = field(default=(), repr=False)


@dataclass(slots=True)
class Reading:
    """A reader's harvest.

    Parameters
    ----------
    facts : list of Fact
        In the order of the file.
    not_taken : list of str
        One sentence for everything that was left out.
    questions : list of str
        What a person should look into although the file was taken in.
    identities : list of Identity
        Whom it says it is about.
    problems : list of InputError
        What forbids taking it in.
    """

    facts: list[Fact] = field(default_factory=list)
    not_taken: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    identities: list[Identity] = field(default_factory=list)
    problems: list[InputError] = field(default_factory=list)

    @contextmanager
    def part(self, where: str) -> Iterator[None]:
        """Note a problem of this part and go on with the next."""
        try:
            yield
        except InputError as error:
            self.problems.append(error.at(where) if where else error)

    def sound(self, where: str = "") -> Reading:
        """Return the reading, or raise every problem it met with `where` in front of its place."""
        if self.problems:
            found = CollectedInputError.of(self.problems)
            raise found.at(where) if where else found
        return self


@contextmanager
def placed(where: str) -> Iterator[None]:
    """Put `where` in front of the place of any problem met inside."""
    try:
        yield
    except InputError as error:
        raise error.at(where) from None


def content_of(path: Path) -> bytes:
    """Return what a file holds.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "input failed"
        raise InputError(f"cannot be read ({reason})", mend="check its permissions") from error


def text_of(path: Path) -> str:
    """Return the text of a file in UTF-8, with or without a byte order mark.

    Raises
    ------
    InputError
        If it cannot be read, or is not UTF-8.
    """
    try:
        return content_of(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text", mend="save it as UTF-8") from None


def exact_decimal(text: str) -> Decimal:
    """Return the number that `text` writes, with every digit it writes.

    Raises
    ------
    InputError
        If it is not a plain decimal number with a point, or out of all proportion.
    """
    if not _NUMBER.fullmatch(text):
        mend = "write it with a decimal point, such as 1.2"
        raise InputError(f"{text!r} is not a number", mend=mend)
    return _in_proportion(Decimal(text))


def _in_proportion(value: Decimal) -> Decimal:
    if not value.is_finite() or abs(value.adjusted()) > GREATEST_EXPONENT:
        raise InputError(f"{value} is out of all proportion", mend="correct it")
    return value


def moment(text: str) -> Moment:
    """Return the date, or the date and time with its offset, that `text` writes in ISO 8601.

    Raises
    ------
    InputError
        If it is neither, or a time without an offset from UTC.
    """
    try:
        if _DATE.fullmatch(text):
            return date.fromisoformat(text)
        if found := _TIME.fullmatch(text):
            if not found.group(1):
                raise InputError(
                    f"the time {text!r} has no time zone", mend="add its offset, such as +01:00"
                )
            return datetime.fromisoformat(text)
    except ValueError:
        pass  # a day or hour that does not exist: refused below like any other text
    raise InputError(
        f"{text!r} is not a date", mend="write it like 2026-03-01 or 2026-03-01T08:30+01:00"
    )


def quantity_fact(
    key: str,
    value: Decimal,
    unit: str,
    at: Moment,
    origin: Origin,
    *,
    label: str = "",
    questions: tuple[str, ...] = (),
) -> Fact:
    """Return a quantity as a fact, questioned where it is unlikely.

    Parameters
    ----------
    key : str
        Of the concept.
    value : Decimal
        As written.
    unit : str
        UCUM code.
    at : date or aware datetime
        When it was true of the person.
    origin : Origin
        Where it was found.
    label : str
        See `Fact`.
    questions : tuple of str
        Doubts that the reader already has.

    Raises
    ------
    InputError
        If the concept is no quantity, does not accept the unit, or cannot have the value.
    """
    row = concept(key)
    if row.kind != "quantity":
        raise InputError(
            f"{row.name} is not a number with a unit", mend="record it in the case file"
        )
    asked = questions_about(row, _in_proportion(value), unit)
    return Fact(key, value, unit, at, origin, label, (*questions, *asked))
