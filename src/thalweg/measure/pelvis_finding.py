"""The renal pelvis as a finding."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.measure.pelvis import RenalPelvis
    from thalweg.record.fact import Fact, Moment

__all__ = ["PELVIS_AP", "pelvis_finding"]

Z95 = 1.959963984540054

_CAUTION = (
    "Contrast, filling and a full bladder widen the renal pelvis; limits in use were set on "
    "ultrasound and depend on age, and are not judged here."
)

PELVIS_AP = Method(
    "renal-pelvis-ap-diameter",
    "Anteroposterior diameter of the renal pelvis",
    "greatest line from front to back (along the patient's y) through the contrast in the renal "
    "pelvis, ureter and calyces' necks left out, between half-level edges in any transverse plane, "
    "mm; interval = diameter ± 1.96 SD",
    "excretory phase, pelvis opacified; the person lying on the back",
    ("chow-2017", "schaeffer-2016", "thalweg-engineering"),
    (_CAUTION,),
)


def pelvis_finding(
    pelvis: RenalPelvis, *, at: Moment, side: str = "", facts: tuple[Fact, ...] = ()
) -> Finding:
    """Return a renal pelvis' anteroposterior diameter as a finding.

    Parameters
    ----------
    pelvis : RenalPelvis
    at : date or aware datetime
        When the images were acquired.
    side : str
        ``"left"``, ``"right"``, or empty where nobody said.
    facts : tuple of Fact
        The marks that say where it is.

    Returns
    -------
    Finding
        Without a value, and with the reason, where the diameter is not known.
    """
    interval = None
    cautions = pelvis.cautions
    if pelvis.ap_mm is None or pelvis.ap_sd_mm is None:
        cautions = (f"The diameter is not known: {pelvis.problem}.", *cautions)
    else:
        half = Z95 * pelvis.ap_sd_mm
        interval = (max(pelvis.ap_mm - half, 0.0), pelvis.ap_mm + half)
    return Finding(
        f"pelvis-ap-diameter-{side}" if side else "pelvis-ap-diameter",
        f"{side} renal pelvis, anteroposterior diameter".strip().capitalize(),
        pelvis.ap_mm,
        "mm",
        at,
        PELVIS_AP,
        facts=facts,
        interval=interval,
        cautions=cautions,
    )
