"""The creatinine equation over 6524 real results, and the published shift from 2009 to 2021.

Data: assay of serum free light chain, residents of Olmsted County aged 50 and over (Dispenzieri A
et al. Mayo Clin Proc 2012;87:517-23), as shipped with scikit-survival; creatinine in mg/dL, sex
as "F" and "M".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from sksurv.datasets import load_flchain
from tests.support import precise_kidney as precise

from thalweg.assess.kidney.categories import gfr_category
from thalweg.assess.kidney.ckd_epi import ckd_epi_2021_creatinine

if TYPE_CHECKING:
    from numpy.typing import NDArray


class _People(NamedTuple):
    creatinine: NDArray[np.float64]
    age: NDArray[np.float64]
    sex: NDArray[np.str_]


@pytest.fixture(scope="module")
def people() -> _People:
    table, _ = load_flchain()
    creatinine = table["creatinine"].to_numpy(dtype=np.float64)
    sex = np.where(table["sex"].to_numpy(dtype=str) == "F", "female", "male")
    return _People(creatinine, table["age"].to_numpy(dtype=np.float64), sex)


def _known(people: _People) -> _People:
    here = ~np.isnan(people.creatinine)
    return _People(people.creatinine[here], people.age[here], people.sex[here])


def test_the_data_are_the_published_ones(people: _People) -> None:
    known = _known(people)
    # Counts, median and range as the data's documentation in R's survival package has them.
    assert (people.age.size, known.age.size) == (7874, 6524)
    assert np.median(known.creatinine) == 1.0
    assert (known.creatinine.min(), known.creatinine.max()) == (0.4, 10.8)
    assert set(known.sex) == {"female", "male"}


def test_every_row_agrees_with_the_fifty_digit_evaluation(people: _People) -> None:
    found = ckd_epi_2021_creatinine(people.creatinine, people.age, people.sex)
    assert np.array_equal(np.isnan(found), np.isnan(people.creatinine))
    known = _known(people)
    distinct = dict.fromkeys(zip(*known, strict=True), 0.0)
    for creatinine, age, sex in distinct:
        distinct[creatinine, age, sex] = precise.ckd_epi_2021_creatinine(
            float(creatinine), float(age), str(sex)
        )
    expected = [distinct[row] for row in zip(*known, strict=True)]
    np.testing.assert_allclose(found[~np.isnan(found)], expected, rtol=1e-13)


def test_2021_reads_higher_than_2009_as_published(people: _People) -> None:
    """Fu EL et al. Nephrol Dial Transplant 2022 (1.6 million adults), abstract.

    The 2021 equation reads higher by a median of 3.9 (interquartile range 2.9 to 4.8)
    mL/min/1.73 m², more at older age and for men, and people move to a higher category. Another
    population need not have the same median; it must lie within that range and near 3.9.
    """
    known = _known(people)
    new = ckd_epi_2021_creatinine(*known)
    cache: dict[tuple[float, float, str], float] = {}
    for row in zip(*known, strict=True):
        if row not in cache:
            cache[row] = precise.ckd_epi_2009_creatinine(float(row[0]), float(row[1]), str(row[2]))
    old = np.array([cache[row] for row in zip(*known, strict=True)])
    change = new - old
    lower, median, upper = np.percentile(change, [25, 50, 75])
    assert median == pytest.approx(3.9, abs=0.25)
    assert 2.9 < lower < upper < 4.8
    assert np.median(change[known.sex == "male"]) > np.median(change[known.sex == "female"])
    assert np.median(change[known.age >= 70]) > np.median(change[known.age < 60])
    order = ["G5", "G4", "G3b", "G3a", "G2", "G1"]
    rank = {name: index for index, name in enumerate(order)}
    before, after = (np.array([rank[name] for name in gfr_category(rate)]) for rate in (old, new))
    assert np.all(after >= before)
    assert np.mean(after > before) > 0.05
