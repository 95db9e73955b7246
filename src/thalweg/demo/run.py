"""Do the whole main job on the invented person."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.demo.scenario import DAY, write_case_folder
from thalweg.errors import InputError
from thalweg.progress import silent
from thalweg.service.documents import write_plan
from thalweg.service.intake import take_in
from thalweg.service.keeping import open_store
from thalweg.service.safefile import cannot_write
from thalweg.service.telling import intake_json, intake_lines

if TYPE_CHECKING:
    from pathlib import Path

    from thalweg.demo.scenario import Written
    from thalweg.progress import Progress
    from thalweg.service.documents import WrittenPlan
    from thalweg.service.intake import IntakeReport

__all__ = ["Demonstration", "run_demo"]

MARK = "thalweg-demo.txt"
NOTE = (
    "Made by `thalweg demo`: an invented person, an artificial CT, a record and documents.\n"
    "Running it again replaces everything in this folder.\n"
)


@dataclass(frozen=True)
class Demonstration:
    """What the demonstration did, and how far from the truth it measured."""

    out: Path
    written: Written
    intake: IntakeReport
    plan: WrittenPlan

    def _against_truth(self) -> list[str]:
        lines = []
        for one in self.plan.workup.ureters:
            if one.course is None:
                continue
            truth = self.written.phantom.truth
            true = (truth.left if one.side == "left" else truth.right).length_mm
            error = 100 * (one.course.length_mm / true - 1)
            lines.append(
                f"{one.side.capitalize()} ureter traced at {one.course.length_mm:.1f} mm; the "
                f"phantom's true length is {true:.1f} mm ({error:+.2f} %)."
            )
        return [*lines, *self._shares()]

    def _shares(self) -> list[str]:
        lines = []
        for study in self.plan.workup.renograms:
            if study.analysed is None or study.analysed.result.share_left is None:
                continue
            share = study.analysed.result.share_left
            low, high = share.interval
            lines.append(
                f"Left kidney's share by the renogram: {share.value:.0f} % ({low:.0f} to "
                f"{high:.0f}); the phantom's true share is "
                f"{self.written.renogram.share_left_percent:.1f} %."
            )
        return lines

    @property
    def lines(self) -> list[str]:
        """What a person at the keyboard reads."""
        home = self.out / "record"
        return [
            f"Case folder written: {self.written.folder}",
            *(f"  {line}" for line in intake_lines(self.intake)),
            *self._against_truth(),
            "Diversions:",
            *(f"  {line}" for line in self.plan.lines()),
            "Look further:",
            f"  thalweg case {self.plan.case_id} --on {DAY} --home {home}",
            f"  thalweg appraise {self.plan.case_id} --on {DAY} --home {home}",
            f"  thalweg prefer {self.plan.case_id} --on {DAY} --home {home}",
        ]

    def to_json(self) -> dict[str, Any]:
        """Return everything for programs."""
        return {
            "case_folder": str(self.written.folder),
            "home": str(self.out / "record"),
            "on": DAY.isoformat(),
            "intake": intake_json(self.intake),
            **self.plan.to_json(),
        }


def _emptied(out: Path) -> None:
    """Clear what an earlier demonstration left; refuse a folder that holds anything else."""
    if out.exists() and not out.is_dir():
        raise InputError("is not a folder", where=str(out), mend="name another with --out")
    if out.exists() and any(out.iterdir()):
        if not (out / MARK).is_file():
            raise InputError(
                "holds files that are not of a demonstration",
                where=str(out),
                mend="name a new folder with --out",
            )
        for name in ("case", "record", "documents"):
            shutil.rmtree(out / name, ignore_errors=True)
    out.mkdir(parents=True, exist_ok=True)
    (out / MARK).write_text(NOTE, encoding="utf-8")


def run_demo(out: Path, *, progress: Progress = silent) -> Demonstration:
    """Write the scenario, take it in, work it up and write its documents.

    Parameters
    ----------
    out : Path
        Folder for everything; new, empty, or of an earlier demonstration.
    progress : Progress

    Raises
    ------
    InputError
        If the folder holds anything else or cannot be written.
    """
    try:
        _emptied(out)
        written = write_case_folder(out / "case", progress=progress)
    except OSError as error:
        raise cannot_write(out, error) from error
    with open_store(out / "record") as store:
        report = take_in(written.folder, store, today=DAY, progress=progress)
        plan = write_plan(report.case_id, store, out / "documents", at=DAY, progress=progress)
    return Demonstration(out, written, report, plan)
