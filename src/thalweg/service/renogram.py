"""Analyse one renogram: a table of curves, or pictures of a gamma camera with regions."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.rules import RENOGRAM_TABLE, renogram_rules
from thalweg.assess.renogram.shown import cautions_shown, said_of_drainage, share_line
from thalweg.assess.renogram.study import analysed
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.regions import read_regions
from thalweg.record.truth import Truth
from thalweg.record.units import convert, parse_quantity, parse_unit
from thalweg.service.protocol import read_protocol
from thalweg.service.renogram_files import StatedOfRenogram, read_renogram
from thalweg.service.renogram_words import result_json, side_by_side

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from thalweg.assess.renogram.result import RenogramResult
    from thalweg.evidence.protocol import Rules
    from thalweg.service.renogram_files import ReadRenogram
    from thalweg.sheets.document import Picture

__all__ = ["AnalysedRenogram", "Asked", "analyse", "analysed_files", "seconds_in"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked on the line; empty or None where it was not."""

    regions: Path | None = None
    furosemide: str | None = None
    given: str | None = None
    emptied: str | None = None
    left_at: str = ""
    view: str = ""
    acquired: str = ""
    single_kidney: str = ""
    age: str | None = None
    drained: bool | None = None
    hydrated: bool | None = None
    reflux: bool | None = None
    both_diseased: bool | None = None
    detector: int | None = None
    energy_window: int | None = None


@dataclass(frozen=True, eq=False)
class AnalysedRenogram:
    """A renogram, what it says, and which rules of a unit stood in place of ours."""

    read: ReadRenogram
    result: RenogramResult
    notice: str = ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution of the study and of its findings, each once."""
        below = [caution for one in self.result.findings for caution in one.all_cautions]
        return tuple(dict.fromkeys((*self.read.cautions, *self.result.said, *below)))

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        study = self.read.renogram
        what = [
            study.acquired[:10] or "date not known",
            study.tracer or "tracer not known",
            f"{study.view} view" if study.view else "view not stated",
            self.result.timing,
        ]
        rows = [f"Renogram of {', '.join(what)}.", share_line(self.result), ""]
        kidneys = list(self.result.kidneys.values())
        rows += [*side_by_side(kidneys), ""]
        rows += said_of_drainage(kidneys)
        cautions = cautions_shown(self.result, self.read.cautions)
        rows += [self.notice] if self.notice else []
        return [*rows, *(f"! {caution}" for caution in cautions)]

    def to_json(self) -> dict[str, Any]:
        """Return the plain numbers, and the full findings."""
        study = self.read.renogram
        return {
            "acquired": study.acquired or None,
            "tracer": study.tracer or None,
            "view": study.view or None,
            "phantom": study.phantom,
            "source_id": study.source_id,
            "given_s": study.given_s,
            "region_areas_pixels": dict(study.pixels),
            **result_json(self.result),
            "protocol": self.notice or None,
            "cautions": list(self.cautions),
            "findings": [finding.to_json(cite) for finding in self.result.findings],
        }

    def curves_picture(self, kind: str) -> Picture:
        """Return the curves, drawn."""
        from thalweg.sheets.pictures.renogram import renogram_picture  # noqa: PLC0415 - if drawn

        study = self.read.renogram
        return renogram_picture(
            self.result, acquired=study.acquired, phantom=study.phantom, kind=kind
        )

    def uptake_picture(self, kind: str) -> Picture:
        """Return the summed uptake with its regions, drawn.

        Raises
        ------
        InputError
            If the curves came from a table.
        """
        from thalweg.sheets.pictures.uptake import uptake_picture  # noqa: PLC0415 - if drawn

        if self.read.image is None:
            raise InputError(
                "a table holds no pictures", where="--uptake-picture", mend="leave it out"
            )
        return uptake_picture(
            self.read.image,
            self.read.regions,
            self.result.uptake_window_s,
            given_s=self.read.renogram.given_s,
            kind=kind,
        )


def seconds_in(text: str, where: str) -> float:
    """Return a time that a person typed with its unit, such as ``20min``, in seconds.

    Raises
    ------
    InputError
        No number, no unit, or not a time.
    """
    try:
        number, unit = parse_quantity(text)
        return convert(float(number), unit, "s")
    except InputError as error:
        raise InputError(error.what, where=where, mend="write it like 20min or 90s") from error


def _age(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        number, unit = (
            (Decimal(text), "a") if text.replace(".", "", 1).isdigit() else parse_quantity(text)
        )
        return convert(float(number), parse_unit(unit), "a")
    except InputError as error:
        raise InputError(
            error.what, where="--age", mend="give it in years, such as 68 or 0.5"
        ) from error


def analysed_files(
    files: Sequence[Path], asked: Asked, *, protocol: Path | None = None
) -> AnalysedRenogram:
    """Read a renogram and analyse it by what was asked on the line.

    Parameters
    ----------
    files : sequence of Path
        As `thalweg.service.renogram_files.read_renogram`.
    asked : Asked
    protocol : Path, optional
        Folder of the unit's own rules.

    Raises
    ------
    InputError
        If a file or an option cannot be used.
    """
    rules = renogram_rules(read_protocol(protocol).table(RENOGRAM_TABLE))

    def seconds(text: str | None, option: str) -> float | None:
        return None if text is None else seconds_in(text, option)

    stated = StatedOfRenogram(
        regions_px={} if asked.regions is None else read_regions(asked.regions),
        furosemide_s=seconds(asked.furosemide, "--furosemide"),
        given_s=seconds(asked.given, "--given"),
        left_at=asked.left_at,
        view=asked.view,
        acquired=asked.acquired,
        detector=asked.detector,
        energy_window=asked.energy_window,
    )
    circumstances = Circumstances(
        age_years=_age(asked.age),
        single_kidney=asked.single_kidney,
        both_diseased=Truth.of(asked.both_diseased),
        drained=Truth.of(asked.drained),
        hydrated=Truth.of(asked.hydrated),
        reflux=Truth.of(asked.reflux),
        emptied_s=seconds(asked.emptied, "--emptied"),
    )
    return analyse(read_renogram(files, stated), circumstances, rules)


def analyse(read: ReadRenogram, circumstances: Circumstances, rules: Rules) -> AnalysedRenogram:
    """Return what a renogram says.

    Parameters
    ----------
    read : ReadRenogram
        With a date.
    circumstances : Circumstances
    rules : Rules
        Windows, doubts and criteria.

    Raises
    ------
    InputError
        If the curves or their date do not suffice.
    """
    result = analysed(read.renogram, circumstances, rules)
    return AnalysedRenogram(read, result, rules.notice)
