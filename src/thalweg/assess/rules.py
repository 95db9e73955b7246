"""The thresholds of kidney assessment, read from data; a unit's own take their place by key."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.protocol import Rules, merged

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["KIDNEY_TABLE", "checked_rules", "kidney_rules", "number", "numbers"]

KIDNEY_TABLE = "kidney"


@cache
def _packaged() -> Mapping[str, Mapping[str, Any]]:
    text = files("thalweg.assess").joinpath("data/kidney.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def kidney_rules(theirs: Mapping[str, Any] | None = None) -> Rules:
    """Return the rules, with the unit's own in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        The unit's ``kidney.toml``.

    Raises
    ------
    InputError
        If a rule of the unit is not one of ours, names no source, or lacks a figure.
    """
    return checked_rules(KIDNEY_TABLE, _packaged(), theirs or {})


def checked_rules(
    table: str, ours: Mapping[str, Mapping[str, Any]], own: Mapping[str, Any]
) -> Rules:
    """Return rows of figures with the unit's own in their place, each as complete as ours.

    Parameters
    ----------
    table : str
        Its name, as of the file.
    ours, own : mapping
        Rows by key.

    Raises
    ------
    InputError
        If a row of the unit is not one of ours, names no source, or lacks a figure.
    """
    rules = merged(table, ours, own)
    for key, row in own.items():
        where = f"protocol {table}.toml"
        if key not in ours:
            raise InputError(
                f"{key!r} is not a rule of ours", where=where, mend=f"use one of {', '.join(ours)}"
            )
        for name, value in ours[key].items():
            if isinstance(value, (int, float)):
                _positive(row.get(name), name, f"{where} [{key}]", signed=value < 0)
            elif isinstance(value, list):
                if not isinstance(row.get(name), list) or not row[name]:
                    raise InputError(f"{name} is not a list", where=f"{where} [{key}]")
                for each in row[name]:
                    _positive(each, name, f"{where} [{key}]", signed=False)
    return rules


def _positive(value: object, name: str, where: str, *, signed: bool) -> None:
    sound = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not sound or (not signed and float(str(value)) < 0):
        raise InputError(
            f"{name} is {'missing' if value is None else f'{value!r}'}",
            where=where,
            mend=f"give {name} as a number{'' if signed else ' of at least 0'}",
        )


def number(rules: Rules, key: str, name: str) -> float:
    """Return one figure of a rule."""
    return float(rules.rows[key][name])


def numbers(rules: Rules, key: str, name: str) -> tuple[float, ...]:
    """Return a rule's list of figures."""
    return tuple(float(value) for value in rules.rows[key][name])
