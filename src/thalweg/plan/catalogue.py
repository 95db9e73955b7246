"""The catalogue of diversions and the criteria each must meet, read from data.

The packaged ``data/catalogue.toml`` has four parts: ``[setting.…]``, ``[criterion.…]``,
``[exemption.…]`` and ``[diversion.…]``. A unit's own ``catalogue.toml`` may replace any entry of
any part, key by key.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.protocol import merged
from thalweg.plan.entries import Criterion, Diversion
from thalweg.plan.entries_reading import (
    read_criterion,
    read_diversion,
    read_exemption,
    read_number,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Catalogue", "Criterion", "Diversion", "catalogue"]

PARTS = ("setting", "criterion", "exemption", "diversion")


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Every diversion, in the order in which a page lists them.

    Parameters
    ----------
    diversions : tuple of Diversion
        All of them.
    least_margin_mm : float
        Margin a ureter needs to count as reaching, mm.
    adult_from_years : float
        Age from which the criteria were published to hold.
    notices : tuple of str
        Which entries the unit's own protocol replaced.
    """

    diversions: tuple[Diversion, ...]
    least_margin_mm: float
    adult_from_years: float
    notices: tuple[str, ...] = ()

    def diversion(self, key: str) -> Diversion:
        """Return the diversion called `key`.

        Raises
        ------
        InputError
            If there is none; the sentence names the nearest.
        """
        for diversion in self.diversions:
            if diversion.key == key:
                return diversion
        known = [diversion.key for diversion in self.diversions]
        near = get_close_matches(key, known, n=2) or known
        raise InputError(
            f"{key!r} is not a diversion of the catalogue", mend=f"choose {' or '.join(near)}"
        )


@cache
def _packaged() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    text = files("thalweg.plan").joinpath("data/catalogue.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def catalogue(theirs: Mapping[str, Any] | None = None) -> Catalogue:
    """Return the packaged catalogue with a unit's own entries in their place.

    Parameters
    ----------
    theirs : mapping, optional
        A unit's parsed ``catalogue.toml``.

    Raises
    ------
    InputError
        If an entry of the unit's is not of its form; the sentence says which and the mend.
    """
    if not theirs:
        return _ours()
    return _built(theirs)


@cache
def _ours() -> Catalogue:
    return _built({})


def _built(theirs: Mapping[str, Any]) -> Catalogue:
    strange = set(theirs) - set(PARTS)
    if strange:
        raise InputError(
            f"{', '.join(sorted(strange))} is not a part of the catalogue",
            where="protocol catalogue.toml",
            mend="write [setting.…], [criterion.…], [exemption.…] or [diversion.…]",
        )
    parts = {
        name: merged(f"catalogue ({name})", _packaged()[name], theirs.get(name, {}))
        for name in PARTS
    }
    setting = parts["setting"].rows
    criteria = {
        key: read_criterion(key, row, own=key in parts["criterion"].replaced)
        for key, row in parts["criterion"].rows.items()
    }
    exemptions = {
        key: read_exemption(key, row, own=key in parts["exemption"].replaced)
        for key, row in parts["exemption"].rows.items()
    }
    diversions = tuple(
        read_diversion(key, row, criteria, exemptions, own=key in parts["diversion"].replaced)
        for key, row in parts["diversion"].rows.items()
    )
    return Catalogue(
        diversions,
        read_number("reach", "least_margin_mm", setting),
        read_number("adult", "from_years", setting),
        tuple(rules.notice for rules in parts.values() if rules.notice),
    )
