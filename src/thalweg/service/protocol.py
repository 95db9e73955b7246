"""A unit's own protocol: a folder of TOML files whose rows take the place of ours by key.

A ``series.csv`` in it holds the unit's own outcomes, which stand beside the published series; a
``messages-LANGUAGE.po`` holds the sheets for the person in a language that the unit translated.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from thalweg.evidence.series import Series

__all__ = ["NO_PROTOCOL", "Protocol", "read_protocol"]

TABLES = (
    "calendar",
    "catalogue",
    "changeable",
    "chemistry",
    "contrast",
    "fitness",
    "kidney",
    "lifecourse",
    "pooling",
    "pooling-methods",
    "preferences",
    "renogram",
    "workup",
)
"""Files that a protocol folder may hold, by name without ``.toml``."""
OUTCOMES = "series.csv"
"""The file of the unit's own outcomes."""
TRANSLATION = "messages-"
"""Beginning of the name of a translation, which ends in the language and ``.po``."""


@dataclass(frozen=True)
class Protocol:
    """The tables of a protocol folder, by name, the unit's own outcomes and its translations."""

    tables: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    series: tuple[Series, ...] = ()
    translations: Mapping[str, bytes] = field(default_factory=dict)

    def table(self, name: str) -> Mapping[str, Any] | None:
        """Return the unit's table of that name, or None where it has none."""
        return self.tables.get(name)


NO_PROTOCOL = Protocol()


def read_protocol(folder: Path | None) -> Protocol:
    """Read a protocol folder; None is no protocol.

    Raises
    ------
    InputError
        If the folder is missing or holds no rules, a file in it is not one of ours or not TOML, or
        the unit's own outcomes cannot be used.
    """
    if folder is None:
        return NO_PROTOCOL
    if not folder.is_dir():
        raise InputError("there is no such folder", where=str(folder), mend="name your protocol")
    tables = {}
    for path in sorted(folder.glob("*.toml")):
        if path.stem not in TABLES:
            raise InputError(
                "is not a table of Thalweg",
                where=path.name,
                mend=f"use {' or '.join(f'{name}.toml' for name in TABLES)}",
            )
        try:
            tables[path.stem] = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise InputError(
                f"cannot be read as TOML ({error})", where=path.name, mend="correct that place"
            ) from error
    own = _own_series(folder, tables)
    translations = _translations(folder)
    if not tables and not own and not translations:
        raise InputError(
            "holds no rules",
            where=str(folder),
            mend=f"put {' or '.join(f'{name}.toml' for name in TABLES)} or {OUTCOMES} into it",
        )
    return Protocol(tables, own, translations)


def _translations(folder: Path) -> Mapping[str, bytes]:
    """Return the bytes of each translation by its language; read where it is used."""
    found = {}
    for path in sorted(folder.glob(f"{TRANSLATION}*.po")):
        try:
            found[path.stem.removeprefix(TRANSLATION)] = path.read_bytes()
        except OSError as error:
            raise InputError("cannot be read", where=path.name, mend="check the file") from error
    return found


def _own_series(folder: Path, tables: Mapping[str, Mapping[str, Any]]) -> tuple[Series, ...]:
    """Return the unit's own outcomes, checked against the catalogue that it uses."""
    path = folder / OUTCOMES
    if not path.exists():
        return ()
    # Only a folder with outcomes pays for reading the catalogue and the tables of series.
    from thalweg.exchange.series_table import read_series_table  # noqa: PLC0415
    from thalweg.plan.catalogue import catalogue  # noqa: PLC0415

    known = [one.key for one in catalogue(tables.get("catalogue")).diversions]
    return read_series_table(path, diversions=known)
