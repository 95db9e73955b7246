"""Units: a closed table of UCUM codes, converted by a units library.

Only the codes in ``data/ucum.toml`` are accepted. A filtration rate per 1.73 square metres has a
dimension of its own, so that it can never be taken for an absolute one.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, overload

from thalweg.errors import UnitError

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Unit", "convert", "known_units", "parse_quantity", "parse_unit", "printed"]

_NUMBER_THEN_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z")


@dataclass(frozen=True, slots=True)
class Unit:
    """One row of the table: UCUM code, the library's spelling, print form, typed forms."""

    code: str
    pint: str
    printed: str
    typed: tuple[str, ...]


@cache
def known_units() -> Mapping[str, Unit]:
    """Return the accepted units by UCUM code."""
    text = files("thalweg.record").joinpath("data/ucum.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["unit"]
    return {
        row["code"]: Unit(row["code"], row["pint"], row["print"], tuple(row.get("typed", ())))
        for row in rows
    }


@cache
def _typed_forms() -> Mapping[str, str]:
    forms = {code: code for code in known_units()}
    for unit in known_units().values():
        for typed in (unit.printed, *unit.typed):
            if typed:
                forms.setdefault(typed, unit.code)
    return forms


def parse_unit(text: str, *, typed: bool = False) -> str:
    """Return the UCUM code that `text` stands for.

    Parameters
    ----------
    text : str
        A unit as found in a file or typed by a person.
    typed : bool
        True accepts the forms people type (``µmol/l``); False only exact UCUM codes, as an
        exchange standard promises them.

    Raises
    ------
    UnitError
        If the unit is missing or not one of the accepted ones.
    """
    if not text.strip():
        raise UnitError("a number without a unit", mend="give the unit, such as 1.2mg/dL")
    code = _typed_forms().get(text.strip()) if typed else text
    if code is None or code not in known_units():
        near = _typed_forms().get(text.strip())
        mend = f"write the UCUM code {near!r}" if near else "use a UCUM code such as 'umol/L'"
        raise UnitError(f"{text!r} is not a UCUM unit that Thalweg knows", mend=mend)
    return code


def parse_quantity(text: str) -> tuple[Decimal, str]:
    """Split what a person typed, such as ``1.2mg/dL``, into an exact number and a UCUM code.

    Raises
    ------
    UnitError
        If there is no number, no unit, or a unit that is not known.
    """
    match = _NUMBER_THEN_UNIT.match(text)
    if not match:
        raise UnitError(f"{text!r} is not a number with a unit", mend="write it like 1.2mg/dL")
    try:
        number = Decimal(match.group(1))
    except InvalidOperation as error:  # pragma: no cover - the pattern admits only decimals
        raise UnitError(f"{match.group(1)!r} is not a number") from error
    try:
        return number, parse_unit(match.group(2), typed=True)
    except UnitError as error:
        raise UnitError(error.what, where=repr(text), mend=error.mend) from None


def printed(code: str) -> str:
    """Return how a page prints the unit with UCUM code `code`."""
    return known_units()[code].printed


@cache
def _registry() -> Any:
    # Imported here: the library takes a quarter of a second, and `--help` needs no unit.
    import pint  # noqa: PLC0415

    registry: Any = pint.UnitRegistry(cache_folder=None)
    registry.define("bsa173 = [surface_index]")
    return registry


@cache
def _factor(from_code: str, to_code: str, molar_mass: float | None) -> tuple[float, float]:
    """Return (factor, offset) of the linear conversion between two codes."""
    registry = _registry()
    table = known_units()
    source, target = (registry.Unit(table[code].pint) for code in (from_code, to_code))
    bridge = registry.Quantity(1, "dimensionless")
    if not source.is_compatible_with(target):
        per_mole = None if molar_mass is None else registry.Quantity(molar_mass, "g/mol")
        if per_mole is not None and (source / per_mole.units).is_compatible_with(target):
            bridge = 1 / per_mole
        elif per_mole is not None and (source * per_mole.units).is_compatible_with(target):
            bridge = per_mole
        else:
            raise UnitError(
                f"{printed(from_code) or from_code} cannot be turned into "
                f"{printed(to_code) or to_code}",
                mend="give the value in a unit of the same kind",
            )
    if from_code == to_code:
        return 1.0, 0.0
    if "degC" in (table[from_code].pint, table[to_code].pint):
        zero, one = (registry.Quantity(v, source).to(target).magnitude for v in (0.0, 1.0))
        return float(one - zero), float(zero)
    return float((registry.Quantity(1.0, source) * bridge).to(target).magnitude), 0.0


@overload
def convert(
    value: float | Decimal, from_code: str, to_code: str, *, molar_mass: float | None = None
) -> float: ...
@overload
def convert(
    value: NDArray[np.float64], from_code: str, to_code: str, *, molar_mass: float | None = None
) -> NDArray[np.float64]: ...
def convert(
    value: float | Decimal | NDArray[np.float64],
    from_code: str,
    to_code: str,
    *,
    molar_mass: float | None = None,
) -> float | NDArray[np.float64]:
    """Convert a value, or an array of values, between two UCUM codes of the table.

    Parameters
    ----------
    value : float, Decimal or ndarray
        In the unit `from_code`.
    from_code, to_code : str
        UCUM codes of the table.
    molar_mass : float, optional
        Of the substance, in g/mol, where a mass concentration meets a molar one.

    Raises
    ------
    UnitError
        If the units are of different kinds.
    """
    factor, offset = _factor(from_code, to_code, molar_mass)
    if isinstance(value, (Decimal, int, float)):
        return float(value) * factor + offset
    return value * factor + offset
