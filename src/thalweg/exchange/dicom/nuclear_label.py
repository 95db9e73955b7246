"""What was given to the person: the label, how fast it decays, the tracer, and when.

Radiopharmaceutical Information Sequence and Energy Window Information Sequence are those of the
NM Isotope Module (PS3.3 C.8.4.10).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime, time
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from pydicom.sr.coding import Code
from pydicom.valuerep import DT, TM

from thalweg.errors import ImageError
from thalweg.exchange.dicom.dates import TO_THE_MINUTE
from thalweg.exchange.dicom.headers import term, text
from thalweg.exchange.dicom.nuclear_sides import OLD_SCHEMES
from thalweg.record.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydicom import Dataset

__all__ = ["Label", "began_at", "choose_window", "label_of", "stated_given_s"]

TECHNETIUM: Final = "technetium-99m"
SECONDS: Final = {"h": 3600.0, "d": 86400.0}
LONG_STRING: Final = 64  # characters, VR LO of PS3.5 section 6.2
DAY_S: Final = 86400.0
LONGEST_BEFORE_S: Final = 3600.0
"""Most between injection and first frame, or back, for which a stated time is believed."""


@dataclass(frozen=True, slots=True)
class Label:
    """A label and its tracer.

    Parameters
    ----------
    tracer : str
        Empty where the file does not name it.
    half_life_s : float
    photons_kev : tuple of float
        Energies at which it is counted.
    cautions : tuple of str
    """

    tracer: str
    half_life_s: float
    photons_kev: tuple[float, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Nuclide:
    codes: tuple[str, ...]
    half_life_s: float
    photons_kev: tuple[float, ...]


@cache
def _nuclides() -> Mapping[str, _Nuclide]:
    rows = tomllib.loads(_data("radionuclides.toml"))
    nuclides = {}
    for name, row in rows.items():
        number, unit = parse_quantity(row["half_life"])
        half_life_s = float(number) * SECONDS[unit]
        nuclides[name] = _Nuclide(tuple(row["codes"]), half_life_s, tuple(row["photons_keV"]))
    return nuclides


def _data(name: str) -> str:
    return files("thalweg.exchange.dicom").joinpath(f"data/{name}").read_text(encoding="utf-8")


def label_of(header: Dataset) -> Label:
    """Return the label and tracer that a file names.

    Raises
    ------
    ImageError
        It names several, or a label that is not known here, so that its decay is not known.
    """
    items = list(header.get("RadiopharmaceuticalInformationSequence") or ())
    if len(items) > 1:
        raise ImageError(
            f"names {len(items)} radiopharmaceuticals", mend="give a study with one tracer"
        )
    codes = list((items[0].get("RadionuclideCodeSequence") if items else None) or ())
    cautions = []
    name = TECHNETIUM
    if codes:
        name = _named(codes[0])
    else:
        cautions.append("The file does not name the label; its decay is taken as technetium-99m's.")
    tracer = _tracer(items[0]) if items else ""
    if not tracer:
        cautions.append("The file does not name the tracer.")
    found = _nuclides()[name]
    return Label(tracer, found.half_life_s, found.photons_kev, tuple(cautions))


def _code(item: Dataset) -> Code:
    scheme = text(item, "CodingSchemeDesignator")
    return Code(text(item, "CodeValue"), "SRT" if scheme in OLD_SCHEMES else scheme, "of the file")


def _named(item: Dataset) -> str:
    given = _code(item)
    for name, nuclide in _nuclides().items():
        if any(given == Code(code, "SCT", name) for code in nuclide.codes):
            return name
    raise ImageError(
        f"names a label that is not known here (code {term(item, 'CodeValue') or 'unreadable'})",
        mend=f"known are {', '.join(_nuclides())}",
    )


def _tracer(item: Dataset) -> str:
    """Return the tracer's short name, or the file's own word for it."""
    own = text(item, "Radiopharmaceutical")
    if len(own) > LONG_STRING:  # it has swallowed what follows in a damaged file
        own = ""
    codes = list(item.get("RadiopharmaceuticalCodeSequence") or ())
    words = own or (text(codes[0], "CodeMeaning") if codes else "")
    for name, row in tomllib.loads(_data("tracers.toml")).items():
        known = [Code(code, "SCT", name) for code in row["codes"]]
        lower = words.lower()
        if lower == name.lower() or any(word in lower for word in row["words"]):
            return str(name)
        if codes and _code(codes[0]) in known:
            return str(name)
    return words


def choose_window(
    header: Dataset, label: Label, windows: int, asked: int | None
) -> tuple[int, tuple[str, ...]]:
    """Choose the energy window to read.

    Parameters
    ----------
    header : Dataset
        With Energy Window Information Sequence where there are several.
    label : Label
        Whose photons decide.
    windows : int
        How many there are.
    asked : int, optional
        As a person chose, from 1.

    Returns
    -------
    window : int
        From 1.
    cautions : tuple of str
        Said when there was a choice.

    Raises
    ------
    ImageError
        No window, or more than one, holds a photon of the label; or the one asked for is not
        there.
    """
    if asked is not None:
        if not 1 <= asked <= windows:
            raise ImageError(
                f"has no energy window {asked}, only 1 to {windows}", mend="give one of these"
            )
        return asked, ()
    if windows == 1:
        return 1, ()
    items = list(header.get("EnergyWindowInformationSequence") or ())
    fitting = [
        number
        for number, item in enumerate(items, start=1)
        if any(_holds(item, energy) for energy in label.photons_kev)
    ]
    if len(items) != windows or len(fitting) != 1:
        raise ImageError(
            f"was counted in {windows} energy windows, {len(fitting)} of them over the label's "
            "photons",
            mend="export the window over the label's photons alone, or give the curves as a table",
        )
    said = f"Of {windows} energy windows number {fitting[0]}, over the label's photons, was read."
    return fitting[0], (said,)


def _holds(item: Dataset, energy_kev: float) -> bool:
    for part in item.get("EnergyWindowRangeSequence") or ():
        low, high = part.get("EnergyWindowLowerLimit"), part.get("EnergyWindowUpperLimit")
        if None not in (low, high) and float(low) <= energy_kev <= float(high):
            return True
    return False


def began_at(header: Dataset) -> datetime | None:
    """Return when the first frame began, to the fraction of a second, or None."""
    whole = text(header, "AcquisitionDateTime")
    joined = f"{text(header, 'AcquisitionDate')}{text(header, 'AcquisitionTime')}"
    for value in (whole, joined):
        if TO_THE_MINUTE.match(value):
            try:
                return datetime.fromisoformat(DT(value).isoformat())
            except ValueError:
                continue
    return None


def stated_given_s(header: Dataset) -> float | None:
    """Return when the file says the tracer was given, in seconds after the first frame began.

    None where it does not say, or says a time more than an hour away, which is another clock's.
    """
    began = began_at(header)
    items = list(header.get("RadiopharmaceuticalInformationSequence") or ())
    if began is None or len(items) != 1:
        return None
    began = began.replace(tzinfo=None)
    whole = text(items[0], "RadiopharmaceuticalStartDateTime")
    clock = text(items[0], "RadiopharmaceuticalStartTime")
    try:
        if len(whole) >= len("YYYYMMDDhhmm"):
            given = datetime.fromisoformat(DT(whole).isoformat()).replace(tzinfo=None)
        elif len(clock) >= len("hhmm"):
            given = datetime.combine(began.date(), time.fromisoformat(TM(clock).isoformat()))
        else:
            return None
    except ValueError:
        return None
    seconds = (given - began).total_seconds()
    if not whole:  # midnight may lie between the two
        seconds = (seconds + DAY_S / 2) % DAY_S - DAY_S / 2
    return seconds if abs(seconds) <= LONGEST_BEFORE_S else None
