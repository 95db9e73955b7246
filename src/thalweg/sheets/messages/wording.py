"""The words of one language, with its numbers, dates, plural forms and direction."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.sheets.messages.catalogue import english, placeholders
from thalweg.sheets.messages.pseudo import PSEUDO

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date

    from babel import Locale
    from babel.messages import Catalog

    from thalweg.sheets.messages.catalogue import Message

__all__ = ["ENGLISH", "FIRST_STRONG", "POP", "Wording", "isolated", "wording"]

ENGLISH = "en"
FIRST_STRONG, POP = "\u2068", "\u2069"
"""Unicode's isolates: what stands between them has a direction of its own (UAX 9)."""

_HOLE = re.compile(r"\{[^{}]*\}")
_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")


def _two_forms(count: int) -> int:
    return 0 if count == 1 else 1


def isolated(text: str) -> str:
    """Return a text that keeps its direction among words that run the other way."""
    return f"{FIRST_STRONG}{text}{POP}" if text else text


@dataclass(frozen=True, eq=False)
class Wording:
    """The words of one language.

    Parameters
    ----------
    language : str
        BCP 47 tag.
    locale : babel.Locale
        What CLDR knows of it: numbers, dates, direction.
    texts : mapping
        Key to the text, one for each plural form.
    untranslated : frozenset of str
        Keys that stay English.
    plural : callable
        Which plural form a count takes.
    """

    language: str
    locale: Locale
    texts: Mapping[str, tuple[str, ...]]
    untranslated: frozenset[str] = field(default=frozenset())
    plural: Callable[[int], int] = field(default=_two_forms)

    @property
    def direction(self) -> str:
        """``"ltr"`` or ``"rtl"``."""
        return "rtl" if self.locale.text_direction == "rtl" else "ltr"

    @property
    def right_to_left(self) -> bool:
        """Whether its script runs from right to left."""
        return self.direction == "rtl"

    def has(self, key: str) -> bool:
        """Whether there is such a text."""
        return key in self.texts

    def raw(self, key: str) -> str:
        """Return a text with its braces, each hole isolated where the script needs it.

        Raises
        ------
        KeyError
            If there is none.
        """
        return self._ready(self.texts[key][0])

    def __call__(self, key: str, /, **values: object) -> str:
        """Return a text, its braces filled in; whole numbers as the language writes them."""
        return self.raw(key).format(**{name: self._said(one) for name, one in values.items()})

    def many(self, key: str, count: int, /, **values: object) -> str:
        """Return the form of a text for `count` things; `count` is among its values."""
        text = self.texts[key][self.form(key, count)]
        said = {name: self._said(one) for name, one in {"count": count, **values}.items()}
        return self._ready(text).format(**said)

    def form(self, key: str, count: int) -> int:
        """Return which plural form of a text a count takes."""
        return _two_forms(count) if key in self.untranslated else self.plural(count)

    def items(self, key: str) -> tuple[str, ...]:
        """Return the items of a list."""
        found: list[str] = []
        while self.has(f"{key}.{len(found) + 1}"):
            found.append(self(f"{key}.{len(found) + 1}"))
        if not found:
            raise KeyError(key)
        return tuple(found)

    def number(self, value: float) -> str:
        """Return a number with at most one decimal, as the language writes it."""
        from babel.numbers import format_decimal  # noqa: PLC0415 - only when a sheet is made

        return format_decimal(value, format="#,##0.#", locale=self.locale)

    def day(self, day: date) -> str:
        """Return a day with its month as a word."""
        from babel.dates import format_date  # noqa: PLC0415 - only when a sheet is made

        return format_date(day, "d MMMM yyyy", locale=self.locale)

    def own(self, text: str) -> str:
        """Return words that are not of this language: a name, a publication, an id."""
        return isolated(text) if self.right_to_left else text

    def _said(self, value: object) -> str:
        return self.number(value) if isinstance(value, int | float) else str(value)

    def _ready(self, text: str) -> str:
        return _HOLE.sub(lambda hole: isolated(hole[0]), text) if self.right_to_left else text


def wording(language: str = ENGLISH, translations: Mapping[str, bytes] | None = None) -> Wording:
    """Return the words of a language.

    Parameters
    ----------
    language : str
        ``"en"``, a pseudo-language, or one that there is a translation for.
    translations : mapping, optional
        A unit's own translations: language to the bytes of a gettext PO file.

    Raises
    ------
    InputError
        If there is no translation, or it cannot be used; the sentence says why.
    """
    own = translations or {}
    if language in own:
        return _translated(language, own[language])
    if language != ENGLISH and language not in PSEUDO:
        there = ", ".join((ENGLISH, *PSEUDO, *sorted(own)))
        raise InputError(
            f"the sheets are not translated into {language!r}",
            mend=f"choose {there}, or put the translation into your protocol folder as "
            "messages-LANGUAGE.po",
        )
    change = PSEUDO.get(language, str)
    texts = {
        key: tuple(change(text) for text in (one.one, one.other) if text)
        for key, one in english().items()
    }
    return Wording(language, _locale(language), texts)


def _locale(language: str) -> Locale:
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415 - only when a sheet is made

    # English of no country writes dates as the United States do.
    base = {ENGLISH: "en-GB", **{one: one.split("-")[0] for one in PSEUDO}}.get(language, language)
    refused = InputError(
        f"{language!r} is not a language that CLDR knows", mend="write it like fi or pt-BR"
    )
    if not _TAG.fullmatch(base):
        raise refused
    try:
        return Locale.parse(base, sep="-")
    except (UnknownLocaleError, ValueError):
        raise refused from None


def _translated(language: str, content: bytes) -> Wording:
    locale = _locale(language)
    page = _read(language, content)
    texts: dict[str, tuple[str, ...]] = {}
    missing = set()
    for key, message in english().items():
        found = _of(page, message)
        if found is None:
            missing.add(key)
            found = tuple(text for text in (message.one, message.other) if text)
        else:
            _fits(language, message, found)
        texts[key] = found
    if len(missing) == len(texts):
        raise InputError(
            "it translates none of the texts",
            where=f"messages-{language}.po",
            mend="fill in its msgstr lines",
        )
    from gettext import c2py  # noqa: PLC0415

    return Wording(language, locale, texts, frozenset(missing), c2py(page.plural_expr))


def _read(language: str, content: bytes) -> Catalog:
    from io import BytesIO  # noqa: PLC0415

    from babel.messages.pofile import PoFileError, read_po  # noqa: PLC0415

    where = f"messages-{language}.po"
    try:
        page = read_po(BytesIO(content), locale=language.replace("-", "_"), abort_invalid=True)
    except (PoFileError, UnicodeDecodeError, ValueError) as error:
        raise InputError(
            f"cannot be read as a PO file ({error})", where=where, mend="correct that place"
        ) from error
    return page


def _of(page: Catalog, message: Message) -> tuple[str, ...] | None:
    """Return the translation of a text, or None where it is missing, fuzzy or of another text."""
    found = page.get(message.one, context=message.key)
    if found is None or found.fuzzy:
        return None
    if message.other:
        if not isinstance(found.id, tuple | list) or tuple(found.id) != (
            message.one,
            message.other,
        ):
            return None
        forms = tuple(found.string or ())
        return forms if len(forms) == page.num_plurals and all(forms) else None
    return (found.string,) if isinstance(found.string, str) and found.string else None


def _fits(language: str, message: Message, found: tuple[str, ...]) -> None:
    """Refuse a translation whose holes are not those of the English."""
    wanted = placeholders(message.other or message.one)
    for text in found:
        try:
            has = placeholders(text)
        except ValueError:
            has = frozenset("?")
        # A plural form for one thing may leave its number out, as the English may.
        if has != wanted and not (message.other and wanted - has == {"count"}):
            names = ", ".join(f"{{{name}}}" for name in sorted(wanted)) or "no braces"
            raise InputError(
                f"the text of {message.key} does not have {names}",
                where=f"messages-{language}.po",
                mend="keep the names in braces as they are in English",
            )
