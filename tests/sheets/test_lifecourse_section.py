"""The life course on the page: figures as simulated, what is not known said, curves in words."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from tests.support.lives import late, option, person

from thalweg.plan.lifecourse.person import LivingPerson
from thalweg.plan.lifecourse.quantity import certain
from thalweg.plan.lifecourse.rates import Burden, GfrChange, Rates
from thalweg.plan.lifecourse.report import LifeReport
from thalweg.plan.lifecourse.simulate import live
from thalweg.sheets.document import Cautions, Cell, Picture, Table, Text
from thalweg.sheets.pictures.lives import lives_picture
from thalweg.sheets.plan.lifecourse import PlannedLives, lifecourse_section, lifecourse_sources

START = person(age=70.0)
KNOWN = option(
    "ileal-conduit",
    late=(late("x", 0.4, again=True),),
    nights=(Burden("x", "x", certain("nights", 2.0)),),
    bags=1,
    gfr_change=GfrChange(certain("change", -5.0), 5.0),
    unknown={"lost-unit": ("How often a kidney is lost is not known.",)},
)
UNKNOWN = option("nephrostomy", unknown={"nights": ("Nobody counted nights.",)})


def report(*years: float) -> LifeReport:
    course = live(Rates((KNOWN, UNKNOWN)), START, years=years or (1.0, 5.0), lives=4000)
    said = ("Deaths by the cancer are NOT in it.",)
    return LifeReport(course, LivingPerson(START, (), (), said, ()), date(2026, 4, 1))


@pytest.fixture(scope="module")
def found() -> LifeReport:
    return report()


def test_each_horizon_has_a_table_with_the_means_of_the_lives(found: LifeReport) -> None:
    section = lifecourse_section(PlannedLives(found, None, "Both."))
    tables = [block for block in section.blocks if isinstance(block, Table)]
    assert len(tables) == 3
    column = tables[1].head.index("Nights in hospital")
    mean = float(found.course.tallies["ileal-conduit"].figures["nights"].means[1].mean())
    first = tables[1].rows[0][column]
    assert isinstance(first, str)
    assert first.startswith(f"{mean:.0f} (")
    second = tables[1].rows[1][column]
    assert isinstance(second, Cell)
    assert second.text == "not known"


def test_what_is_missing_and_what_is_no_prophecy_stands_below(found: LifeReport) -> None:
    section = lifecourse_section(PlannedLives(found, None, "Both."))
    (said,) = (block for block in section.blocks if isinstance(block, Cautions))
    words = " ".join(said.items)
    for part in ("not a prophecy", "NOT in it", "Nobody counted nights", "a kidney is lost"):
        assert part in words


def test_without_a_life_course_the_reason_stands_there() -> None:
    section = lifecourse_section(PlannedLives(None, None, "Not made: no kidneys on record."))
    assert section.blocks == (Text("Not made: no kidneys on record."),)
    assert lifecourse_sources(None) == ()


def test_the_picture_says_in_words_what_it_draws() -> None:
    many = report(1.0, 2.0, 5.0, 10.0)
    picture = lives_picture(many)
    assert isinstance(picture, Picture)
    alive = float(many.course.tallies["nephrostomy"].figures["survival"].means[3].mean())
    assert f"nephrostomy {100 * alive:.0f}" in picture.alternative
    assert "not known" not in picture.alternative.split(";")[0]
    assert picture.data == lives_picture(many).data


def test_people_of_a_hundred_are_whole(found: LifeReport) -> None:
    whole = found.of_100("ileal-conduit", "survival", 1)
    exact = float(found.course.tallies["ileal-conduit"].figures["survival"].means[1].mean())
    assert whole is not None
    assert abs(whole - 100 * exact) <= 0.5
    assert found.of_100("nephrostomy", "lost-unit", 1) is None


def test_the_median_is_of_those_alive(found: LifeReport) -> None:
    """60 less 1 a year, less a twentieth spread over five years: certain here, whoever dies."""
    seen = found.estimate("ileal-conduit", "gfr", 1)
    assert seen is not None
    assert seen.mean == pytest.approx(55.0 * 0.95)
    assert found.estimate("ileal-conduit", "gfr", 2) is None
    assert np.isinf(found.course.years[2])
