"""Windows, doubts and criteria of a renogram, read from data; a unit's own replace them by key."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.assess.rules import checked_rules
from thalweg.errors import InputError
from thalweg.evidence.protocol import Rules

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["RENOGRAM_TABLE", "renogram_rules"]

RENOGRAM_TABLE = "renogram"


@cache
def _packaged() -> Mapping[str, Mapping[str, Any]]:
    text = files("thalweg.assess").joinpath("data/renogram.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def renogram_rules(theirs: Mapping[str, Any] | None = None) -> Rules:
    """Return the rules, with the unit's own in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        The unit's ``renogram.toml``.

    Raises
    ------
    InputError
        If a rule of the unit is not one of ours, names no source, lacks a figure, or gives a window
        that ends before it begins.
    """
    ours = _packaged()
    rules = checked_rules(RENOGRAM_TABLE, ours, theirs or {})
    rows = {
        # What a criterion speaks for is ours to say: a unit sets its figure.
        key: {**row, **{k: ours[key][k] for k in ("speaks_for", "family") if k in ours[key]}}
        for key, row in rules.rows.items()
    }
    for key in ("uptake-window", "patlak-window"):
        if not rows[key]["from_s"] < rows[key]["to_s"]:
            raise InputError(
                "the window ends before it begins",
                where=f"protocol {RENOGRAM_TABLE}.toml [{key}]",
                mend="give from_s below to_s",
            )
    return Rules(rules.name, rows, rules.replaced)
