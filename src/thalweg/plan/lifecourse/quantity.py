"""A figure with its doubt: drawn again for every parallel world of the simulation.

Two kinds of doubt are kept apart. *Chance* is what differs between two people whose risks are the
same; *doubt* is that nobody knows those risks exactly. Here stands the second.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf, log
from typing import TYPE_CHECKING, Final, Literal
from zlib import crc32

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Basis", "Quantity", "certain", "ranged", "stream"]

Scale = Literal["plain", "log", "logit"]
TAIL: Final = 0.001
"""Draws keep to the central 99.8 %: what lies beyond on a log scale would rule every mean."""
Z_95: Final = 1.959963984540054


def stream(seed: int, *words: str | int) -> np.random.Generator:
    """Return a generator that depends on the seed and the words alone.

    Whatever else is drawn, in whatever order, the same words give the same numbers: so two options
    meet the same chance.
    """
    keys = [word if isinstance(word, int) else crc32(word.encode()) for word in words]
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, *keys])))


@dataclass(frozen=True, slots=True)
class Basis:
    """What a figure rests on.

    Parameters
    ----------
    sources : tuple of str
        Keys of the bibliography.
    series : tuple of str
        Keys of the published series, where it was pooled from them.
    events, total : int or None
        Events among so many people (or what was counted), over all series.
    definition : str
        Key of the definition that the series counted by; empty where there is none.
    read : str
        The worst way in which a figure below it was read (see `thalweg.evidence.bibliography`).
    local : str
        The unit's own source, where its protocol replaced ours.
    says : tuple of str
        Cautions.
    """

    sources: tuple[str, ...]
    series: tuple[str, ...] = ()
    events: int | None = None
    total: int | None = None
    definition: str = ""
    read: str = ""
    local: str = ""
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure known only within limits.

    Parameters
    ----------
    key : str
        Names its doubt: quantities of one key are one unknown, and take the same draw. Figures
        pooled from the same series therefore share a key; others must not.
    scale : "plain", "log" or "logit"
        Scale on which its doubt is symmetric.
    centre : float
        On that scale.
    spread : float
        Standard deviation there, at least 0; 0: certain.
    least, most : float
        Bounds on the natural scale.
    basis : Basis
        What it rests on.

    Raises
    ------
    InputError
        If it is not a number, or its spread is negative.
    """

    key: str
    scale: Scale
    centre: float
    spread: float = 0.0
    least: float = -inf
    most: float = inf
    basis: Basis = field(default=Basis(("thalweg-engineering",)))

    def __post_init__(self) -> None:
        if not (np.isfinite(self.centre) and np.isfinite(self.spread) and self.spread >= 0):
            raise InputError(
                f"{self.key}: {self.centre:g} ± {self.spread:g} is not a figure with its doubt",
                mend="give finite numbers, the spread 0 or more",
            )

    def _natural(self, value: Floats) -> Floats:
        if self.scale == "log":
            value = np.exp(value)
        elif self.scale == "logit":
            value = 1.0 / (1.0 + np.exp(-value))
        return np.clip(value, self.least, self.most)

    @property
    def middle(self) -> float:
        """Its middle value, on the natural scale."""
        return float(self._natural(np.array(self.centre)))

    @property
    def interval(self) -> tuple[float, float]:
        """Its central 95 %, on the natural scale."""
        low, high = self._natural(self.centre + self.spread * Z_95 * np.array([-1.0, 1.0]))
        return float(low), float(high)

    def drawn(self, draws: int, seed: int) -> Floats:
        """Return `draws` values, one a world, each equally likely; shape (draws,).

        Drawn by strata (one from each of `draws` equal parts, shuffled), which steadies means.
        """
        if self.spread == 0.0:
            return np.full(draws, self.middle)
        from scipy.special import ndtri  # noqa: PLC0415 - heavy

        chance = stream(seed, "doubt", self.key)
        part = (chance.permutation(draws) + chance.random(draws)) / draws
        part = TAIL + (1.0 - 2.0 * TAIL) * part
        return self._natural(self.centre + self.spread * np.asarray(ndtri(part)))


def certain(key: str, value: float, basis: Basis | None = None) -> Quantity:
    """Return a figure without doubt."""
    return Quantity(key, "plain", value, basis=basis or Basis(("thalweg-engineering",)))


def ranged(
    key: str, low: float, high: float, basis: Basis, *, middle: float | None = None
) -> Quantity:
    """Return a figure whose 95 % interval is published or judged.

    Parameters
    ----------
    key : str
        As in `Quantity`.
    low, high : float
        The interval; on a log scale where both are above 0, else plain.
    basis : Basis
        What it rests on.
    middle : float, optional
        The middle of the interval on its scale where None.

    Raises
    ------
    InputError
        If the bounds do not rise.
    """
    if not low < high:
        raise InputError(f"{key}: {low:g} to {high:g} is no interval", mend="give low, then high")
    if low > 0:
        centre = log(middle) if middle else (log(low) + log(high)) / 2
        return Quantity(key, "log", centre, (log(high) - log(low)) / (2 * Z_95), basis=basis)
    centre = middle if middle is not None else (low + high) / 2
    return Quantity(key, "plain", centre, (high - low) / (2 * Z_95), basis=basis)
