"""The published estimates, each with what it needs, in which ages, and how it is computed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.assess.kidney import body, children, ckd_epi

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy as np
    from numpy.typing import NDArray

    from thalweg.record.method import Method

__all__ = ["DRUG_DOSE", "INDEXED", "RECIPES", "UNITS", "Recipe"]

INDEXED = "mL/min/{1.73_m2}"
DRUG_DOSE = "clearance-cockcroft-gault"
# The units that the published equations take.
UNITS = {"creatinine": "mg/dL", "cystatin-c": "mg/L", "height": "cm", "weight": "kg"}


@dataclass(frozen=True, slots=True)
class Recipe:
    """One estimate: what it needs, in which ages, and how its number is made."""

    name: str
    title: str
    method: Method
    needs: tuple[str, ...]
    years: tuple[float, float]
    compute: Callable[[Mapping[str, float], float, str], NDArray[np.float64]]
    unit: str = INDEXED


RECIPES = (
    Recipe(
        "egfr-ckd-epi-2021-creatinine",
        "eGFR by creatinine (CKD-EPI 2021)",
        ckd_epi.CKD_EPI_2021_CREATININE,
        ("creatinine",),
        ckd_epi.ADULT_YEARS,
        lambda v, age, sex: ckd_epi.ckd_epi_2021_creatinine(v["creatinine"], age, sex),
    ),
    Recipe(
        "egfr-ckd-epi-2021-creatinine-cystatin",
        "eGFR by creatinine and cystatin C (CKD-EPI 2021)",
        ckd_epi.CKD_EPI_2021_CREATININE_CYSTATIN,
        ("creatinine", "cystatin-c"),
        ckd_epi.ADULT_YEARS,
        lambda v, age, sex: ckd_epi.ckd_epi_2021_creatinine_cystatin(
            v["creatinine"], v["cystatin-c"], age, sex
        ),
    ),
    Recipe(
        "egfr-ckd-epi-2012-cystatin",
        "eGFR by cystatin C (CKD-EPI 2012)",
        ckd_epi.CKD_EPI_2012_CYSTATIN,
        ("cystatin-c",),
        ckd_epi.ADULT_YEARS,
        lambda v, age, sex: ckd_epi.ckd_epi_2012_cystatin(v["cystatin-c"], age, sex),
    ),
    Recipe(
        "egfr-schwartz-2009",
        "eGFR by creatinine and height (bedside Schwartz 2009)",
        children.SCHWARTZ_2009,
        ("creatinine", "height"),
        children.SCHWARTZ_YEARS,
        lambda v, age, _sex: children.schwartz_2009(v["creatinine"], v["height"], age),
    ),
    Recipe(
        "egfr-ckid-u25-creatinine",
        "eGFR by creatinine and height (CKiD U25)",
        children.CKID_U25_CREATININE,
        ("creatinine", "height"),
        children.U25_YEARS,
        lambda v, age, sex: children.ckid_u25_creatinine(v["creatinine"], v["height"], age, sex),
    ),
    Recipe(
        "egfr-ckid-u25-cystatin",
        "eGFR by cystatin C (CKiD U25)",
        children.CKID_U25_CYSTATIN,
        ("cystatin-c",),
        children.U25_YEARS,
        lambda v, age, sex: children.ckid_u25_cystatin(v["cystatin-c"], age, sex),
    ),
    Recipe(
        DRUG_DOSE,
        "Creatinine clearance for drug doses (Cockcroft and Gault)",
        body.COCKCROFT_GAULT,
        ("creatinine", "weight"),
        ckd_epi.ADULT_YEARS,
        lambda v, age, sex: body.cockcroft_gault(v["creatinine"], v["weight"], age, sex),
        "mL/min",
    ),
)
